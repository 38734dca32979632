//! Which decision may be taken as things stand.

use crate::common::ids::AssignmentId;
use crate::standings::rules::{
    CoordinatorState, DecisionKind, GateStanding, RequirementStanding, Standing, TroopState, open_requirements,
};

/// Why a decision may not be taken.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Refusal {
    /// It does not fit the present state; in plain words, with what to do instead.
    WrongState(&'static str),
    /// These requirements are open.
    Open(Vec<RequirementStanding>),
}

/// Whether a decision may be taken about an assignment (none: about the troop's season), given where the troop stands.
///
/// # Errors
/// The reason why not.
pub(super) fn may(kind: DecisionKind, assignment: Option<AssignmentId>, standing: &Standing) -> Result<(), Refusal> {
    let sits_out = standing.state == TroopState::SittingOut;
    let Some(assignment) = assignment else {
        return match kind {
            DecisionKind::SitOut if sits_out => Err(Refusal::WrongState("The troop sits out already.")),
            DecisionKind::Rejoin if !sits_out => {
                Err(Refusal::WrongState("The troop takes part already: there is nothing to rejoin."))
            }
            _ => Ok(()),
        };
    };
    let Some(one) = standing.coordinators.iter().find(|one| one.assignment_id == assignment) else {
        return Err(Refusal::WrongState(
            "This is not a present coordinator of the troop: a proposal must be confirmed first, and what has ended stays ended.",
        ));
    };
    let suspended = one.state == CoordinatorState::Suspended;
    match kind {
        DecisionKind::Appoint if sits_out => {
            Err(Refusal::WrongState("The troop sits out this season: let it rejoin before you appoint."))
        }
        DecisionKind::Appoint if suspended => {
            Err(Refusal::WrongState("This coordinator is suspended: restore, then appoint."))
        }
        DecisionKind::Appoint if one.appointed_at.is_some() => {
            Err(Refusal::WrongState("This coordinator is appointed already."))
        }
        DecisionKind::Suspend if suspended => Err(Refusal::WrongState("This coordinator is suspended already.")),
        DecisionKind::Restore if !suspended => {
            Err(Refusal::WrongState("This coordinator is not suspended: there is nothing to restore."))
        }
        // Nothing was asked of somebody who was never appointed, so nothing is asked for going on as before.
        DecisionKind::Restore if one.appointed_at.is_none() => Ok(()),
        DecisionKind::Appoint | DecisionKind::Restore => {
            let open: Vec<_> = open_requirements(standing, assignment).into_iter().cloned().collect();
            if open.is_empty() { Ok(()) } else { Err(Refusal::Open(open)) }
        }
        DecisionKind::Suspend | DecisionKind::StandDown | DecisionKind::SitOut | DecisionKind::Rejoin => Ok(()),
    }
}

