//! All rows of a list together: one person on several rows, new people on several rows, rows that contradict.

use super::decide::{decide, holders};
use super::likeness::{Lines, first_names_agree, percent};
use super::near::ask_about_near;
use super::people::{Known, Listed, People};
use super::{Candidate, MatchOutcome, MatchReason, ReasonCode, RowMatch};
use crate::common::fold;
use crate::common::ids::PersonId;
use std::collections::{BTreeMap, BTreeSet};

/// Matches every row of a list; `makes_known` says whether this kind of list may bring new people.
#[must_use]
pub fn match_rows(rows: &[Listed], known: &[Known], lines: Lines, makes_known: bool) -> Vec<RowMatch> {
    let people = People::new(known);
    let mut matches: Vec<RowMatch> = rows
        .iter()
        .map(|row| {
            let (outcome, reason) = decide(row, &people, lines);
            RowMatch { row_number: row.row_number, outcome, reason, also_on_rows: Vec::new() }
        })
        .collect();
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
        let numbers = |but: usize| -> Vec<u32> {
            places
                .iter()
                .filter(|place| **place != but)
                .filter_map(|place| rows.get(*place))
                .map(|row| row.row_number)
                .collect()
        };
        let agree = places.iter().all(|one| places.iter().all(|other| is_one_person(rows.get(*one), rows.get(*other))));
        for place in &places {
            let Some(found) = matches.get_mut(*place) else { continue };
            found.also_on_rows = numbers(*place);
            if agree {
                found.reason.sentence =
                    format!("{}; {} the same person", found.reason.sentence, rows_are(&found.also_on_rows));
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
                    rows_are(&found.also_on_rows)
                );
                found.reason = MatchReason::new(ReasonCode::RowsContradict, sentence);
            }
        }
    }
}

/// True when two rows can speak of one person: the first names agree and neither number nor address contradicts.
fn is_one_person(one: Option<&Listed>, other: Option<&Listed>) -> bool {
    let (Some(one), Some(other)) = (one, other) else { return false };
    let same = |one: Option<String>, other: Option<String>| one.is_none() || other.is_none() || one == other;
    let names = !one.has_name()
        || !other.has_name()
        || (first_names_agree(one.name().0, other.name().0) && fold::key(one.name().1) == fold::key(other.name().1));
    names && same(one.number_key(), other.number_key()) && same(one.email_key(), other.email_key())
}

/// Rows of one new person get the number of the first of them: same number, same address and name, or same name and troop.
/// Those who may be one person in two spellings are asked about, where the list makes people known at all.
fn join_new(rows: &[Listed], matches: &mut [RowMatch], lines: Option<Lines>) {
    let mut firsts: Vec<&Listed> = Vec::new();
    let mut groups: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (row, found) in rows.iter().zip(matches.iter_mut()) {
        if !matches!(found.outcome, MatchOutcome::New { .. }) {
            continue;
        }
        let known_first = firsts.iter().find(|first| is_one_new_person(first, row)).map(|first| first.row_number);
        if known_first.is_none() {
            firsts.push(row);
        }
        let first_row = known_first.unwrap_or(row.row_number);
        found.outcome = MatchOutcome::New { first_row };
        groups.entry(first_row).or_default().push(row.row_number);
    }
    let asked = lines.map(|lines| ask_about_near(rows, matches, lines)).unwrap_or_default();
    refuse_one_number_for_two(rows, matches, &asked);
    for found in matches.iter_mut() {
        if let MatchOutcome::New { first_row } = found.outcome {
            let group = groups.get(&first_row).cloned().unwrap_or_default();
            found.also_on_rows = group.into_iter().filter(|number| *number != found.row_number).collect();
            if !found.also_on_rows.is_empty() {
                let sentence =
                    format!("nobody in the unit fits; {} the same new person", rows_are(&found.also_on_rows));
                found.reason = MatchReason::new(ReasonCode::NobodyFits, sentence);
            }
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
    for holders in
        holders.values().filter(|holders| holders.iter().any(|one| Some(one.1) != holders.first().map(|first| first.1)))
    {
        for found in matches.iter_mut().filter(|found| holders.iter().any(|(row, _)| *row == found.row_number)) {
            found.also_on_rows = holders.iter().map(|(row, _)| *row).filter(|row| *row != found.row_number).collect();
            found.outcome = MatchOutcome::Ask { candidates: Vec::new() };
            let sentence =
                format!("the same membership number is given to somebody else on {}", named_rows(&found.also_on_rows));
            found.reason = MatchReason::new(ReasonCode::RowsContradict, sentence);
        }
    }
}

fn is_one_new_person(one: &Listed, other: &Listed) -> bool {
    let same = |one: Option<String>, other: Option<String>| one.is_some() && one == other;
    is_one_person(Some(one), Some(other))
        && one.has_name()
        && other.has_name()
        && (same(one.number_key(), other.number_key())
            || same(one.email_key(), other.email_key())
            || (one.troop.is_some() && one.troop == other.troop))
}

/// `row 3 is`, `rows 3 and 5 are`.
fn rows_are(numbers: &[u32]) -> String {
    format!("{} {}", named_rows(numbers), if numbers.len() == 1 { "is" } else { "are" })
}

/// `row 3`, `rows 3, 5 and 7`.
#[must_use]
pub fn named_rows(numbers: &[u32]) -> String {
    let words: Vec<String> = numbers.iter().map(u32::to_string).collect();
    match words.split_last() {
        Some((last, [])) => format!("row {last}"),
        Some((last, others)) => format!("rows {} and {last}", others.join(", ")),
        None => "no row".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_row_is_and_several_are() {
        assert_eq!(rows_are(&[3]), "row 3 is");
        assert_eq!(rows_are(&[3, 5]), "rows 3 and 5 are");
        assert_eq!(named_rows(&[3, 5, 7]), "rows 3, 5 and 7");
    }
}
