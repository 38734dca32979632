//! Who is not on a complete list, and how much of the roster a list touches.
//!
//! A list that nobody says is complete says nothing by leaving somebody out. A complete one does, but only as much as its
//! columns say: not being on a role list is "not on the newest list" for what being listed proves, and says nothing about
//! membership or screening, which keep their last dated fact. A list that is older than one already applied says nothing
//! about who is missing today.

use super::rows::{TroopFound, Work};
use super::{
    Absence, Change, CurrentFact, CurrentTroop, PersonRef, RowPreview, RowState, Statement, Subject, Touched, TroopRef,
};
use crate::common::ids::{PersonId, TroopId};
use crate::intake::kinds::ListKind;
use crate::intake::matching::{MatchOutcome, RowMatch};
use crate::seasons::policy::{ListColumn, Requirement, RequirementKind, ValidityKind};
use crate::standings::rules::EvidenceOutcome;
use std::collections::{BTreeMap, BTreeSet};

/// Below this many people and troops no list is held up: a handful can be looked at one by one. Our choice, no source.
const A_HANDFUL: u32 = 3;

impl Work<'_> {
    /// Everybody whom an earlier list named and this one, though complete, does not.
    pub(super) fn absences(
        &self,
        rows: &[RowPreview],
        matches: &[RowMatch],
        troops: &[TroopFound],
        before: &[CurrentFact],
    ) -> Vec<Absence> {
        if !self.list.complete || self.list.outdated {
            return Vec::new();
        }
        let named = named(rows, matches, troops);
        if self.list.kind == ListKind::TroopList {
            let mut left_out: Vec<&CurrentTroop> = self.world.current.troops.iter().collect();
            left_out.retain(|troop| troop.place.is_some() && !named.contains(&Subject::Troop(troop.troop_id)));
            left_out.sort_by_key(|troop| (troop.number.chars().count(), troop.number.clone()));
            return left_out.into_iter().map(|troop| Absence::Shown(troop.troop_id)).collect();
        }
        let mut absences = Vec::new();
        for asked in self.requirements_proven_by_this_list().iter().filter(|asked| counts_when_absent(asked)) {
            for (subject, newest) in newest_of(before, &asked.code) {
                let gone = newest.statement.outcome == EvidenceOutcome::Met
                    && newest.statement.observed_on < self.list.listed_on
                    && self.has_a_place(subject)
                    && !named.contains(&subject);
                if gone {
                    absences.push(Absence::Recorded {
                        requirement: asked.code.clone(),
                        screening: asked.kind == RequirementKind::Screening,
                        subject,
                        last_seen_on: newest.statement.observed_on,
                        statement: Statement {
                            outcome: EvidenceOutcome::Absent,
                            observed_on: self.list.listed_on,
                            valid_until_on: None,
                            score_percent: None,
                        },
                    });
                }
            }
        }
        absences
    }

    /// Whether this person or troop belongs to the season's roster: who has left it is missing on no list.
    fn has_a_place(&self, subject: Subject) -> bool {
        let current = self.world.current;
        match subject {
            Subject::Person(PersonRef::Known(person)) => current.assigned.iter().any(|(_, other)| *other == person),
            Subject::Person(PersonRef::New(_)) => false,
            Subject::Troop(troop) => {
                current.troops.iter().any(|known| known.troop_id == troop && known.place.is_some())
            }
        }
    }

    /// About whom something that was known is said otherwise: first facts, gaps that are filled and new people are not
    /// counted, since nothing is taken from anybody by them.
    pub(super) fn touched(&self, rows: &[RowPreview], absences: &[Absence], before: &[CurrentFact]) -> Touched {
        let known: BTreeSet<(&str, Subject)> =
            before.iter().map(|fact| (fact.requirement.as_str(), fact.subject)).collect();
        let (mut people, mut troops) = (BTreeSet::new(), BTreeSet::new());
        let mut touch = |subject: Subject| match subject {
            Subject::Person(PersonRef::Known(person)) => drop(people.insert(person)),
            Subject::Person(PersonRef::New(_)) => {}
            Subject::Troop(troop) => drop(troops.insert(troop)),
        };
        for change in rows.iter().flat_map(|row| &row.changes) {
            match change {
                Change::RecordFact { requirement, subject, .. }
                    if known.contains(&(requirement.as_str(), *subject)) =>
                {
                    touch(*subject);
                }
                Change::ChangeTroop { troop: TroopRef::Known(troop), from: Some(_), .. } => {
                    touch(Subject::Troop(*troop));
                }
                _ => {}
            }
        }
        for absence in absences {
            if let Absence::Recorded { subject, .. } = absence {
                touch(*subject);
            }
        }
        let placed: BTreeSet<PersonId> = self.world.current.assigned.iter().map(|(_, person)| *person).collect();
        let in_season: BTreeSet<TroopId> = self
            .world
            .current
            .troops
            .iter()
            .filter(|troop| troop.place.is_some())
            .map(|troop| troop.troop_id)
            .collect();
        Touched {
            people: count(people.intersection(&placed).count()),
            of_people: count(placed.len()),
            troops: count(troops.intersection(&in_season).count()),
            of_troops: count(in_season.len()),
        }
    }
}

