//! The rules of the season return: from standings to the document that head office wants, and from two of them to what
//! changed. Pure.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, Utc};

use super::document::{
    ReturnCoordinator, ReturnDocument, ReturnLetThrough, ReturnOpen, ReturnSeason, ReturnState, ReturnTotals,
    ReturnTroop, ReturnWaived,
};
use crate::common::ids::{PersonId, TroopId};
use crate::standings::rules::{GateStanding, RequirementOutcome, RequirementStanding, Standing, TroopState};

/// What every return says of itself.
pub const NOTE: &str =
    "These are the unit's own books as they stood at this instant. Head office's figures prevail until reconciled.";

/// A troop with where it stands.
#[derive(Clone, Debug)]
pub struct TroopNow {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number.
    pub number: String,
    /// Its name.
    pub name: String,
    /// Where it stands, unmasked.
    pub standing: Standing,
}

/// The season return of these troops at an instant, in the order in which they are handed in. A screening that is not met
/// reads "not confirmed" in it, whoever files it: the return leaves the house.
#[must_use]
pub fn build(
    unit_name: Option<String>,
    season: ReturnSeason,
    stands_at: DateTime<Utc>,
    troops: Vec<TroopNow>,
) -> ReturnDocument {
    let troops: Vec<ReturnTroop> = troops.into_iter().map(troop).collect();
    let of = |state: ReturnState| troops.iter().filter(|troop| troop.state == state).count();
    let open = |troop: &ReturnTroop| {
        let counted = troop.coordinators.iter().filter(|one| one.counted);
        troop.open.len() + counted.map(|one| one.open.len()).sum::<usize>()
    };
    let totals = ReturnTotals {
        troops: troops.len(),
        appointed: of(ReturnState::Appointed),
        under_way: of(ReturnState::UnderWay),
        no_coordinator: of(ReturnState::NoCoordinator),
        sitting_out: of(ReturnState::SittingOut),
        open_requirements: troops.iter().map(open).sum(),
    };
    ReturnDocument { unit_name, season, stands_at, note: NOTE.to_owned(), totals, troops }
}

fn troop(now: TroopNow) -> ReturnTroop {
    let TroopNow { troop_id, number, name, standing } = now;
    let standing = standing.masked();
    // A troop that takes no part owes nothing.
    let out = standing.state == TroopState::SittingOut;
    let open = |rows: &[RequirementStanding]| -> Vec<ReturnOpen> {
        let open = rows.iter().filter(|row| !row.closed && !out);
        open.map(|row| ReturnOpen {
            requirement: row.requirement.clone(),
            title: row.title.clone(),
            outcome: row.outcome,
        })
        .collect()
    };
    let waived = |rows: &[RequirementStanding]| -> Vec<ReturnWaived> {
        let waived = rows.iter().filter(|row| row.outcome == RequirementOutcome::Waived && !out);
        waived
            .map(|row| ReturnWaived {
                requirement: row.requirement.clone(),
                title: row.title.clone(),
                until_on: row.valid_until_on,
            })
            .collect()
    };
    ReturnTroop {
        troop_id,
        number,
        name,
        waived: waived(&standing.requirements),
        let_through: if out { Vec::new() } else { standing.gates.iter().filter_map(let_through).collect() },
        state: reduced(standing.state),
        standing: standing.state,
        reasons: standing.reasons.iter().map(|reason| reason.sentence.clone()).collect(),
        open: open(&standing.requirements),
        coordinators: standing
            .coordinators
            .iter()
            .map(|one| ReturnCoordinator {
                person_id: one.person_id,
                lead: one.lead,
                counted: one.counted,
                state: one.state,
                open: open(&one.requirements),
                waived: waived(&one.requirements),
            })
            .collect(),
    }
}

/// The leave by which a troop passes a gate that something would hold shut.
fn let_through(gate: &GateStanding) -> Option<ReturnLetThrough> {
    let leave = gate.overridden_by.as_ref().filter(|_| !gate.let_through.is_empty())?;
    Some(ReturnLetThrough { gate: gate.gate, until_on: leave.until_on })
}

/// A state as head office wants it.
fn reduced(state: TroopState) -> ReturnState {
    match state {
        TroopState::Appointed => ReturnState::Appointed,
        TroopState::Gathering | TroopState::Ready | TroopState::Lapsed | TroopState::Suspended => ReturnState::UnderWay,
        TroopState::Vacant => ReturnState::NoCoordinator,
        TroopState::SittingOut => ReturnState::SittingOut,
    }
}

/// One thing that differs between two returns.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Difference {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, the newer one.
    pub number: String,
    /// What differs.
    pub what: What,
    /// How it was; none for a troop that was not there.
    pub before: Option<String>,
    /// How it is; none for a troop that is gone.
    pub after: Option<String>,
}

