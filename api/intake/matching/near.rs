//! New people of one list who may be one person in two spellings: the second is asked about, as it would be if the first
//! were known already.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::decide::MAX_CANDIDATES;
use super::likeness::{Folded, Lines, first_names_near, percent};
use super::people::Listed;
use super::{Candidate, MatchOutcome, MatchReason, ReasonCode, RowMatch};
use crate::common::ids::TroopId;

/// With so many earlier rows that share a number, an address or a troop a row is compared; a troop has a handful of
/// coordinators, and a list of 20,000 rows in one troop must not take minutes. Our choice, no source.
const COMPARED: usize = 500;

/// What rows are found by.
#[derive(PartialEq, Eq, Hash)]
enum Key {
    Number(String),
    Email(String),
    Troop(TroopId),
}

/// An earlier row of somebody new.
#[derive(Clone, Copy)]
struct Earlier {
    place: usize,
    first_row: u32,
}

/// An earlier row that resembles this one.
struct Resembling {
    row_number: u32,
    likeness: f64,
    shares: &'static str,
}

/// Asks about the first row of each new person who resembles one of an earlier row. Gives those rows.
pub(super) fn ask_about_near(rows: &[Listed], matches: &mut [RowMatch], lines: Lines) -> BTreeSet<u32> {
    let names: Vec<Folded> = rows.iter().map(|row| Folded::new(row.name())).collect();
    let mut earlier: HashMap<Key, Vec<Earlier>> = HashMap::new();
    let mut near: BTreeMap<u32, BTreeMap<u32, Resembling>> = BTreeMap::new();
    let mut members: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (place, (row, found)) in rows.iter().zip(matches.iter()).enumerate() {
        let MatchOutcome::New { first_row } = found.outcome else { continue };
        members.entry(first_row).or_default().push(row.row_number);
        for key in keys(row) {
            let others = earlier.entry(key).or_default();
            for other in others.iter().filter(|other| other.first_row != first_row) {
                let listed = rows.get(other.place).zip(names.get(other.place));
                let resembles = listed.zip(names.get(place)).and_then(|((listed, name), own)| {
                    let (likeness, shares) = resembling((row, own), (listed, name), lines)?;
                    Some(Resembling { row_number: other.first_row.min(first_row), likeness, shares })
                });
                // whoever stands first on the list is new, whichever row of theirs it is that is near
                let known = near.entry(other.first_row.max(first_row)).or_default();
                if let Some(one) = resembles.filter(|_| known.len() < MAX_CANDIDATES) {
                    known.entry(one.row_number).or_insert(one);
                }
            }
            if others.len() < COMPARED {
                others.push(Earlier { place, first_row });
            }
        }
    }
    near.retain(|_, resembling| !resembling.is_empty());
    for found in matches.iter_mut() {
        if let Some(resembling) = near.get(&found.row_number) {
            ask(found, resembling);
            let group = members.get(&found.row_number).into_iter().flatten().copied();
            found.also_on_rows = group.filter(|number| *number != found.row_number).collect();
        }
    }
    near.into_keys().collect()
}

fn keys(row: &Listed) -> Vec<Key> {
    let number = row.number_key().map(Key::Number);
    let email = row.email_key().map(Key::Email);
    number.into_iter().chain(email).chain(row.troop.map(Key::Troop)).collect()
}

/// How alike two rows are and what they share, where the matcher would ask about one if the other were known.
fn resembling(
    (one, own): (&Listed, &Folded),
    (other, name): (&Listed, &Folded),
    lines: Lines,
) -> Option<(f64, &'static str)> {
    let shared = |of: fn(&Listed) -> Option<String>| of(one).is_some() && of(one) == of(other);
    let likeness = own.likeness_from(name, lines.review).unwrap_or(0.0);
    let first_names = || first_names_near(one.name(), other.name());
    let worked_out = || own.likeness_from(name, 0.0).unwrap_or(0.0);
    if shared(Listed::number_key) && (likeness >= lines.review || first_names()) {
        return Some((worked_out(), "membership number"));
    }
    if shared(Listed::email_key) && first_names() {
        return Some((worked_out(), "e-mail"));
    }
    let one_troop = one.troop.is_some() && one.troop == other.troop;
    (one_troop && likeness >= lines.review).then_some((likeness, "troop"))
}

fn ask(found: &mut RowMatch, resembling: &BTreeMap<u32, Resembling>) {
    let mut likeliest: Vec<&Resembling> = resembling.values().collect();
    likeliest.sort_by(|one, other| other.likeness.total_cmp(&one.likeness));
    let Some(first) = likeliest.first() else { return };
    let code = ReasonCode::LooksLikeRow;
    let (row, shares) = (first.row_number, first.shares);
    let sentence = format!(
        "nobody in the unit fits, and row {row} is new as well, with the same {shares} and a name near to this one: the same person (same_as_row {row}), or somebody else (new_person)?"
    );
    found.reason = MatchReason::new(code, sentence);
    let candidate = |one: &&Resembling| Candidate {
        person_id: None,
        row_number: Some(one.row_number),
        likeness_percent: percent(one.likeness),
        code,
    };
    found.outcome = MatchOutcome::Ask { candidates: likeliest.iter().map(candidate).collect() };
}
