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
    fn the_order_of_facts_does_not_matter(
        policy in some_policy(), (facts, turned) in in_two_orders(), now in hours(-10..150)
    ) {
        prop_assert_eq!(standing(&policy, &calendar(), &facts, now), standing(&policy, &calendar(), &turned, now));
    }

    /// Met facts more: some about what was said before of the same person or troop, and recorded after it.
    #[test]
    fn met_facts_more_never_close_a_gate(
        policy in some_policy(), facts in some_facts(),
        more in prop::collection::vec((a_fact(), prop::option::of(any::<prop::sample::Index>())), 3..12),
        now in hours(-10..150)
    ) {
        let before = standing(&policy, &calendar(), &facts, now);
        let mut richer = facts.clone();
        richer.evidence.extend(more.into_iter().map(|(more, like)| {
            let like = like.filter(|_| !facts.evidence.is_empty()).map(|like| like.get(&facts.evidence));
            let (requirement, person_id) = match like {
                Some(one) => (one.requirement.clone(), one.person_id),
                None => (more.requirement, more.person_id),
            };
            // What says a day anew may say an earlier one, and is no mere addition.
            EvidenceFact { requirement, person_id, outcome: EvidenceOutcome::Met, seq: 50, restates: false, ..more }
        }));
        let after = standing(&policy, &calendar(), &richer, now);
        for (was, is) in before.gates.iter().zip(&after.gates) {
            prop_assert!(is.open || !was.open, "{:?} closed", is.gate);
        }
    }

    #[test]
    fn what_happens_later_is_not_known(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        let mut known = facts.clone();
        known.evidence.retain(|fact| fact.recorded_at <= now);
        known.decisions.retain(|decision| decision.decided_at <= now);
        known.waivers.retain(|waiver| waiver.granted_at <= now);
        known.overrides.retain(|one| one.granted_at <= now);
        let revoked = known.waivers.iter_mut().map(|one| &mut one.revoked_at);
        for end in revoked.chain(known.overrides.iter_mut().map(|one| &mut one.revoked_at)) {
            end.take_if(|end| *end > now);
        }
        for AssignmentFact { lead, lead_changed_at, proposed_at, confirmed_at, declined_at, ended_at, .. } in
            &mut known.assignments
        {
            for instant in [proposed_at, confirmed_at, declined_at, ended_at] {
                instant.take_if(|instant| *instant > now);
            }
            // Whoever leads at the end led before as often as the lead has not changed since.
            let later = lead_changed_at.extract_if(.., |instant| *instant > now).count();
            *lead ^= later % 2 == 1;
        }
        prop_assert_eq!(standing(&policy, &calendar(), &facts, now), standing(&policy, &calendar(), &known, now));
    }

    /// The table of states, read off the answer's own rows: one state always applies, and the first that does is taken.
    /// Where several coordinators count, the policy says which of them speaks for the troop.
    #[test]
    fn the_table_of_states_is_total(policy in some_policy(), facts in some_facts(), now in hours(-10..150)) {
        use CoordinatorState::{Appointed, Gathering, Lapsed, Ready, Suspended};
        let standing = standing(&policy, &calendar(), &facts, now);
        let (all, first) = match policy.counted_coordinators {
            CountedCoordinators::Lead => (false, [Suspended, Lapsed, Gathering, Ready, Appointed]),
            CountedCoordinators::All => (true, [Suspended, Lapsed, Gathering, Ready, Appointed]),
            CountedCoordinators::Any => (true, [Appointed, Ready, Lapsed, Gathering, Suspended]),
        };
        let counted = standing.coordinators.iter().filter(|one| all || one.lead);
        let speaks = counted.min_by_key(|one| first.iter().position(|state| *state == one.state));
        let rows: Vec<_> =
            speaks.into_iter().flat_map(|one| &one.requirements).chain(&standing.requirements).collect();
        let appointed = speaks.is_some_and(|one| one.appointed_at.is_some());
        let mut seasons: Vec<_> = facts.decisions.iter()
            .filter(|one| one.decided_at <= now && matches!(one.kind, DecisionKind::SitOut | DecisionKind::Rejoin))
            .collect();
        seasons.sort_by_key(|one| (one.decided_at, one.seq, one.decision_id));
        let table = [
            (TroopState::SittingOut, seasons.last().is_some_and(|last| last.kind == DecisionKind::SitOut)),
            (TroopState::Vacant, speaks.is_none()),
            (TroopState::Suspended, speaks.is_some_and(|one| one.suspended_at.is_some())),
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
    fn a_waiver_never_outlives_its_end(
        policy in some_policy(), facts in some_facts(), waivers in prop::collection::vec(a_waiver(), 0..12),
        now in hours(-10..150)
    ) {
        let facts = Facts { waivers, ..facts };
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
            prop_assert!(waiver.revoked_at.is_none_or(|back| now < back), "taken back before {}", now);
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