/// What can differ.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum What {
    /// The troop is new in the season.
    Troop,
    /// Its number or name.
    Name,
    /// Where it stands.
    Standing,
    /// Who coordinates it.
    Coordinators,
    /// What is open.
    OpenRequirements,
    /// What is waived, and which gates it passes by leave.
    Exceptions,
}

/// What differs between two returns: troops that came or went, and of the others name, standing, coordinators, what is
/// open and what is waived or let through. Sentences do not count, nor does the order of the troops.
#[must_use]
pub fn differences(before: &ReturnDocument, after: &ReturnDocument) -> Vec<Difference> {
    let known: BTreeMap<TroopId, &ReturnTroop> = before.troops.iter().map(|troop| (troop.troop_id, troop)).collect();
    let mut found = Vec::new();
    for troop in &after.troops {
        match known.get(&troop.troop_id) {
            None => found.push(difference(troop, What::Troop, None, Some(word(troop.standing).to_owned()))),
            Some(old) => found.extend(between(old, troop)),
        }
    }
    let gone = before.troops.iter().filter(|old| !after.troops.iter().any(|troop| troop.troop_id == old.troop_id));
    found.extend(gone.map(|old| difference(old, What::Troop, Some(word(old.standing).to_owned()), None)));
    found
}

fn difference(troop: &ReturnTroop, what: What, before: Option<String>, after: Option<String>) -> Difference {
    Difference { troop_id: troop.troop_id, number: troop.number.clone(), what, before, after }
}

/// One thing about a troop, in words.
type Tell = fn(&ReturnTroop) -> String;

fn between(old: &ReturnTroop, new: &ReturnTroop) -> Vec<Difference> {
    let told: [(What, Tell); 5] = [
        (What::Name, |troop| format!("{} {}", troop.number, troop.name).trim_end().to_owned()),
        (What::Standing, |troop| word(troop.standing).to_owned()),
        (What::Coordinators, coordinators),
        (What::OpenRequirements, open_requirements),
        (What::Exceptions, exceptions),
    ];
    let pairs = told.into_iter().map(|(what, tell)| (what, tell(old), tell(new)));
    pairs.filter(|(_, was, is)| was != is).map(|(what, was, is)| difference(new, what, Some(was), Some(is))).collect()
}

/// The coordinators by id, since a comparison of two returns must outlive the names in them.
fn coordinators(troop: &ReturnTroop) -> String {
    let mut told: Vec<String> = troop
        .coordinators
        .iter()
        .map(|one| if one.lead { format!("{} (lead)", one.person_id) } else { one.person_id.to_string() })
        .collect();
    told.sort();
    if told.is_empty() { "nobody".to_owned() } else { told.join(", ") }
}

fn open_requirements(troop: &ReturnTroop) -> String {
    let own = troop.open.iter().map(|row| row.requirement.clone());
    let theirs = troop
        .coordinators
        .iter()
        .flat_map(|one| one.open.iter().map(|row| format!("{} of {}", row.requirement, one.person_id)));
    let mut told: Vec<String> = own.chain(theirs).collect();
    told.sort();
    if told.is_empty() { "nothing".to_owned() } else { told.join(", ") }
}

fn exceptions(troop: &ReturnTroop) -> String {
    let until = |day: Option<NaiveDate>| day.map(|day| format!(" until {day}")).unwrap_or_default();
    let own = troop.waived.iter().map(|row| format!("{} waived{}", row.requirement, until(row.until_on)));
    let theirs = troop.coordinators.iter().flat_map(|one| {
        one.waived.iter().map(|row| format!("{} of {} waived{}", row.requirement, one.person_id, until(row.until_on)))
    });
    let leave = troop.let_through.iter();
    let leave = leave.map(|one| format!("gate {} passed by leave until {}", one.gate.name(), one.until_on));
    let mut told: Vec<String> = own.chain(theirs).chain(leave).collect();
    told.sort();
    if told.is_empty() { "nothing".to_owned() } else { told.join(", ") }
}

/// Whether the names in a return are the ones of today. A name that was erased is no news.
#[must_use]
pub fn same_names(before: &[(PersonId, Option<String>)], after: &[(PersonId, String)]) -> bool {
    let after: BTreeMap<PersonId, &String> = after.iter().map(|(person, name)| (*person, name)).collect();
    let same = |(person, name): &(PersonId, Option<String>)| {
        after.get(person).is_some_and(|now| name.as_ref().is_none_or(|then| then == *now))
    };
    before.len() == after.len() && before.iter().all(same)
}

/// A state as the API spells it.
#[must_use]
pub const fn word(state: TroopState) -> &'static str {
    match state {
        TroopState::SittingOut => "sitting_out",
        TroopState::Vacant => "vacant",
        TroopState::Suspended => "suspended",
        TroopState::Lapsed => "lapsed",
        TroopState::Appointed => "appointed",
        TroopState::Ready => "ready",
        TroopState::Gathering => "gathering",
    }
}

#[cfg(test)]
mod tests;
