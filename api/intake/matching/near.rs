//! New people of one list who may be one person in two spellings: the second is asked about, as it would be if the first
//! were known already.

use std::collections::{BTreeMap, BTreeSet, HashMap};

use super::decide::MAX_CANDIDATES;
use super::likeness::{Lines, first_names_near, percent};
use super::name::{Folded, Sought};
use super::others::Others;
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

/// What rows are compared by, worked out once for each.
struct Seen {
    name: Folded,
    number: Option<String>,
    email: Option<String>,
}

impl Seen {
    fn new(row: &Listed) -> Self {
        Self { name: Folded::new(row.name()), number: row.number_key(), email: row.email_key() }
    }

    fn keys(&self, troop: Option<TroopId>) -> impl Iterator<Item = Key> {
        let (number, email) = (self.number.clone().map(Key::Number), self.email.clone().map(Key::Email));
        number.into_iter().chain(email).chain(troop.map(Key::Troop))
    }
}

/// An earlier row that resembles this one.
struct Resembling {
    row_number: u32,
    likeness: f64,
    shares: &'static str,
}

/// Asks about the first row of each new person who resembles one of an earlier row. Gives those rows.
pub(super) fn ask_about_near(rows: &[Listed], matches: &mut [RowMatch], lines: Lines) -> BTreeSet<u32> {
    let seen: Vec<Seen> = rows.iter().map(Seen::new).collect();
    let mut earlier: HashMap<Key, Vec<Earlier>> = HashMap::new();
    let mut near: BTreeMap<u32, BTreeMap<u32, Resembling>> = BTreeMap::new();
    let mut members: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (place, (row, found)) in rows.iter().zip(matches.iter()).enumerate() {
        let MatchOutcome::New { first_row } = found.outcome else { continue };
        members.entry(first_row).or_default().push(row.row_number);
        let own = Sought::new(row.name());
        for key in seen.get(place).into_iter().flat_map(|seen| seen.keys(row.troop)) {
            let others = earlier.entry(key).or_default();
            for other in others.iter().filter(|other| other.first_row != first_row) {
                let listed = rows.get(other.place).zip(seen.get(other.place));
                let resembles = listed.zip(seen.get(place)).and_then(|((listed, theirs), ours)| {
                    let (likeness, shares) = resembling((row, ours, &own), (listed, theirs), lines)?;
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
            let group = members.get(&found.row_number).map_or(&[][..], Vec::as_slice);
            found.also_on_rows = Others::of(group, found.row_number).numbers;
        }
    }
    near.into_keys().collect()
}

/// How alike two rows are and what they share, where the matcher would ask about one if the other were known.
fn resembling(
    (one, ours, own): (&Listed, &Seen, &Sought),
    (other, theirs): (&Listed, &Seen),
    lines: Lines,
) -> Option<(f64, &'static str)> {
    let likeness = own.likeness_from(&theirs.name, lines.review).unwrap_or(0.0);
    let first_names = || first_names_near(one.name(), other.name());
    let worked_out = || own.likeness_from(&theirs.name, 0.0).unwrap_or(0.0);
    let shared = |one: &Option<String>, other: &Option<String>| one.is_some() && one == other;
    if shared(&ours.number, &theirs.number) && (likeness >= lines.review || first_names()) {
        return Some((worked_out(), "membership number"));
    }
    if shared(&ours.email, &theirs.email) && first_names() {
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
