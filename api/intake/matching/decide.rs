//! One row against everybody known: the first rule that speaks decides.

use super::likeness::{CLEAR_BY, Lines, first_names_near, name_likeness, percent};
use super::name::{Sought, first_names_agree};
use super::people::{Known, Listed, People};
use super::{Candidate, MatchOutcome, MatchReason, ReasonCode};
use crate::common::fold;

type Decision = (MatchOutcome, MatchReason);

/// Decides about one row by itself; `match_rows` then looks at all rows together.
#[must_use]
pub fn decide(row: &Listed, people: &People<'_>, lines: Lines) -> Decision {
    if let Some(decision) = by_number(row, people, lines) {
        return decision;
    }
    if let Some(decision) = by_email(row, people) {
        return decision;
    }
    with_holders(by_name(row, people, lines), row, people)
}

const NOBODY: &[&Known] = &[];

fn by_number(row: &Listed, people: &People<'_>, lines: Lines) -> Option<Decision> {
    let number = row.number_key()?;
    match people.by_number.get(&number).map_or(NOBODY, Vec::as_slice) {
        [] => None,
        [one]
            if !row.has_name()
                || name_likeness(row.name(), one.name()) >= lines.review
                || first_names_near(row.name(), one.name()) =>
        {
            if let Some(other) = other_by_address(row, one, people, lines) {
                let sentence = format!(
                    "the membership number is {}'s, but the e-mail and the name are {}'s: one of the two may be mistyped, or they are one person who is known twice",
                    one.full_name(),
                    other.full_name()
                );
                return Some(ask(row, &[other, one], ReasonCode::EmailConflicts, sentence));
            }
            Some(taken(one, ReasonCode::MembershipNumber, format!("the membership number is {}'s", one.full_name())))
        }
        [one] => {
            let sentence = format!(
                "the membership number is {}'s, but the name on the list is another: one of the two may be mistyped",
                one.full_name()
            );
            Some(with_holders(ask(row, &[one], ReasonCode::NumberButOtherName, sentence), row, people))
        }
        several => {
            Some(ask(row, several, ReasonCode::NumberOfSeveral, "several people have this membership number".into()))
        }
    }
}

/// Somebody else whose address is on the row, and whose name fits at least as well as that of the number's owner. Families
/// share an address; with another name it says nothing.
fn other_by_address<'a>(row: &Listed, one: &Known, people: &People<'a>, lines: Lines) -> Option<&'a Known> {
    let email = row.email_key().filter(|email| row.has_name() && !one.has_email(email))?;
    let least = name_likeness(row.name(), one.name()).max(lines.review);
    let holders = people.by_email.get(&email).map_or(NOBODY, Vec::as_slice).iter().copied();
    let fitting = holders
        .filter(|other| other.person_id != one.person_id && first_names_near(row.name(), other.name()))
        .map(|other| (name_likeness(row.name(), other.name()), other))
        .filter(|(likeness, _)| *likeness >= least);
    fitting.max_by(|one, other| one.0.total_cmp(&other.0)).map(|(_, other)| other)
}

/// Those who have the row's address.
pub(super) fn holders(row: &Listed, people: &People<'_>) -> Vec<Candidate> {
    let email = row.email_key();
    let known = email.and_then(|email| people.by_email.get(&email)).map_or(NOBODY, Vec::as_slice);
    let candidate = |known: &&Known| Candidate {
        person_id: Some(known.person_id),
        row_number: None,
        likeness_percent: percent(name_likeness(row.name(), known.name())),
        code: ReasonCode::EmailButOtherFirstName,
    };
    known.iter().take(MAX_CANDIDATES).map(candidate).collect()
}

/// Where somebody is asked about anyway, whoever has the address may be meant too, whatever the name.
fn with_holders((mut outcome, reason): Decision, row: &Listed, people: &People<'_>) -> Decision {
    if let MatchOutcome::Ask { candidates } = &mut outcome {
        let mut holders = holders(row, people);
        holders.retain(|holder| candidates.iter().all(|known| known.person_id != holder.person_id));
        if !holders.is_empty() {
            candidates.truncate(MAX_CANDIDATES - 1);
            candidates.extend(holders);
            candidates.truncate(MAX_CANDIDATES);
        }
    }
    (outcome, reason)
}

fn by_email(row: &Listed, people: &People<'_>) -> Option<Decision> {
    let email = row.email_key()?;
    let first = row.name().0;
    let holders = people.by_email.get(&email).map_or(NOBODY, Vec::as_slice);
    let same: Vec<&Known> =
        holders.iter().copied().filter(|known| first_names_agree(first, &known.first_name)).collect();
    match same.as_slice() {
        [one] if numbers_conflict(row, one) => Some(number_conflict(row, one)),
        [one] => {
            Some(taken(one, ReasonCode::EmailAndFirstName, format!("e-mail and first name are {}'s", one.full_name())))
        }
        [] => {
            let near = |known: &&Known| {
                first_names_near(row.name(), known.name())
                    || is_part_of_the_name(row.name(), known.name())
                    || (first.is_empty() && fold::key(row.name().1) == fold::key(&known.last_name))
            };
            let near: Vec<&Known> = holders.iter().copied().filter(near).collect();
            let one = near.first()?;
            Some(ask(
                row,
                &near,
                ReasonCode::EmailButOtherFirstName,
                format!(
                    "the e-mail is {}'s, the first name is written differently: the same person, or somebody who shares the address?",
                    one.full_name()
                ),
            ))
        }
        several => {
            Some(ask(row, several, ReasonCode::SeveralFit, "several people have this e-mail and first name".into()))
        }
    }
}

