//! What must hold for any facts at all.

use chrono::TimeDelta;
use proptest::prelude::*;

use super::any_facts::*;
use super::worlds::*;
use super::*;
use crate::seasons::policy::{CountedCoordinators, WaivableBy};

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
