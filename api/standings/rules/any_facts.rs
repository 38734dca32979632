//! Facts and policies at random, for the properties.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use uuid::Uuid;

use super::worlds::*;
use super::*;
use crate::common::ids::{DecisionId, EvidenceId, OverrideId, WaiverId};
use crate::seasons::policy::{AnyOf, CountedCoordinators, GateName, OverrideBy, WaivableBy};

pub(super) const CODES: [&str; 7] =
    ["membership", "registration", "screening", "agreement", "yearly_training", "first_season_course", "bank_details"];

/// Midnight in New York on 10 January 2027, five days before orders are due.
pub(super) fn start() -> DateTime<Utc> {
    at("2027-01-10T05:00:00Z")
}

pub(super) fn hours(range: std::ops::Range<i64>) -> impl Strategy<Value = DateTime<Utc>> {
    range.prop_map(|hour| start() + TimeDelta::hours(hour))
}

/// Now and then something happens that seldom does.
fn seldom(range: std::ops::Range<i64>) -> impl Strategy<Value = Option<DateTime<Utc>>> {
    prop::option::weighted(0.25, hours(range))
}

pub(super) fn a_fact() -> impl Strategy<Value = EvidenceFact> {
    let outcome = prop::sample::select(vec![
        EvidenceOutcome::Met,
        EvidenceOutcome::Met,
        EvidenceOutcome::Met,
        EvidenceOutcome::NotMet,
        EvidenceOutcome::Absent,
        EvidenceOutcome::Reported,
    ]);
    let source = prop::sample::select(vec![
        EvidenceSource::List,
        EvidenceSource::List,
        EvidenceSource::Certificate,
        EvidenceSource::Manager,
        EvidenceSource::Person,
    ]);
    let last = prop::option::of(-3_i64..12);
    let score = prop::option::of(prop::sample::select(vec![60_u8, 79, 80, 100]));
    (0..CODES.len(), 1..3_u128, outcome, source, -6_i64..3, last, score, hours(-150..240), 0..40_i64, any::<u128>())
        .prop_map(|(code, who, outcome, source, observed, last, score_percent, recorded_at, seq, id)| EvidenceFact {
            evidence_id: EvidenceId(Uuid::from_u128(id)),
            requirement: CODES[code].to_owned(),
            person_id: (CODES[code] != "bank_details").then(|| person(who)),
            outcome,
            observed_on: day("2027-01-10") + TimeDelta::days(observed),
            valid_until_on: last.map(|last| day("2027-01-10") + TimeDelta::days(last)),
            score_percent,
            source,
            recorded_at,
            seq,
            restates: id % 3 == 0,
        })
}

pub(super) fn a_decision() -> impl Strategy<Value = DecisionFact> {
    let kind = prop::sample::select(vec![
        DecisionKind::Appoint,
        DecisionKind::Appoint,
        DecisionKind::Suspend,
        DecisionKind::Restore,
        DecisionKind::StandDown,
        DecisionKind::SitOut,
        DecisionKind::Rejoin,
    ]);
    (kind, 1..3_u128, hours(-100..200), 0..40_i64, any::<u128>()).prop_map(|(kind, who, decided_at, seq, id)| {
        let about_troop = matches!(kind, DecisionKind::SitOut | DecisionKind::Rejoin);
        DecisionFact {
            decision_id: DecisionId(Uuid::from_u128(id)),
            kind,
            assignment_id: (!about_troop).then(|| place(who)),
            decided_at,
            seq,
        }
    })
}

pub(super) fn an_assignment(number: u128) -> impl Strategy<Value = AssignmentFact> {
    let confirmed = prop::option::weighted(0.9, hours(-120..20));
    let length = prop::option::of(1..200_i64);
    let changes = prop::collection::vec(hours(-120..100), 0..3);
    (any::<bool>(), changes, hours(-120..20), length, confirmed, seldom(-100..200), seldom(-100..200)).prop_map(
        move |(lead, lead_changed_at, from_at, length, confirmed_at, declined_at, ended_at)| AssignmentFact {
            assignment_id: place(number),
            person_id: person(number),
            lead,
            lead_changed_at,
            from_at,
            until_at: length.map(|length| from_at + TimeDelta::hours(length)),
            proposed_at: Some(from_at),
            confirmed_at,
            declined_at,
            ended_at,
        },
    )
}

pub(super) fn a_waiver() -> impl Strategy<Value = WaiverFact> {
    (0..CODES.len(), 1..3_u128, hours(-100..50), -2_i64..8, seldom(-100..50), any::<u128>()).prop_map(
        |(code, who, granted_at, last, revoked_at, id)| WaiverFact {
            waiver_id: WaiverId(Uuid::from_u128(id)),
            requirement: CODES[code].to_owned(),
            person_id: (CODES[code] != "bank_details").then(|| person(who)),
            granted_at,
            until_on: day("2027-01-10") + TimeDelta::days(last),
            revoked_at,
        },
    )
}

pub(super) fn an_override() -> impl Strategy<Value = OverrideFact> {
    let revoked = prop::option::weighted(0.3, hours(-50..100));
    (prop::sample::select(GateName::ALL.to_vec()), any::<bool>(), hours(-100..50), -2_i64..8, revoked, any::<u128>())
        .prop_map(|(gate, two_people, granted_at, last, revoked_at, id)| OverrideFact {
            override_id: OverrideId(Uuid::from_u128(id)),
            gate,
            two_people,
            granted_at,
            until_on: day("2027-01-10") + TimeDelta::days(last),
            revoked_at,
        })
}

