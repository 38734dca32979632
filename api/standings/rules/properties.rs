//! What must hold for any facts at all.

use chrono::{DateTime, TimeDelta, Utc};
use proptest::prelude::*;
use uuid::Uuid;

use super::worlds::*;
use super::*;
use crate::common::ids::{DecisionId, EvidenceId, OverrideId, WaiverId};
use crate::seasons::policy::{AnyOf, CountedCoordinators, GateName, OverrideBy, WaivableBy};

const CODES: [&str; 7] =
    ["membership", "registration", "screening", "agreement", "yearly_training", "first_season_course", "bank_details"];

/// Midnight in New York on 10 January 2027, five days before orders are due.
fn start() -> DateTime<Utc> {
    at("2027-01-10T05:00:00Z")
}

fn hours(range: std::ops::Range<i64>) -> impl Strategy<Value = DateTime<Utc>> {
    range.prop_map(|hour| start() + TimeDelta::hours(hour))
}

fn a_fact() -> impl Strategy<Value = EvidenceFact> {
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
        })
}

fn a_decision() -> impl Strategy<Value = DecisionFact> {
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

fn an_assignment(number: u128) -> impl Strategy<Value = AssignmentFact> {
    (any::<bool>(), hours(-120..20), prop::option::of(1..200_i64), prop::option::weighted(0.9, hours(-120..20)))
        .prop_map(move |(lead, from_at, length, confirmed_at)| AssignmentFact {
            assignment_id: place(number),
            person_id: person(number),
            lead,
            from_at,
            until_at: length.map(|length| from_at + TimeDelta::hours(length)),
            proposed_at: Some(from_at),
            confirmed_at,
            declined_at: None,
            ended_at: None,
        })
}

fn a_waiver() -> impl Strategy<Value = WaiverFact> {
    (0..CODES.len(), 1..3_u128, hours(-100..50), -2_i64..8, any::<u128>()).prop_map(
        |(code, who, granted_at, last, id)| WaiverFact {
            waiver_id: WaiverId(Uuid::from_u128(id)),
            requirement: CODES[code].to_owned(),
            person_id: (CODES[code] != "bank_details").then(|| person(who)),
            granted_at,
            until_on: day("2027-01-10") + TimeDelta::days(last),
            revoked_at: None,
        },
    )
}

fn an_override() -> impl Strategy<Value = OverrideFact> {
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

fn some_facts() -> impl Strategy<Value = Facts> {
    // Mostly in order, so that every state comes up: one proof of everything from before, then what happens.
    let early = prop::collection::vec(prop::bool::weighted(0.8), CODES.len() * 2);
    let evidence = prop::collection::vec(a_fact(), 0..12);
    let decisions = prop::collection::vec(a_decision(), 0..5);
    let waivers = prop::collection::vec(a_waiver(), 0..3);
    let overrides = prop::collection::vec(an_override(), 0..3);
    (any::<bool>(), early, an_assignment(1), an_assignment(2), evidence, decisions, waivers, overrides).prop_map(
        |(first_season, early, one, two, mut evidence, decisions, waivers, overrides)| {
            for (place, _) in early.iter().enumerate().filter(|(_, wanted)| **wanted) {
                let code = CODES[place / 2];
                let who = (code != "bank_details").then_some(if place % 2 == 0 { LEAD } else { SECOND });
                let early = Told::default().met(code, who, "2027-01-02").facts.evidence.remove(0);
                evidence.push(EvidenceFact { seq: -1, ..early });
            }
            Facts { first_season, assignments: vec![one, two], evidence, waivers, overrides, decisions }
        },
    )
}

fn some_policy() -> impl Strategy<Value = Policy> {
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
fn content(standing: Standing) -> Standing {
    Standing { changes_at: None, ..standing }
}

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config(300))]

    #[test]
    fn the_order_of_facts_does_not_matter(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let mut turned = facts.clone();
        turned.evidence.reverse();
        turned.decisions.reverse();
        turned.waivers.reverse();
        turned.overrides.reverse();
        turned.assignments.reverse();
        prop_assert_eq!(standing(&policy, &calendar(), &facts, now), standing(&policy, &calendar(), &turned, now));
    }

    #[test]
    fn one_more_met_fact_never_closes_a_gate(
        policy in some_policy(), facts in some_facts(), more in a_fact(), now in hours(-10..150)
    ) {
        let before = standing(&policy, &calendar(), &facts, now);
        let mut richer = facts;
        richer.evidence.push(EvidenceFact { outcome: EvidenceOutcome::Met, ..more });
        let after = standing(&policy, &calendar(), &richer, now);
        for (was, is) in before.gates.iter().zip(&after.gates) {
            prop_assert!(is.open || !was.open, "{:?} closed", is.gate);
        }
    }

    #[test]
    fn what_is_recorded_later_is_not_known(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let mut known = facts.clone();
        known.evidence.retain(|fact| fact.recorded_at <= now);
        known.decisions.retain(|decision| decision.decided_at <= now);
        known.waivers.retain(|waiver| waiver.granted_at <= now);
        known.overrides.retain(|one| one.granted_at <= now);
        for assignment in &mut known.assignments {
            if assignment.confirmed_at.is_some_and(|instant| instant > now) {
                assignment.confirmed_at = None;
            }
            if assignment.proposed_at.is_some_and(|instant| instant > now) {
                assignment.proposed_at = None;
            }
        }
        prop_assert_eq!(standing(&policy, &calendar(), &facts, now), standing(&policy, &calendar(), &known, now));
    }

    /// The table of states, read off the answer's own rows: one state always applies, and the first that does is taken.
    #[test]
    fn the_table_of_states_is_total(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let policy = Policy { counted_coordinators: CountedCoordinators::Lead, ..policy };
        let standing = standing(&policy, &calendar(), &facts, now);
        let lead = standing.coordinators.iter().filter(|one| one.lead).max_by_key(|one| match one.state {
            CoordinatorState::Suspended => 5,
            CoordinatorState::Lapsed => 4,
            CoordinatorState::Gathering => 3,
            CoordinatorState::Ready => 2,
            CoordinatorState::Appointed => 1,
        });
        let rows: Vec<_> = lead.into_iter().flat_map(|lead| &lead.requirements).chain(&standing.requirements).collect();
        let appointed = lead.is_some_and(|lead| lead.appointed_at.is_some());
        let mut seasons: Vec<_> = facts.decisions.iter()
            .filter(|one| one.decided_at <= now && matches!(one.kind, DecisionKind::SitOut | DecisionKind::Rejoin))
            .collect();
        seasons.sort_by_key(|one| (one.decided_at, one.seq, one.decision_id));
        let table = [
            (TroopState::SittingOut, seasons.last().is_some_and(|last| last.kind == DecisionKind::SitOut)),
            (TroopState::Vacant, lead.is_none()),
            (TroopState::Suspended, lead.is_some_and(|lead| lead.suspended_at.is_some())),
            (TroopState::Lapsed, appointed && rows.iter().any(|row| !row.closed && row.grace_until_at.is_none())),
            (TroopState::Appointed, appointed),
            (TroopState::Ready, rows.iter().all(|row| row.closed)),
            (TroopState::Gathering, rows.iter().any(|row| !row.closed)),
        ];
        prop_assert_eq!(table.iter().find(|(_, applies)| *applies).map(|(state, _)| *state), Some(standing.state));
    }

    /// A waiver closes nothing before it is granted, after it was taken back, from the end of its last day on, or where
    /// the policy lets nobody waive; and whatever reads as waived is closed by a waiver that is in force.
    #[test]
    fn a_waiver_never_outlives_its_end(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let calendar = calendar();
        let seen = standing(&policy, &calendar, &facts, now);
        let own = seen.coordinators.iter().flat_map(|one| &one.requirements);
        for row in own.chain(&seen.requirements) {
            prop_assert_eq!(row.waiver_id.is_some(), row.outcome == RequirementOutcome::Waived);
            let Some(id) = row.waiver_id else { continue };
            let waiver = facts.waivers.iter().find(|waiver| waiver.waiver_id == id).unwrap();
            // New York is five hours behind in January: the day after the last one begins at five o'clock UTC.
            let end = (waiver.until_on + TimeDelta::days(1)).and_hms_opt(5, 0, 0).unwrap().and_utc();
            prop_assert!(waiver.granted_at <= now && now < end, "{} at {}", waiver.until_on, now);
            prop_assert_ne!(row.waivable_by, WaivableBy::Never);
        }
    }

    /// An override only ever opens its own gate, for as long as it lasts, and changes nothing else of the answer.
    #[test]
    fn an_override_opens_its_gate_and_nothing_else(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let without = standing(&policy, &calendar(), &Facts { overrides: vec![], ..facts.clone() }, now);
        let with = standing(&policy, &calendar(), &facts, now);
        prop_assert_eq!((with.state, &with.requirements), (without.state, &without.requirements));
        for (was, is) in without.gates.iter().zip(&with.gates) {
            prop_assert!(is.open || !was.open);
            let in_force = facts.overrides.iter().any(|one| {
                let end = (one.until_on + TimeDelta::days(1)).and_hms_opt(5, 0, 0).unwrap().and_utc();
                one.gate == is.gate && one.granted_at <= now && now < end && one.revoked_at.is_none_or(|back| now < back)
            });
            prop_assert_eq!(is.overridden_by.is_some(), in_force);
            prop_assert!(in_force || is.open == was.open);
        }
    }

    /// What is kept in the cache reads back as it was.
    #[test]
    fn an_answer_survives_the_cache(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let standing = standing(&policy, &calendar(), &facts, now);
        let text = serde_json::to_string(&standing).unwrap();
        prop_assert_eq!(serde_json::from_str::<Standing>(&text).unwrap(), standing);
    }
}

