//! The answer's why and what next: reasons, steps, gates and what will lapse.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::Closer;
use crate::common::ids::{OverrideId, PersonId};
use crate::seasons::policy::{GateName, OverrideBy};

/// One reason for a state.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Reason {
    /// The reason, as a lasting code.
    pub code: ReasonCode,
    /// The requirement it is about, if any.
    #[schema(required = true, max_length = 40)]
    pub requirement: Option<String>,
    /// The coordinator it is about, if any.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The reason in plain words.
    #[schema(max_length = 400)]
    pub sentence: String,
}

/// The reasons. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReasonCode {
    /// The troop takes no part this season.
    SitsOut,
    /// Nobody coordinates the troop.
    NoCoordinator,
    /// There are coordinators, but no lead, and the policy counts the lead.
    NoLead,
    /// Somebody is proposed and waits to be confirmed.
    CoordinatorProposed,
    /// Suspended, by decision.
    SuspendedByDecision,
    /// A requirement is open.
    RequirementOpen,
    /// A requirement vanished from a list and the grace still runs.
    WithinGrace,
    /// All is met or waived; the appointment is missing.
    NotYetAppointed,
    /// Appointed, and all is met or waived.
    AllInOrder,
    /// The troop does not stand as appointed.
    NotAppointed,
}

/// The next single step.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// The step, as a lasting code.
    pub code: StepCode,
    /// The requirement it closes, if any.
    #[schema(required = true, max_length = 40)]
    pub requirement: Option<String>,
    /// The coordinator it is about, if any.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// Who can do it.
    #[schema(max_items = 5)]
    pub who: Vec<Closer>,
    /// The step in plain words.
    #[schema(max_length = 400)]
    pub sentence: String,
    /// The gates that stay closed without it.
    #[schema(max_items = 3)]
    pub blocks: Vec<GateName>,
    /// The next milestone at which a gate will close without it; null when none is dated.
    #[schema(required = true)]
    pub by: Option<Deadline>,
}

/// The steps. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StepCode {
    /// Find a coordinator.
    FindCoordinator,
    /// Confirm or decline the one who is proposed.
    ConfirmCoordinator,
    /// Say which coordinator leads.
    NameLead,
    /// Close a requirement.
    CloseRequirement,
    /// Check what was reported.
    CheckReport,
    /// Appoint the coordinator.
    Appoint,
    /// Restore the suspended coordinator, or find another.
    Restore,
    /// Renew something before it lapses.
    Renew,
}

/// A milestone and its instant.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Deadline {
    /// The milestone's code.
    #[schema(max_length = 40)]
    pub milestone: String,
    /// What a volunteer reads.
    #[schema(max_length = 120)]
    pub title: String,
    /// The instant: of a day, its end.
    pub at: DateTime<Utc>,
}

/// One gate: whether it is open, and why not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GateStanding {
    /// The gate.
    pub gate: GateName,
    /// Whether it is open.
    pub open: bool,
    /// What holds it shut now; empty when it is open.
    #[schema(max_items = 1000)]
    pub reasons: Vec<GateReason>,
    /// What would hold it shut from a later milestone on, as things stand.
    #[schema(max_items = 1000)]
    pub ahead: Vec<GateReason>,
    /// What an override lets the troop through, now or from a later milestone on: it holds again when the override ends.
    #[schema(max_items = 1000)]
    pub let_through: Vec<GateReason>,
    /// The override in force; null when there is none.
    #[schema(required = true)]
    pub overridden_by: Option<OverrideInForce>,
    /// When it opens or closes by itself, as things stand; null when it does not.
    #[schema(required = true)]
    pub changes_at: Option<DateTime<Utc>>,
}

/// An override in force.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OverrideInForce {
    /// Which one.
    pub override_id: OverrideId,
    /// Whether two people agreed: then it also reaches rules that one person may not override.
    pub two_people: bool,
    /// Its last day.
    pub until_on: NaiveDate,
    /// The end of that day, when it ends by itself.
    pub ends_at: DateTime<Utc>,
}

/// One thing that holds a gate shut.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GateReason {
    /// The reason, as a lasting code.
    pub code: ReasonCode,
    /// The requirement it is about, if any.
    #[schema(required = true, max_length = 40)]
    pub requirement: Option<String>,
    /// The coordinator it is about, if any.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The reason, and what opens the gate, in plain words.
    #[schema(max_length = 400)]
    pub sentence: String,
    /// Who can do what opens it.
    #[schema(max_items = 5)]
    pub who_can_open: Vec<Closer>,
    /// Who may let the troop through all the same.
    pub override_by: OverrideBy,
    /// The milestone from which this holds the gate shut: by when it must be done; null when from the start.
    #[schema(required = true)]
    pub from: Option<Deadline>,
    /// The milestone at which this ends by itself; null when it does not.
    #[schema(required = true)]
    pub until: Option<Deadline>,
}

/// Something that holds now and will not any more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Lapse {
    /// The requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// The coordinator; null for the troop's own.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// When it stops holding, as things stand.
    pub lapses_at: DateTime<Utc>,
    /// Why it stops.
    pub cause: LapseCause,
    /// The first milestone that it will not reach.
    pub before: Deadline,
}

/// Why something stops holding. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LapseCause {
    /// The proof's time is over.
    Expires,
    /// The waiver ends.
    WaiverEnds,
    /// The grace ends.
    GraceEnds,
}
