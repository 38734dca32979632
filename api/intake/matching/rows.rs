//! All rows of a list together: one person on several rows, new people on several rows, rows that contradict.

use super::decide::{decide, holders};
use super::likeness::{Lines, percent};
use super::name::first_names_agree;
use super::near::ask_about_near;
use super::others::Others;
use super::people::{Known, Listed, People};
use super::{Candidate, MatchOutcome, MatchReason, ReasonCode, RowMatch};
use crate::common::fold;
use crate::common::ids::{PersonId, TroopId};
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::num::NonZero;

/// Matches every row of a list; `makes_known` says whether this kind of list may bring new people.
#[must_use]
pub fn match_rows<'a>(
    rows: &[Listed],
    known: impl IntoIterator<Item = &'a Known>,
    lines: Lines,
    makes_known: bool,
) -> Vec<RowMatch> {
    let people = People::new(known);
    let mut matches = each_by_itself(rows, &people, lines);
    join_taken(rows, &mut matches);
    join_new(rows, &mut matches, Some(lines).filter(|_| makes_known));
    if !makes_known {
        for (row, found) in rows.iter().zip(&mut matches) {
            if matches!(found.outcome, MatchOutcome::New { .. }) {
                (found.outcome, found.reason) = unknown(row, &people);
            }
        }
    }
    matches
}

/// Fewer rows than these are decided sooner than a thread is started.
const ROWS_OF_A_THREAD: usize = 1_000;

/// What is decided about each row by itself; about the rows of a long list by all processors.
fn each_by_itself(rows: &[Listed], people: &People<'_>, lines: Lines) -> Vec<RowMatch> {
    let of = |rows: &[Listed]| -> Vec<RowMatch> {
        let decided = rows.iter().map(|row| {
            let (outcome, reason) = decide(row, people, lines);
            RowMatch { row_number: row.row_number, outcome, reason, also_on_rows: Vec::new() }
        });
        decided.collect()
    };
    let threads = std::thread::available_parallelism().map_or(1, NonZero::get);
    let size = rows.len().div_ceil(threads).max(ROWS_OF_A_THREAD);
    let (own, others) = rows.split_at(size.min(rows.len()));
    std::thread::scope(|scope| {
        let others: Vec<_> = others.chunks(size).map(|part| scope.spawn(move || of(part))).collect();
        let mut matches = of(own);
        for other in others {
            matches.extend(other.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic)));
        }
        matches
    })
}

/// Nobody fits on a list that makes nobody known. Whoever has the address may be meant under another name.
fn unknown(row: &Listed, people: &People<'_>) -> (MatchOutcome, MatchReason) {
    let candidates = holders(row, people);
    let sentence = match candidates.first().and_then(|first| people.named(first.person_id?, row)) {
        Some(name) => format!(
            "nobody in the unit fits, and this list makes nobody known; the e-mail is {name}'s: the same person under another name, or somebody who shares the address?"
        ),
        None => "nobody in the unit fits, and this list makes nobody known".to_owned(),
    };
    (MatchOutcome::Ask { candidates }, MatchReason::new(ReasonCode::UnknownPerson, sentence))
}

/// Rows that take one person: said on each of them where they agree, put before a person where they do not.
fn join_taken(rows: &[Listed], matches: &mut [RowMatch]) {
    let mut takers: BTreeMap<PersonId, Vec<usize>> = BTreeMap::new();
    for (place, found) in matches.iter().enumerate() {
        if let MatchOutcome::Taken { person_id } = found.outcome {
            takers.entry(person_id).or_default().push(place);
        }
    }
    for (person_id, places) in takers.into_iter().filter(|(_, places)| places.len() > 1) {
        let agree = are_one_person(places.iter().filter_map(|place| rows.get(*place)));
        let numbers: Vec<u32> = places.iter().filter_map(|place| rows.get(*place)).map(|row| row.row_number).collect();
        for place in &places {
            let Some(found) = matches.get_mut(*place) else { continue };
            let others = Others::of(&numbers, found.row_number);
            if agree {
                found.reason.sentence = format!("{}; {} the same person", found.reason.sentence, others.are());
            } else {
                let likeness_percent = percent(1.0);
                found.outcome = MatchOutcome::Ask {
                    candidates: vec![Candidate {
                        person_id: Some(person_id),
                        row_number: None,
                        likeness_percent,
                        code: found.reason.code,
                    }],
                };
                let sentence = format!(
                    "{}, but {} taken for the same person and does not say the same",
                    found.reason.sentence,
                    others.are()
                );
                found.reason = MatchReason::new(ReasonCode::RowsContradict, sentence);
            }
            found.also_on_rows = others.numbers;
        }
    }
}

