//! What the rules answer; also what the API shows and what the cache keeps.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{EvidenceSource, GateStanding, Lapse, Reason, Step};
use crate::common::ids::{AssignmentId, PersonId, WaiverId};
use crate::seasons::policy::{RequirementKind, WaivableBy};

/// Where a troop stands, and why.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Standing {
    /// The state.
    pub state: TroopState,
    /// Why this state.
    #[schema(max_items = 1000)]
    pub reasons: Vec<Reason>,
    /// The one thing to do next; null when nothing is to be done.
    #[schema(required = true)]
    pub next_step: Option<Step>,
    /// The troop's own requirements; those of its coordinators stand with each of them.
    #[schema(max_items = 40)]
    pub requirements: Vec<RequirementStanding>,
    /// Each coordinator, the lead first.
    #[schema(max_items = 100)]
    pub coordinators: Vec<CoordinatorStanding>,
    /// Who will coordinate the troop from a later instant on, the first one first; nobody counts before.
    #[schema(max_items = 100)]
    pub begins: Vec<BeginsLater>,
    /// Every gate, open or closed.
    #[schema(max_items = 3)]
    pub gates: Vec<GateStanding>,
    /// What holds now and will lapse before a milestone, as things stand.
    #[schema(max_items = 1000)]
    pub lapses: Vec<Lapse>,
    /// The first later instant at which this answer changes by itself; null when it never does.
    #[schema(required = true)]
    pub changes_at: Option<DateTime<Utc>>,
}

/// Somebody whose assignment is confirmed and begins later.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BeginsLater {
    /// The assignment.
    pub assignment_id: AssignmentId,
    /// The person.
    pub person_id: PersonId,
    /// Whether as the lead.
    pub lead: bool,
    /// From when.
    pub from_at: DateTime<Utc>,
}

/// The states of a troop; the first that applies, in this order. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TroopState {
    /// The troop takes no part this season.
    SittingOut,
    /// No coordinator.
    Vacant,
    /// Suspended, by decision.
    Suspended,
    /// Appointed, but a requirement is open now and the grace is over.
    Lapsed,
    /// Appointed, and all met or waived, or within the grace.
    Appointed,
    /// All met or waived, not yet appointed.
    Ready,
    /// At least one requirement open.
    Gathering,
}

impl TroopState {
    /// Every state, in the order in which the first that applies is taken.
    pub const ALL: [Self; 7] =
        [Self::SittingOut, Self::Vacant, Self::Suspended, Self::Lapsed, Self::Appointed, Self::Ready, Self::Gathering];
}

/// Where one coordinator of the troop stands.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CoordinatorStanding {
    /// The assignment.
    pub assignment_id: AssignmentId,
    /// The person.
    pub person_id: PersonId,
    /// Whether this is the lead.
    pub lead: bool,
    /// Whether the policy counts this coordinator for the troop's state.
    pub counted: bool,
    /// The state.
    pub state: CoordinatorState,
    /// When the coordinator was appointed; null when that has not been.
    #[schema(required = true)]
    pub appointed_at: Option<DateTime<Utc>>,
    /// When the coordinator was suspended; null when not suspended.
    #[schema(required = true)]
    pub suspended_at: Option<DateTime<Utc>>,
    /// The person's requirements; the troop's stand beside.
    #[schema(max_items = 40)]
    pub requirements: Vec<RequirementStanding>,
    /// The one thing to do next for this coordinator; null when nothing is to be done.
    #[schema(required = true)]
    pub next_step: Option<Step>,
}

/// The states of a coordinator; the first that applies, in this order. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CoordinatorState {
    /// By decision.
    Suspended,
    /// Appointed, but a requirement is open now and the grace is over.
    Lapsed,
    /// Appointed, and all met or waived, or within the grace.
    Appointed,
    /// All met or waived, not yet appointed.
    Ready,
    /// At least one requirement open.
    Gathering,
}

/// How one requirement stands for one person or for the troop.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RequirementStanding {
    /// Its code.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// What a volunteer reads.
    #[schema(max_length = 120)]
    pub title: String,
    /// How carefully it is treated.
    pub kind: RequirementKind,
    /// What is known.
    pub outcome: RequirementOutcome,
    /// Whether nothing more is asked: met, waived, or another of its group is.
    pub closed: bool,
    /// Where the newest word on it comes from; null when there is none or it is not shown.
    #[schema(required = true)]
    pub source: Option<EvidenceSource>,
    /// The day for which that was said.
    #[schema(required = true)]
    pub observed_on: Option<NaiveDate>,
    /// The last day for which it holds (of the proof, or of the waiver); null when it names none.
    #[schema(required = true)]
    pub valid_until_on: Option<NaiveDate>,
    /// The score in percent, where the evidence carries one.
    #[schema(required = true, maximum = 100)]
    pub score_percent: Option<u8>,
    /// Vanished from a list, but tolerated until this instant; null otherwise.
    #[schema(required = true)]
    pub grace_until_at: Option<DateTime<Utc>>,
    /// The waiver that closes it; null when none does or it is not shown.
    #[schema(required = true)]
    pub waiver_id: Option<WaiverId>,
    /// Whether it is open and everything that comes before it is done.
    pub can_be_done_now: bool,
    /// Who can close it; empty when it is closed.
    #[schema(max_items = 5)]
    pub who_can_close: Vec<Closer>,
    /// How it is closed, in plain words; null when it is closed.
    #[schema(required = true, max_length = 400)]
    pub how: Option<String>,
    /// Who may waive it.
    pub waivable_by: WaivableBy,
}

impl RequirementStanding {
    /// Whether it counts as good for somebody who is appointed: closed, or within the grace.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.closed || self.grace_until_at.is_some()
    }
}

/// What is known of a requirement. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RequirementOutcome {
    /// Met.
    Met,
    /// Let go for a time. It never reads as met.
    Waived,
    /// Another requirement of its group is met or waived.
    Covered,
    /// Reported by the person, not confirmed.
    Reported,
    /// Found not met.
    NotMet,
    /// No longer on the newest complete list.
    Absent,
    /// It was met, and its time is over.
    Expired,
    /// There is a result, below the score asked for.
    BelowMinimum,
    /// Nothing is known.
    Missing,
    /// A screening that is not met, to everyone but the unit manager and the overseer.
    NotConfirmed,
}

/// Who can do something. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Closer {
    /// The coordinator.
    Coordinator,
    /// A contact of the troop: its leader or treasurer.
    TroopContact,
    /// The unit manager.
    UnitManager,
    /// An overseer, as the second of two people.
    Overseer,
    /// Head office.
    HeadOffice,
}