fn by_name(row: &Listed, people: &People<'_>, lines: Lines) -> Decision {
    if !row.has_name() {
        return (
            MatchOutcome::Problem,
            MatchReason::new(
                ReasonCode::NothingToMatchBy,
                "the row has no full name and no number or address that is known",
            ),
        );
    }
    let own = Sought::new(row.name());
    let troop = row.troop.and_then(|troop| people.by_troop.get(&troop));
    let mut in_troop: Vec<(f64, &Known)> = troop
        .into_iter()
        .flatten()
        .filter_map(|(known, name)| Some((own.likeness_from(name, lines.review)?, *known)))
        .filter(|(score, _)| *score >= lines.review)
        .collect();
    in_troop.sort_by(|one, other| other.0.total_cmp(&one.0).then_with(|| one.1.person_id.cmp(&other.1.person_id)));
    if let Some((best, one)) = in_troop.first().copied() {
        let people: Vec<&Known> = in_troop.iter().map(|(_, known)| *known).collect();
        let clear = in_troop.get(1).is_none_or(|(second, _)| best - second >= CLEAR_BY);
        if best < lines.accept || !first_names_near(row.name(), one.name()) {
            let sentence =
                format!("the name is near to {} of the same troop, but not near enough to be taken", one.full_name());
            return ask(row, &people, ReasonCode::NameIsNear, sentence);
        }
        if !clear {
            return ask(
                row,
                &people,
                ReasonCode::SeveralFit,
                "several people of the troop have a name like this".into(),
            );
        }
        if numbers_conflict(row, one) {
            return number_conflict(row, one);
        }
        if emails_conflict(row, one) {
            let sentence = format!(
                "name and troop are {}'s, but the e-mail is another: the same person with a new address?",
                one.full_name()
            );
            return ask(row, &people, ReasonCode::EmailConflicts, sentence);
        }
        return taken(
            one,
            ReasonCode::NameAndTroop,
            format!("name and troop are {}'s, and nobody else is near", one.full_name()),
        );
    }
    let mut elsewhere = people.of_this_name(&own);
    elsewhere.retain(|known| !numbers_conflict(row, known));
    match elsewhere.first() {
        Some(one) => {
            let sentence = format!("{} has this name but not this troop; a name alone is not enough", one.full_name());
            ask(row, &elsewhere, ReasonCode::SameNameOtherTroop, sentence)
        }
        None => (
            MatchOutcome::New { first_row: row.row_number },
            MatchReason::new(ReasonCode::NobodyFits, "nobody in the unit fits"),
        ),
    }
}

/// A first name that is a part of the other, of one family name: `Seun` of `Oluwaseun`. Shorter than four letters it may be
/// part of anything.
fn is_part_of_the_name(one: (&str, &str), other: (&str, &str)) -> bool {
    let (first, known) = (fold::key(one.0), fold::key(other.0));
    let (short, long) = if first.len() < known.len() { (first, known) } else { (known, first) };
    short.len() >= 4 && long.contains(&short) && fold::key(one.1) == fold::key(other.1)
}

fn numbers_conflict(row: &Listed, known: &Known) -> bool {
    match (row.number_key(), known.number_key()) {
        (Some(one), Some(other)) => one != other,
        _ => false,
    }
}

fn emails_conflict(row: &Listed, known: &Known) -> bool {
    row.email_key().is_some_and(|email| {
        known.emails.iter().any(|address| fold::email(address).is_some()) && !known.has_email(&email)
    })
}

fn number_conflict(row: &Listed, one: &Known) -> Decision {
    let sentence = format!("everything else is {}'s, but the membership number is another", one.full_name());
    ask(row, &[one], ReasonCode::NumberConflicts, sentence)
}

fn taken(known: &Known, code: ReasonCode, sentence: String) -> Decision {
    (MatchOutcome::Taken { person_id: known.person_id }, MatchReason::new(code, sentence))
}

/// The most people that are shown to choose from.
pub(super) const MAX_CANDIDATES: usize = 5;

fn ask(row: &Listed, people: &[&Known], code: ReasonCode, sentence: String) -> Decision {
    let candidates = people
        .iter()
        .take(MAX_CANDIDATES)
        .map(|known| Candidate {
            person_id: Some(known.person_id),
            row_number: None,
            likeness_percent: percent(name_likeness(row.name(), known.name())),
            code,
        })
        .collect();
    (MatchOutcome::Ask { candidates }, MatchReason::new(code, sentence))
}