/// More ways of writing a person than these are not one person's.
const MANY_WRITINGS: usize = 50;

/// True when all of these rows can speak of one person.
fn are_one_person<'a>(rows: impl Iterator<Item = &'a Listed>) -> bool {
    let mut writings = BTreeMap::new();
    for row in rows {
        let name = row.name();
        writings.entry((fold::key(name.0), fold::key(name.1), row.number_key(), row.email_key())).or_insert(row);
    }
    writings.len() <= MANY_WRITINGS
        && writings.values().all(|one| writings.values().all(|other| is_one_person(one, other)))
}

/// True when two rows can speak of one person: the first names agree and neither number nor address contradicts.
fn is_one_person(one: &Listed, other: &Listed) -> bool {
    let same = |one: Option<String>, other: Option<String>| one.is_none() || other.is_none() || one == other;
    let names = !one.has_name()
        || !other.has_name()
        || (first_names_agree(one.name().0, other.name().0) && fold::key(one.name().1) == fold::key(other.name().1));
    names && same(one.number_key(), other.number_key()) && same(one.email_key(), other.email_key())
}

/// Rows of one new person get the number of the first of them: same number, same address and name, or same name and troop.
fn join_new(rows: &[Listed], matches: &mut [RowMatch], lines: Option<Lines>) {
    let mut firsts = Firsts::default();
    let mut groups: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (row, found) in rows.iter().zip(matches.iter_mut()) {
        if !matches!(found.outcome, MatchOutcome::New { .. }) {
            continue;
        }
        let first_row = firsts.find_or_add(row).row_number;
        found.outcome = MatchOutcome::New { first_row };
        groups.entry(first_row).or_default().push(row.row_number);
    }
    let asked = lines.map(|lines| ask_about_near(rows, matches, lines)).unwrap_or_default();
    refuse_one_number_for_two(rows, matches, &asked);
    for found in matches.iter_mut() {
        if let MatchOutcome::New { first_row } = found.outcome {
            let others = Others::of(groups.get(&first_row).map_or(&[], Vec::as_slice), found.row_number);
            if !others.numbers.is_empty() {
                let sentence = format!("nobody in the unit fits; {} the same new person", others.are());
                found.reason = MatchReason::new(ReasonCode::NobodyFits, sentence);
            }
            found.also_on_rows = others.numbers;
        }
    }
}

/// Two new people cannot have one membership number: a person says which row has it wrong, but for those who may be one
/// person and are asked about already.
fn refuse_one_number_for_two(rows: &[Listed], matches: &mut [RowMatch], asked: &BTreeSet<u32>) {
    let mut holders: BTreeMap<String, Vec<(u32, u32)>> = BTreeMap::new();
    for (row, found) in rows.iter().zip(matches.iter()) {
        if let (MatchOutcome::New { first_row }, Some(number)) = (&found.outcome, row.number_key())
            && !asked.contains(first_row)
        {
            holders.entry(number).or_default().push((row.row_number, *first_row));
        }
    }
    let of_several =
        |holders: &&Vec<(u32, u32)>| holders.iter().any(|one| holders.first().is_some_and(|first| one.1 != first.1));
    let mut refused: HashMap<u32, Others> = HashMap::new();
    for holders in holders.values().filter(of_several) {
        let numbers: Vec<u32> = holders.iter().map(|(row, _)| *row).collect();
        refused.extend(numbers.iter().map(|row| (*row, Others::of(&numbers, *row))));
    }
    for found in matches {
        let Some(others) = refused.remove(&found.row_number) else { continue };
        found.outcome = MatchOutcome::Ask { candidates: Vec::new() };
        let sentence = format!("the same membership number is given to somebody else on {}", others.named());
        found.reason = MatchReason::new(ReasonCode::RowsContradict, sentence);
        found.also_on_rows = others.numbers;
    }
}

