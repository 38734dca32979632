//! What merging and splitting troops have in common: who goes where, and what is told about it.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::list_troop_contacts::TroopContact;
use super::sql::assignments::{self, AssignmentRow};
use super::sql::contacts::{self, TroopContactRow};
use super::sql::regrouping::{self as sql, RegroupingRow};
use super::sql::troops::TroopRow;
use super::sql::{endings, leads};
use crate::auth::permission::TroopsRegroup;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, RegroupingId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError};
use crate::seasons;
use crate::seasons::policy::{OutsideEvent, OutsideStep};

/// Two troops that became one, or a part of a troop that became one of its own.
#[derive(Debug, Serialize, ToSchema)]
pub struct Regrouping {
    /// Which one.
    pub regrouping_id: RegroupingId,
    /// The season.
    pub season_id: SeasonId,
    /// What happened.
    pub kind: RegroupingKind,
    /// The troop that went into another one; of a split the troop that stays.
    pub from_troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20, example = "0412")]
    pub from_number: String,
    /// The troop that took the other one in; of a split the new troop.
    pub to_troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20, example = "0413")]
    pub to_number: String,
    /// How many selling youths went along.
    #[schema(minimum = 0, maximum = 500)]
    pub selling_youths: i32,
    /// Why; null for whoever may not see people, and once somebody whom it names was erased.
    #[schema(required = true, max_length = 400)]
    pub reason: Option<String>,
    /// When.
    pub regrouped_at: DateTime<Utc>,
}

impl From<RegroupingRow> for Regrouping {
    fn from(row: RegroupingRow) -> Self {
        Self {
            regrouping_id: RegroupingId(row.regrouping_id),
            season_id: SeasonId(row.season_id),
            kind: if row.kind == RegroupingKind::Split.name() { RegroupingKind::Split } else { RegroupingKind::Merge },
            from_troop_id: TroopId(row.from_troop_id),
            from_number: row.from_number,
            to_troop_id: TroopId(row.to_troop_id),
            to_number: row.to_number,
            selling_youths: row.selling_youths,
            reason: row.reason,
            regrouped_at: row.regrouped_at,
        }
    }
}

/// How troops were regrouped. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RegroupingKind {
    /// One troop went into another one.
    Merge,
    /// A part of a troop became a troop of its own.
    Split,
}

impl RegroupingKind {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Merge => "merge",
            Self::Split => "split",
        }
    }
}

/// A coordinator of a troop that is regrouped.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct RegroupedCoordinator {
    /// The assignment to the troop that is regrouped.
    pub assignment_id: AssignmentId,
    /// Whose it is.
    pub person_id: PersonId,
    /// What becomes of the coordinator.
    pub outcome: RegroupedAs,
    /// Whether as the lead of the other troop.
    pub lead: bool,
    /// The assignment to the other troop: it is appointed by an act of its own (`appoint_coordinator`), since a decision
    /// concerns an assignment. Null where there is none, and in a preview.
    #[schema(required = true)]
    pub to_assignment_id: Option<AssignmentId>,
}

/// What becomes of a coordinator whose troop is regrouped. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RegroupedAs {
    /// The assignment ends, and nothing follows it.
    Ends,
    /// A list had proposed it; the proposal ends with the troop.
    ProposalEnds,
    /// A new assignment to the other troop begins, which is to be appointed anew.
    Begins,
    /// The other troop's own proposal of this person is confirmed by it, and is to be appointed.
    Confirmed,
    /// The person coordinates the other troop already; that assignment goes on as it is.
    ThereAlready,
}

/// Refuses whatever belongs to the season's place of a troop that went into another one.
pub(super) fn refuse_merged(row: &TroopRow) -> Result<(), ApiError> {
    if row.merged_into.is_none() {
        return Ok(());
    }
    let detail = format!(
        "Troop {} went into another troop this season and has no place of its own any more. Its merged_into (find_troop) says which; do this there.",
        row.number
    );
    Err(ApiError::new(Code::WrongState).detail(detail))
}

/// What the policy wants repeated in head office's system after it.
pub(super) async fn outside_steps(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    event: OutsideEvent,
) -> Result<Vec<OutsideStep>, ApiError> {
    let steps = seasons::policy_of(tx, unit, season).await?.outside_steps;
    Ok(steps.into_iter().filter(|step| step.event == event).collect())
}