/// What a suspended coordinator's troop may do all the same, in a sentence; none where every gate is shut.
pub(super) fn still_open(gates: &[GateStanding]) -> Option<String> {
    let open: Vec<&str> = gates.iter().filter(|gate| gate.open).map(|gate| gate.gate.name()).collect();
    let (last, others) = open.split_last()?;
    let acts = if others.is_empty() { (*last).to_owned() } else { format!("{} and {last}", others.join(", ")) };
    Some(format!(
        "By the unit's policy the troop may still {acts}: a suspension closes only the gates whose rules need an appointment. If it is to close more, change those rules (change_policy)."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::common::ids::PersonId;
    use crate::seasons::policy::{GateName, RequirementKind, WaivableBy};
    use crate::standings::rules::{CoordinatorStanding, RequirementOutcome};

    fn row(closed: bool) -> RequirementStanding {
        RequirementStanding {
            requirement: "agreement".to_owned(),
            title: "Agreement".to_owned(),
            kind: RequirementKind::Plain,
            outcome: if closed { RequirementOutcome::Met } else { RequirementOutcome::Missing },
            closed,
            source: None,
            observed_on: None,
            valid_until_on: None,
            score_percent: None,
            grace_until_at: None,
            waiver_id: None,
            can_be_done_now: !closed,
            who_can_close: vec![],
            how: None,
            waivable_by: WaivableBy::Never,
        }
    }

    fn standing(state: CoordinatorState, troop: TroopState, closed: bool) -> (AssignmentId, Standing) {
        let assignment_id = AssignmentId::new();
        let appointed =
            matches!(state, CoordinatorState::Appointed | CoordinatorState::Lapsed | CoordinatorState::Suspended);
        let coordinator = CoordinatorStanding {
            assignment_id,
            person_id: PersonId::new(),
            lead: true,
            counted: true,
            state,
            appointed_at: appointed.then(|| "2026-10-01T12:00:00Z".parse().unwrap()),
            suspended_at: None,
            requirements: vec![row(closed)],
            next_step: None,
        };
        let standing = Standing {
            state: troop,
            reasons: vec![],
            next_step: None,
            requirements: vec![],
            coordinators: vec![coordinator],
            gates: vec![],
            begins: vec![],
            lapses: vec![],
            changes_at: None,
        };
        (assignment_id, standing)
    }

    /// What each decision meets in each state of a coordinator: `yes`, `state` (does not fit), or `open`.
    #[test]
    fn each_decision_fits_some_states_only() {
        use CoordinatorState::{Appointed, Gathering, Lapsed, Ready, Suspended};
        use DecisionKind::{Appoint, Restore, StandDown, Suspend};
        for (kind, state, closed, expected) in [
            (Appoint, Ready, true, "yes"),
            (Appoint, Gathering, false, "open"),
            (Appoint, Appointed, true, "state"),
            (Appoint, Lapsed, false, "state"),
            (Appoint, Suspended, true, "state"),
            (Suspend, Ready, true, "yes"),
            (Suspend, Gathering, false, "yes"),
            (Suspend, Appointed, true, "yes"),
            (Suspend, Lapsed, false, "yes"),
            (Suspend, Suspended, true, "state"),
            (Restore, Suspended, true, "yes"),
            (Restore, Suspended, false, "open"),
            (Restore, Appointed, true, "state"),
            (Restore, Gathering, false, "state"),
            (StandDown, Gathering, false, "yes"),
            (StandDown, Appointed, true, "yes"),
            (StandDown, Suspended, false, "yes"),
        ] {
            let (assignment, standing) = standing(state, TroopState::Gathering, closed);
            let met = match may(kind, Some(assignment), &standing) {
                Ok(()) => "yes",
                Err(Refusal::WrongState(_)) => "state",
                Err(Refusal::Open(_)) => "open",
            };
            assert_eq!(met, expected, "{kind:?} of {state:?}");
        }
    }

    #[test]
    fn who_was_suspended_before_being_appointed_is_restored_to_what_went_before() {
        let (assignment, mut standing) = standing(CoordinatorState::Suspended, TroopState::Suspended, false);
        assert!(may(DecisionKind::Restore, Some(assignment), &standing).is_err());
        standing.coordinators[0].appointed_at = None;
        assert_eq!(may(DecisionKind::Restore, Some(assignment), &standing), Ok(()));
    }

    #[test]
    fn who_is_no_present_coordinator_is_not_decided_about() {
        let (_, standing) = standing(CoordinatorState::Ready, TroopState::Ready, true);
        let refused = may(DecisionKind::Appoint, Some(AssignmentId::new()), &standing);
        assert!(matches!(refused, Err(Refusal::WrongState(_))));
    }

    #[test]
    fn what_a_suspension_leaves_open_is_said() {
        let gate = |gate: GateName, open: bool| GateStanding {
            gate,
            open,
            reasons: vec![],
            ahead: vec![],
            let_through: vec![],
            overridden_by: None,
            changes_at: None,
        };
        let gates = [gate(GateName::Order, true), gate(GateName::Collect, true), gate(GateName::Earn, false)];
        assert!(still_open(&gates).unwrap().starts_with("By the unit's policy the troop may still order and collect:"));
        assert_eq!(still_open(&gates[2..]), None);
    }

    #[test]
    fn a_troop_sits_out_once_and_rejoins_once() {
        for (kind, troop, expected) in [
            (DecisionKind::SitOut, TroopState::Appointed, true),
            (DecisionKind::SitOut, TroopState::Vacant, true),
            (DecisionKind::SitOut, TroopState::SittingOut, false),
            (DecisionKind::Rejoin, TroopState::SittingOut, true),
            (DecisionKind::Rejoin, TroopState::Ready, false),
        ] {
            let (_, standing) = standing(CoordinatorState::Ready, troop, true);
            assert_eq!(may(kind, None, &standing).is_ok(), expected, "{kind:?} of {troop:?}");
        }
        let (assignment, standing) = standing(CoordinatorState::Ready, TroopState::SittingOut, true);
        assert!(may(DecisionKind::Appoint, Some(assignment), &standing).is_err());
    }
}