/// The first rows of new people, by what a later row of the same person shares with them.
#[derive(Default)]
struct Firsts<'a> {
    all: Vec<&'a Listed>,
    by_number: HashMap<String, Vec<usize>>,
    by_email: HashMap<String, Vec<usize>>,
    by_troop: HashMap<(TroopId, String), Vec<usize>>,
}

impl<'a> Firsts<'a> {
    /// The earliest of them that is the row's person, or the row itself, which is one of them from now on.
    fn find_or_add(&mut self, row: &'a Listed) -> &'a Listed {
        let (number, email) = (row.number_key(), row.email_key());
        let troop = row.troop.map(|troop| (troop, fold::key(row.name().1)));
        let places = [
            number.as_ref().and_then(|number| self.by_number.get(number)),
            email.as_ref().and_then(|email| self.by_email.get(email)),
            troop.as_ref().and_then(|troop| self.by_troop.get(troop)),
        ];
        let theirs = |place: &usize| self.all.get(*place).is_some_and(|first| is_one_new_person(first, row));
        let earliest = places.into_iter().flatten().flatten().copied().filter(theirs).min();
        if let Some(first) = earliest.and_then(|place| self.all.get(place)) {
            return first;
        }
        let place = self.all.len();
        self.all.push(row);
        if let Some(number) = number {
            self.by_number.entry(number).or_default().push(place);
        }
        if let Some(email) = email {
            self.by_email.entry(email).or_default().push(place);
        }
        if let Some(troop) = troop {
            self.by_troop.entry(troop).or_default().push(place);
        }
        row
    }
}

fn is_one_new_person(one: &Listed, other: &Listed) -> bool {
    let same = |one: Option<String>, other: Option<String>| one.is_some() && one == other;
    is_one_person(one, other)
        && one.has_name()
        && other.has_name()
        && (same(one.number_key(), other.number_key())
            || same(one.email_key(), other.email_key())
            || (one.troop.is_some() && one.troop == other.troop))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every mixture of three names, numbers, addresses and troops, in an order that is mixed too: the index finds the very
    /// row that going through all first rows would.
    #[test]
    fn first_rows_found_by_key_are_those_found_by_going_through_all() {
        let troops = [None, Some(TroopId::new()), Some(TroopId::new())];
        let names = [("Ann", "Lee"), ("Nan", "Lee"), ("Ann", "Li")];
        let mixtures = (0..81_usize).map(|n| n * 29 % 81).map(|n| {
            let text = |of: [&str; 3], place: usize| {
                of.get(place % 3).filter(|text| !text.is_empty()).map(|text| (*text).to_owned())
            };
            let name = names.get(n % 3).copied().unwrap_or_default();
            Listed {
                row_number: u32::try_from(n).unwrap() + 2,
                troop: troops.get(n / 3 % 3).copied().flatten(),
                first_name: Some(name.0.to_owned()),
                last_name: Some(name.1.to_owned()),
                email: text(["", "ann@example.org", "li@example.org"], n / 9),
                membership_number: text(["", "T-1", "T-2"], n / 27),
            }
        });
        let rows: Vec<Listed> = mixtures.collect();
        let (mut by_key, mut through_all) = (Firsts::default(), Vec::<&Listed>::new());
        for row in &rows {
            let found = through_all.iter().find(|first| is_one_new_person(first, row)).map_or(row, |first| *first);
            if found.row_number == row.row_number {
                through_all.push(row);
            }
            assert_eq!(by_key.find_or_add(row).row_number, found.row_number, "{row:?}");
        }
        assert!((9..81).contains(&through_all.len()), "some are one person and some are not: {}", through_all.len());
    }
}
