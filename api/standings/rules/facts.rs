//! What the rules are told: the facts of one troop's season, as plain values.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::common::ids::{AssignmentId, DecisionId, EvidenceId, OverrideId, PersonId, WaiverId};
use crate::seasons::policy::GateName;

/// The facts of one troop in one season.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Facts {
    /// Whether the troop sells for the first time.
    pub first_season: bool,
    /// Who coordinates it, has done so, or is proposed to.
    pub assignments: Vec<AssignmentFact>,
    /// Evidence about the troop and about each of those people.
    pub evidence: Vec<EvidenceFact>,
    /// Waivers of the troop's and of each of those people's requirements.
    pub waivers: Vec<WaiverFact>,
    /// Overrides of its gates.
    pub overrides: Vec<OverrideFact>,
    /// Decisions about its assignments and about its season.
    pub decisions: Vec<DecisionFact>,
}

impl Facts {
    /// The facts as far as they are known at an instant: nothing that was recorded, decided or ended later.
    #[must_use]
    pub fn known_at(&self, at: DateTime<Utc>) -> Self {
        let happened = |instant: Option<DateTime<Utc>>| instant.filter(|instant| *instant <= at);
        let mut known = self.clone();
        known.evidence.retain(|fact| fact.recorded_at <= at);
        known.decisions.retain(|decision| decision.decided_at <= at);
        known.waivers.retain(|waiver| waiver.granted_at <= at);
        for waiver in &mut known.waivers {
            waiver.revoked_at = happened(waiver.revoked_at);
        }
        known.overrides.retain(|one| one.granted_at <= at);
        for one in &mut known.overrides {
            one.revoked_at = happened(one.revoked_at);
        }
        for assignment in &mut known.assignments {
            assignment.lead = assignment.led_at(at);
            assignment.lead_changed_at.retain(|instant| *instant <= at);
            assignment.proposed_at = happened(assignment.proposed_at);
            assignment.confirmed_at = happened(assignment.confirmed_at);
            assignment.declined_at = happened(assignment.declined_at);
            assignment.ended_at = happened(assignment.ended_at);
        }
        known
    }
}

/// A person's place as coordinator of the troop.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct AssignmentFact {
    /// Its identity.
    pub assignment_id: AssignmentId,
    /// Who.
    pub person_id: PersonId,
    /// Whether as the troop's lead coordinator, after all of `lead_changed_at`.
    pub lead: bool,
    /// When this person took or gave up the lead.
    pub lead_changed_at: Vec<DateTime<Utc>>,
    /// From when.
    pub from_at: DateTime<Utc>,
    /// Until when, where that is settled beforehand.
    pub until_at: Option<DateTime<Utc>>,
    /// When a list proposed it.
    pub proposed_at: Option<DateTime<Utc>>,
    /// When a person confirmed it; nothing counts before.
    pub confirmed_at: Option<DateTime<Utc>>,
    /// When a person declined the proposal.
    pub declined_at: Option<DateTime<Utc>>,
    /// When it was ended.
    pub ended_at: Option<DateTime<Utc>>,
}

impl AssignmentFact {
    /// Whether this person led at an instant: each change after it says that it was the other way round before.
    #[must_use]
    pub fn led_at(&self, at: DateTime<Utc>) -> bool {
        let later = self.lead_changed_at.iter().filter(|instant| **instant > at).count();
        self.lead == (later % 2 == 0)
    }
}

/// One immutable fact about a requirement.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct EvidenceFact {
    /// Its identity.
    pub evidence_id: EvidenceId,
    /// The code of the requirement.
    pub requirement: String,
    /// The person it is about; none when it is about the troop.
    pub person_id: Option<PersonId>,
    /// What it says.
    pub outcome: EvidenceOutcome,
    /// The day for which it says so.
    pub observed_on: NaiveDate,
    /// The last day for which it holds, where it names one.
    pub valid_until_on: Option<NaiveDate>,
    /// The score, in whole percent rounded down, where it carries one.
    pub score_percent: Option<u8>,
    /// Where it comes from.
    pub source: EvidenceSource,
    /// When it was recorded; it is not known before.
    pub recorded_at: DateTime<Utc>,
    /// Its place in the unit's log.
    pub seq: i64,
    /// Whether it says anew how long the requirement holds: what was said before it counts no longer.
    pub restates: bool,
}

/// What a fact says. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceOutcome {
    /// The person says so; nothing confirms it.
    Reported,
    /// It is met.
    Met,
    /// It is not met.
    NotMet,
    /// A complete list no longer names the person or troop.
    Absent,
}

/// Where a fact comes from. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EvidenceSource {
    /// A row of a posted list.
    List,
    /// A certificate.
    Certificate,
    /// The unit manager, by hand.
    Manager,
    /// The person's own report.
    Person,
}

/// A requirement let go for a time, with a reason kept elsewhere. It never reads as met, and it ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct WaiverFact {
    /// Its identity.
    pub waiver_id: WaiverId,
    /// The code of the requirement.
    pub requirement: String,
    /// The person it is for; none when it is for the troop.
    pub person_id: Option<PersonId>,
    /// When everyone whom the policy asks had agreed to it.
    pub granted_at: DateTime<Utc>,
    /// Its last day.
    pub until_on: NaiveDate,
    /// When it was taken back.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// Leave for the troop to pass a gate although something holds it shut, with a reason kept elsewhere. It ends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct OverrideFact {
    /// Its identity.
    pub override_id: OverrideId,
    /// The gate.
    pub gate: GateName,
    /// Whether two people agreed: then it also reaches rules that one person may not override.
    pub two_people: bool,
    /// When everyone whom the policy asks had agreed to it.
    pub granted_at: DateTime<Utc>,
    /// Its last day.
    pub until_on: NaiveDate,
    /// When it was taken back.
    pub revoked_at: Option<DateTime<Utc>>,
}

/// Something that was decided.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DecisionFact {
    /// Its identity.
    pub decision_id: DecisionId,
    /// What was decided.
    pub kind: DecisionKind,
    /// The assignment it concerns; none for the troop's season.
    pub assignment_id: Option<AssignmentId>,
    /// When.
    pub decided_at: DateTime<Utc>,
    /// Its place in the unit's log.
    pub seq: i64,
}

/// The decisions. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DecisionKind {
    /// The coordinator is appointed.
    Appoint,
    /// The coordinator is suspended.
    Suspend,
    /// A suspended coordinator is taken back.
    Restore,
    /// The coordinator stands down: the assignment ends.
    StandDown,
    /// The troop takes no part this season.
    SitOut,
    /// The troop takes part after all.
    Rejoin,
}
