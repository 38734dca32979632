//! Small worlds for the tests of the rules: a policy, a calendar, and facts in one line each.

use chrono::{DateTime, NaiveDate, Utc};
use uuid::Uuid;

use super::*;
use crate::common::ids::{DecisionId, EvidenceId, OverrideId, PersonId, WaiverId};
use crate::seasons::calendar::{Milestone, When};
use crate::seasons::policy::shipped_policy;

pub(super) const LEAD: u128 = 1;
pub(super) const SECOND: u128 = 2;

pub(super) fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

pub(super) fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

pub(super) fn person(number: u128) -> PersonId {
    PersonId(Uuid::from_u128(number))
}

pub(super) fn place(number: u128) -> AssignmentId {
    AssignmentId(Uuid::from_u128(100 + number))
}

pub(super) fn policy() -> Policy {
    shipped_policy().unwrap()
}

/// A season in New York from September 2026: orders due 15 January (a day), delivery 20 February at eight, closing on
/// 20 March (a day); the sale's opening has no date.
pub(super) fn calendar() -> Calendar {
    let milestone =
        |code: &str, ours| Milestone { code: code.to_owned(), title: code.to_owned(), ours, head_office: None };
    Calendar {
        zone: chrono_tz::America::New_York,
        starts_on: day("2026-09-01"),
        milestones: vec![
            milestone("opening_orders_due", Some(When::Day(day("2027-01-15")))),
            milestone("delivery_day", Some(When::Hour("2027-02-20T08:00:00".parse().unwrap()))),
            milestone("sale_closes", Some(When::Day(day("2027-03-20")))),
            milestone("sale_opens", None),
        ],
    }
}

/// Facts to which one line adds one fact; each gets the next place in the log.
#[derive(Clone, Default)]
pub(super) struct Told {
    pub facts: Facts,
    seq: i64,
}

impl Told {
    /// A troop whose lead is confirmed on the first of September.
    pub fn with_lead() -> Self {
        Self::default().coordinator(LEAD, true)
    }

    /// A lead for whom every requirement of the shipped policy is met since the first of October.
    pub fn all_met() -> Self {
        ["membership", "registration", "screening", "agreement", "yearly_training"]
            .iter()
            .fold(Self::with_lead(), |told, code| told.met(code, Some(LEAD), "2026-10-01"))
            .met("bank_details", None, "2026-10-01")
    }

    pub fn coordinator(mut self, number: u128, lead: bool) -> Self {
        self.facts.assignments.push(AssignmentFact {
            assignment_id: place(number),
            person_id: person(number),
            lead,
            lead_changed_at: vec![],
            from_at: at("2026-09-01T12:00:00Z"),
            until_at: None,
            proposed_at: None,
            confirmed_at: Some(at("2026-09-01T12:00:00Z")),
            declined_at: None,
            ended_at: None,
        });
        self
    }

    pub fn met(self, requirement: &str, whose: Option<u128>, on: &str) -> Self {
        self.evidence(requirement, whose, EvidenceOutcome::Met, on, |_| {})
    }

    /// A fact from a list, recorded at the end of its day; `more` changes what is special.
    pub fn evidence(
        mut self,
        requirement: &str,
        whose: Option<u128>,
        outcome: EvidenceOutcome,
        on: &str,
        more: impl Fn(&mut EvidenceFact),
    ) -> Self {
        self.seq += 1;
        let mut fact = EvidenceFact {
            evidence_id: EvidenceId(Uuid::from_u128(self.seq.unsigned_abs().into())),
            requirement: requirement.to_owned(),
            person_id: whose.map(person),
            outcome,
            observed_on: day(on),
            valid_until_on: None,
            score_percent: None,
            source: EvidenceSource::List,
            recorded_at: at(&format!("{on}T22:00:00Z")),
            seq: self.seq,
            restates: false,
        };
        more(&mut fact);
        self.facts.evidence.push(fact);
        self
    }

    pub fn decided(mut self, kind: DecisionKind, whose: Option<u128>, when: &str) -> Self {
        self.seq += 1;
        self.facts.decisions.push(DecisionFact {
            decision_id: DecisionId(Uuid::from_u128(self.seq.unsigned_abs().into())),
            kind,
            assignment_id: whose.map(place),
            decided_at: at(when),
            seq: self.seq,
        });
        self
    }

    pub fn waived(mut self, requirement: &str, whose: Option<u128>, granted: &str, until: &str) -> Self {
        self.seq += 1;
        self.facts.waivers.push(WaiverFact {
            waiver_id: WaiverId(Uuid::from_u128(self.seq.unsigned_abs().into())),
            requirement: requirement.to_owned(),
            person_id: whose.map(person),
            granted_at: at(granted),
            until_on: day(until),
            revoked_at: None,
        });
        self
    }

    pub fn let_through(
        mut self,
        gate: crate::seasons::policy::GateName,
        two_people: bool,
        granted: &str,
        until: &str,
    ) -> Self {
        self.seq += 1;
        self.facts.overrides.push(OverrideFact {
            override_id: OverrideId(Uuid::from_u128(self.seq.unsigned_abs().into())),
            gate,
            two_people,
            granted_at: at(granted),
            until_on: day(until),
            revoked_at: None,
        });
        self
    }

    pub fn at(&self, when: &str) -> Standing {
        self.under(&policy(), when)
    }

    pub fn under(&self, policy: &Policy, when: &str) -> Standing {
        standing(policy, &calendar(), &self.facts, at(when))
    }
}

pub(super) fn row<'a>(standing: &'a Standing, requirement: &str) -> &'a RequirementStanding {
    let own = standing.coordinators.iter().flat_map(|one| &one.requirements);
    own.chain(&standing.requirements).find(|row| row.requirement == requirement).unwrap()
}

pub(super) fn gate(standing: &Standing, name: crate::seasons::policy::GateName) -> &GateStanding {
    standing.gates.iter().find(|gate| gate.gate == name).unwrap()
}
