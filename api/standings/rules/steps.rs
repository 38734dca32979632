//! The next single step, for one coordinator and for the troop.

use super::{
    Closer, CoordinatorStanding, CoordinatorState, Deadline, GateReason, GateStanding, Lapse, ReasonCode,
    RequirementOutcome, RequirementStanding, Step, StepCode, TroopState, World, coordinators, wording,
};
use crate::common::ids::PersonId;
use crate::seasons::policy::{Requirement, RequirementKind, Whose};

/// What this coordinator can do next: the first open requirement that can be done, else what a manager must decide.
pub(super) fn for_coordinator(
    world: &World<'_>,
    coordinator: &CoordinatorStanding,
    troop: &[RequirementStanding],
    gates: &[GateStanding],
) -> Option<Step> {
    if coordinator.state == CoordinatorState::Ready {
        return Some(decide(StepCode::Appoint, Some(coordinator.person_id), gates));
    }
    let rows = || coordinator.requirements.iter().chain(troop);
    let open: Vec<(&Requirement, &RequirementStanding)> = world
        .policy
        .requirements
        .iter()
        .filter_map(|asked| rows().find(|row| row.requirement == asked.code).map(|row| (asked, row)))
        .filter(|(_, row)| row.can_be_done_now)
        .collect();
    // What was reported waits for its proof, so the next thing comes first. A screening never shows that it was
    // reported: the choice of the step must not tell what masking hides.
    let waits = |row: &RequirementStanding| {
        row.outcome == RequirementOutcome::Reported && row.kind != RequirementKind::Screening
    };
    if let Some((asked, row)) = open.iter().find(|(_, row)| !waits(row)).or_else(|| open.first()) {
        let code = if waits(row) { StepCode::CheckReport } else { StepCode::CloseRequirement };
        let person_id = (asked.whose == Whose::Coordinator).then_some(coordinator.person_id);
        return Some(Step {
            code,
            requirement: Some(asked.code.clone()),
            person_id,
            who: row.who_can_close.clone(),
            sentence: wording::close_step(asked, row.outcome),
            blocks: blocks(Some(&asked.code), gates),
            by: by(Some(&asked.code), gates),
        });
    }
    (coordinator.state == CoordinatorState::Suspended)
        .then(|| decide(StepCode::Restore, Some(coordinator.person_id), gates))
}

/// What can be done next for the troop: find or name its coordinator, else the step of the one who speaks for it.
pub(super) fn for_troop(
    world: &World<'_>,
    state: TroopState,
    all: &[CoordinatorStanding],
    gates: &[GateStanding],
) -> Option<Step> {
    let speaks = match state {
        TroopState::SittingOut => return None,
        TroopState::Vacant => {
            let code = if coordinators::proposal_waits(world) {
                StepCode::ConfirmCoordinator
            } else if all.is_empty() {
                StepCode::FindCoordinator
            } else {
                StepCode::NameLead
            };
            return Some(decide(code, None, gates));
        }
        TroopState::Suspended => CoordinatorState::Suspended,
        TroopState::Lapsed => CoordinatorState::Lapsed,
        TroopState::Appointed => CoordinatorState::Appointed,
        TroopState::Ready => CoordinatorState::Ready,
        TroopState::Gathering => CoordinatorState::Gathering,
    };
    let mut speakers = all.iter().filter(|one| one.counted && one.state == speaks);
    speakers.find_map(|one| one.next_step.clone())
}

/// What is in order now but will lapse first is to be renewed.
pub(super) fn renew(world: &World<'_>, lapse: &Lapse, gates: &[GateStanding]) -> Option<Step> {
    let asked = world.policy.requirements.iter().find(|asked| asked.code == lapse.requirement)?;
    Some(Step {
        code: StepCode::Renew,
        requirement: Some(asked.code.clone()),
        person_id: lapse.person_id,
        who: wording::who_can_close(asked, RequirementOutcome::Expired),
        sentence: wording::renew_step(asked, lapse, world.calendar.date(lapse.lapses_at)),
        blocks: blocks(Some(&asked.code), gates),
        by: Some(lapse.before.clone()),
    })
}

/// A step that the unit decides.
fn decide(code: StepCode, person_id: Option<PersonId>, gates: &[GateStanding]) -> Step {
    let who = match code {
        StepCode::FindCoordinator => vec![Closer::UnitManager, Closer::TroopContact],
        _ => vec![Closer::UnitManager],
    };
    let sentence = wording::decide_step(code).to_owned();
    Step { code, requirement: None, person_id, who, sentence, blocks: blocks(None, gates), by: by(None, gates) }
}

/// Whether a step would take away this reason, or is on the way to it: nobody is appointed while anything is open.
fn concerns(requirement: Option<&String>, reason: &GateReason) -> bool {
    matches!(reason.code, ReasonCode::NotAppointed | ReasonCode::NoCoordinator)
        || (requirement.is_some() && reason.requirement.as_ref() == requirement)
}

fn blocks(requirement: Option<&String>, gates: &[GateStanding]) -> Vec<crate::seasons::policy::GateName> {
    let held = |gate: &&GateStanding| gate.reasons.iter().any(|reason| concerns(requirement, reason));
    gates.iter().filter(held).map(|gate| gate.gate).collect()
}

fn by(requirement: Option<&String>, gates: &[GateStanding]) -> Option<Deadline> {
    let ahead = gates.iter().flat_map(|gate| &gate.ahead).filter(|reason| concerns(requirement, reason));
    ahead.filter_map(|reason| reason.from.clone()).min_by(|a, b| (a.at, &a.milestone).cmp(&(b.at, &b.milestone)))
}