impl Touched {
    /// True when a second look is asked for: more than this share of the people or of the troops, and more than a handful.
    #[must_use]
    pub fn brakes(self, percent: u8) -> bool {
        let over =
            |part: u32, whole: u32| part >= A_HANDFUL && u64::from(part) * 100 > u64::from(whole) * u64::from(percent);
        over(self.people, self.of_people) || over(self.troops, self.of_troops)
    }
}

fn count(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// What holds for a number of months from its day is not undone by a list that no longer mentions it.
fn counts_when_absent(asked: &Requirement) -> bool {
    match asked.proof.column {
        Some(ListColumn::Listed) => true,
        Some(ListColumn::ReceivedOn) => asked.validity.kind != ValidityKind::Months,
        Some(ListColumn::MembershipValidUntil | ListColumn::Screening) | None => false,
    }
}

/// The newest fact about each subject of one requirement.
fn newest_of<'a>(facts: &'a [CurrentFact], requirement: &str) -> BTreeMap<Subject, &'a CurrentFact> {
    let mut newest: BTreeMap<Subject, &CurrentFact> = BTreeMap::new();
    for fact in facts.iter().filter(|fact| fact.requirement == requirement) {
        let known = newest.entry(fact.subject).or_insert(fact);
        if (known.statement.observed_on, known.order) < (fact.statement.observed_on, fact.order) {
            *known = fact;
        }
    }
    newest
}

/// Everybody whom the list names, whoever decided what about the row: a row that was left out names somebody too, and one
/// that waits may mean each of its candidates.
fn named(rows: &[RowPreview], matches: &[RowMatch], troops: &[TroopFound]) -> BTreeSet<Subject> {
    let known = |person: PersonId| Subject::Person(PersonRef::Known(person));
    let mut named: BTreeSet<Subject> = troops.iter().filter_map(TroopFound::id).map(Subject::Troop).collect();
    for row in rows {
        match &row.state {
            RowState::Person(person) => drop(named.insert(known(*person))),
            RowState::Ask(candidates) => named.extend(candidates.iter().filter_map(|one| one.person_id).map(known)),
            _ => {}
        }
    }
    for found in matches {
        match &found.outcome {
            MatchOutcome::Taken { person_id } => drop(named.insert(known(*person_id))),
            MatchOutcome::Ask { candidates } => {
                named.extend(candidates.iter().filter_map(|one| one.person_id).map(known));
            }
            MatchOutcome::New { .. } | MatchOutcome::Problem => {}
        }
    }
    named
}

impl ListKind {
    /// Whether being left out of a complete list of this kind says anything: a course that was completed stays completed.
    #[must_use]
    pub const fn absence_counts(self) -> bool {
        matches!(self, Self::RoleList | Self::BankDetails | Self::TroopList)
    }
}