proptest! {
    #![proptest_config(config(48))]

    /// Hour by hour for eight days, with only what is known now: the answer stays as it is until `changes_at`, to the
    /// second, and is another one then. The same for each gate.
    #[test]
    fn changes_at_is_exact(policy in some_policy(), facts in some_facts(), now in hours(-5..48)) {
        let known = facts.known_at(now);
        let calendar = calendar();
        let then = |instant| standing(&policy, &calendar, &known, instant);
        let first = then(now);
        let until = first.changes_at.unwrap_or(now + TimeDelta::days(8));
        let steps = (1..8 * 24).map(|hour| now + TimeDelta::hours(hour)).take_while(|instant| *instant < until);
        for instant in steps {
            prop_assert_eq!(content(then(instant)), content(first.clone()), "at {}", instant);
        }
        if let Some(change) = first.changes_at {
            prop_assert_eq!(content(then(change - TimeDelta::seconds(1))), content(first.clone()));
            prop_assert_ne!(content(then(change)), content(first.clone()));
        }
        for gate in &first.gates {
            let open = |instant| then(instant).gates.into_iter().find(|one| one.gate == gate.gate).unwrap().open;
            if let Some(change) = gate.changes_at {
                prop_assert_eq!(open(change - TimeDelta::seconds(1)), gate.open);
                prop_assert_eq!(open(change), !gate.open);
            }
        }
    }
}