/// What is wrong with those who are named to go on, each with whether as the lead: each is an open assignment of the troop, once, and one of them leads at most.
pub(super) fn faults(open: &[AssignmentRow], named: &[(AssignmentId, bool)], key: &str) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let confirmed = |id: AssignmentId| open.iter().any(|row| row.assignment_id == id.0 && row.confirmed_at.is_some());
    for (place, (assignment, lead)) in named.iter().enumerate() {
        let before = named.iter().take(place);
        let at = |name: &str| format!("/{key}/{place}/{name}");
        if !confirmed(*assignment) {
            let wanted = "a confirmed assignment of this troop that goes on (list_assignments)";
            faults.push(FieldError::at(at("assignment_id"), "unknown", wanted));
        } else if before.clone().any(|(other, _)| other == assignment) {
            faults.push(FieldError::at(at("assignment_id"), "twice", "each coordinator once"));
        }
        if *lead && before.clone().any(|(_, other)| *other) {
            faults.push(FieldError::at(at("lead"), "second_lead", "one lead: false for all but one of them"));
        }
    }
    faults
}

/// What a regrouping acts with.
pub(super) struct Moving<'a> {
    pub by: &'a Permit<TroopsRegroup>,
    pub season: SeasonId,
    /// The troop to which people go.
    pub to: TroopId,
    /// The instant and the place in the log.
    pub stamp: (DateTime<Utc>, i64),
}

impl Moving<'_> {
    /// Lets a coordinator go on in the other troop: by a new assignment, by the one that a list has proposed there, or by
    /// the one that is there already, which keeps the lead that it has. Says how, whether as the lead, and by which one.
    pub(super) async fn go_on(
        &self,
        tx: &mut Tx,
        old: &AssignmentRow,
        lead: bool,
    ) -> Result<(RegroupedAs, bool, AssignmentId), ApiError> {
        let (by, (at, log_seq)) = (self.by, self.stamp);
        let there = endings::open_of(tx, by, self.season, self.to, PersonId(old.person_id)).await?;
        if let Some(mut row) = there {
            let assignment = AssignmentId(row.assignment_id);
            tx.about("assignment", assignment);
            if row.confirmed_at.is_none() {
                row.confirmed_at = Some(at);
                row.lead = lead;
                assignments::decide(tx, by, &row, log_seq).await?;
                return Ok((RegroupedAs::Confirmed, lead, assignment));
            }
            if lead && !row.lead {
                leads::change(tx, by, assignment, true, self.stamp).await?;
            }
            return Ok((RegroupedAs::ThereAlready, lead || row.lead, assignment));
        }
        let assignment = AssignmentId::new();
        let row = AssignmentRow {
            assignment_id: assignment.0,
            troop_id: self.to.0,
            lead,
            from_at: old.from_at.max(at),
            proposed_at: None,
            confirmed_at: Some(at),
            version: 1,
            ..old.clone()
        };
        assignments::insert(tx, by, &row, log_seq).await?;
        tx.about("assignment", assignment);
        Ok((RegroupedAs::Begins, lead, assignment))
    }

    /// Ends an assignment to the old troop.
    pub(super) async fn end(&self, tx: &mut Tx, old: &AssignmentRow) -> Result<(), ApiError> {
        sql::end(tx, self.by, AssignmentId(old.assignment_id), self.stamp).await?;
        tx.about("assignment", old.assignment_id);
        tx.about("person", old.person_id);
        Ok(())
    }

    /// Gives a contact of the old troop the same duty in the other one, unless the person has it there, and ends the old
    /// one unless the person stays.
    pub(super) async fn carry_over(
        &self,
        tx: &mut Tx,
        old: &TroopContactRow,
        stays: bool,
    ) -> Result<TroopContact, ApiError> {
        let (by, (at, log_seq)) = (self.by, self.stamp);
        let end = |row: &TroopContactRow| row.ended_at.unwrap_or(DateTime::<Utc>::MAX_UTC);
        let there = contacts::lock(tx, by, self.to, PersonId(old.person_id), &old.duty).await?;
        let from_at = there.as_ref().map_or(at, |row| row.from_at);
        let row = match there {
            Some(row) if end(&row) >= end(old) => row,
            _ => {
                let row = TroopContactRow { troop_id: self.to.0, from_at, ..old.clone() };
                contacts::keep(tx, by, &row, log_seq).await?;
                row
            }
        };
        if !stays {
            contacts::keep(tx, by, &TroopContactRow { ended_at: Some(at), ..old.clone() }, log_seq).await?;
        }
        tx.about("person", old.person_id);
        Ok(TroopContact::from(row))
    }
}