/// One proof of everything from before, that some of them end.
fn early_proofs() -> impl Strategy<Value = Vec<EvidenceFact>> {
    let one = (prop::bool::weighted(0.8), prop::option::of(-1_i64..10));
    prop::collection::vec(one, CODES.len() * 2).prop_map(|early| {
        let wanted = early.into_iter().enumerate().filter(|(_, (wanted, _))| *wanted);
        let proofs = wanted.map(|(place, (_, last))| {
            let code = CODES[place / 2];
            let who = (code != "bank_details").then_some(if place % 2 == 0 { LEAD } else { SECOND });
            let proof = Told::default().met(code, who, "2027-01-02").facts.evidence.remove(0);
            let valid_until_on = last.map(|last| day("2027-01-10") + TimeDelta::days(last));
            EvidenceFact { seq: -1, valid_until_on, ..proof }
        });
        proofs.collect()
    })
}

/// Mostly in order, so that every state comes up: proofs from before and appointments, then what happens.
pub(super) fn some_facts() -> impl Strategy<Value = Facts> {
    let early = (prop::option::weighted(0.7, early_proofs()), prop::collection::vec(any::<bool>(), 2));
    let evidence = prop::collection::vec(a_fact(), 0..12);
    let decisions = prop::collection::vec(a_decision(), 0..5);
    let waivers = prop::collection::vec(a_waiver(), 0..5);
    let overrides = prop::collection::vec(an_override(), 0..3);
    (any::<bool>(), early, an_assignment(1), an_assignment(2), evidence, decisions, waivers, overrides).prop_map(
        |(first_season, (proofs, appointed), one, two, mut evidence, mut decisions, waivers, overrides)| {
            evidence.extend(proofs.unwrap_or_default());
            for (number, _) in (1..).zip(appointed).filter(|(_, wanted)| *wanted) {
                let told = Told::default().decided(DecisionKind::Appoint, Some(number), "2027-01-04T12:00:00Z");
                decisions.extend(told.facts.decisions.into_iter().map(|one| DecisionFact { seq: -1, ..one }));
            }
            Facts { first_season, assignments: vec![one, two], evidence, waivers, overrides, decisions }
        },
    )
}

/// Facts with rivals of each kind about the same thing, and the same facts in any other order.
pub(super) fn in_two_orders() -> impl Strategy<Value = (Facts, Facts)> {
    (some_facts(), any::<u128>()).prop_flat_map(|(mut facts, id)| {
        let evidence_id = EvidenceId(Uuid::from_u128(id));
        facts.evidence.extend(facts.evidence.clone().into_iter().map(|one| EvidenceFact { evidence_id, ..one }));
        let longer = |until_on: chrono::NaiveDate| until_on + TimeDelta::days(1);
        let waiver_id = WaiverId(Uuid::from_u128(id));
        let waivers = facts.waivers.clone().into_iter();
        facts.waivers.extend(waivers.map(|one| WaiverFact { waiver_id, until_on: longer(one.until_on), ..one }));
        let override_id = OverrideId(Uuid::from_u128(id));
        let overrides = facts.overrides.clone().into_iter();
        facts.overrides.extend(overrides.map(|one| OverrideFact {
            override_id,
            until_on: longer(one.until_on),
            ..one
        }));
        let Facts { assignments, evidence, waivers, overrides, decisions, first_season } = facts.clone();
        let turned = (
            Just(assignments).prop_shuffle(),
            Just(evidence).prop_shuffle(),
            Just(waivers).prop_shuffle(),
            Just(overrides).prop_shuffle(),
            Just(decisions).prop_shuffle(),
        );
        let turned = turned.prop_map(move |(assignments, evidence, waivers, overrides, decisions)| Facts {
            first_season,
            assignments,
            evidence,
            waivers,
            overrides,
            decisions,
        });
        (Just(facts), turned)
    })
}

pub(super) fn some_policy() -> impl Strategy<Value = Policy> {
    let counted =
        prop::sample::select(vec![CountedCoordinators::Lead, CountedCoordinators::Any, CountedCoordinators::All]);
    (counted, prop::sample::select(vec![0_u16, 2, 5]), any::<bool>(), any::<bool>()).prop_map(
        |(counted_coordinators, grace_days, grouped, lenient)| {
            let mut policy = Policy { counted_coordinators, grace_days, ..policy() };
            if grouped {
                let requirements = vec!["agreement".to_owned(), "yearly_training".to_owned()];
                policy.any_of = vec![AnyOf { code: "either".to_owned(), requirements }];
            }
            if lenient {
                for requirement in &mut policy.requirements {
                    requirement.waivable_by = Some(WaivableBy::Manager);
                }
                for rule in policy.gates.iter_mut().flat_map(|gate| &mut gate.rules) {
                    rule.override_by = OverrideBy::Manager;
                }
            }
            policy
        },
    )
}

/// The answer without the instant of its next change, which alone may differ while nothing else does.
pub(super) fn content(standing: Standing) -> Standing {
    Standing { changes_at: None, ..standing }
}

pub(super) fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}
