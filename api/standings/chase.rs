//! What is still open for those on their way to an appointment: one item for each requirement, so that one evening's calls
//! are one line.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::needs::list_of;
use super::read::TroopThen;
use super::rules::{
    CoordinatorState, GateReason, ReasonCode, RequirementOutcome, RequirementStanding, Standing, TroopState,
};
use crate::auth::permission::{EvidenceRecord, IntakesUpload};
use crate::common::ids::TroopId;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons::policy::{GateName, Policy, ProofKind, Requirement, RequirementKind, Whose};

/// Looks for requirements that are open for troops on their way, where a gate is shut by it or will be.
pub(super) fn look(asked: &Asked, policy: &Policy, troops: &[TroopThen]) -> Vec<Need> {
    policy.requirements.iter().filter_map(|one| of_requirement(asked, one, troops)).collect()
}

fn of_requirement(asked: &Asked, one: &Requirement, troops: &[TroopThen]) -> Option<Need> {
    let (mut behind, mut people): (Vec<TroopId>, usize) = (Vec::new(), 0);
    let mut shut: Vec<GateName> = Vec::new();
    let mut by_at: Option<DateTime<Utc>> = None;
    for TroopThen { troop_id, standing, .. } in troops {
        let open = open_for(standing, one);
        let closed: Vec<GateName> = shut_by(standing, one);
        let due = due_at(standing, one).filter(|at| *at <= asked.ahead_until);
        if open == 0 || (closed.is_empty() && due.is_none()) {
            continue;
        }
        behind.push(*troop_id);
        people += open;
        by_at = by_at.into_iter().chain(due).min();
        shut.extend(closed);
    }
    if behind.is_empty() {
        return None;
    }
    shut.sort();
    shut.dedup();
    let subject = match (one.whose, people) {
        (Whose::Troop, 1) => "one troop".to_owned(),
        (Whose::Troop, several) => format!("{several} troops"),
        (_, 1) => "one coordinator".to_owned(),
        (_, several) => format!("{several} coordinators"),
    };
    Some(Need {
        kind: NeedKind::ChaseRequirement,
        key: one.code.clone(),
        what: format!("Chase \"{}\": it is open for {subject} ({{troops}}).", one.title),
        why: why(one),
        since_at: None,
        by_at,
        stake: Stake::Gates { shut, ahead: by_at.is_some() },
        troops: behind,
        person: None,
        look: Some(asked.path("standings?state=gathering")),
        settle: settle(asked, one),
    })
}

/// For how many of the troop's counted coordinators, or for the troop itself, it is open and could be done now. What is
/// reported waits for somebody to look, and stands on its own.
fn open_for(standing: &Standing, one: &Requirement) -> usize {
    if standing.state != TroopState::Gathering {
        return 0;
    }
    let waits = |row: &RequirementStanding| {
        row.outcome == RequirementOutcome::Reported && one.kind != RequirementKind::Screening
    };
    let open = |rows: &[RequirementStanding]| {
        rows.iter().any(|row| row.requirement == one.code && row.can_be_done_now && !waits(row))
    };
    let counted = standing.coordinators.iter().filter(|who| who.counted && who.state == CoordinatorState::Gathering);
    usize::from(open(&standing.requirements)) + counted.filter(|who| open(&who.requirements)).count()
}

fn concerns(reason: &GateReason, one: &Requirement) -> bool {
    reason.code == ReasonCode::NotAppointed || reason.requirement.as_ref() == Some(&one.code)
}

/// The gates that it holds shut, or the appointment that waits for it.
fn shut_by(standing: &Standing, one: &Requirement) -> Vec<GateName> {
    let shut =
        standing.gates.iter().filter(|gate| !gate.open && gate.reasons.iter().any(|reason| concerns(reason, one)));
    shut.map(|gate| gate.gate).collect()
}

/// When it will hold a gate shut that is open now.
fn due_at(standing: &Standing, one: &Requirement) -> Option<DateTime<Utc>> {
    let ahead = standing.gates.iter().flat_map(|gate| &gate.ahead).filter(|reason| concerns(reason, one));
    ahead.filter_map(|reason| Some(reason.from.as_ref()?.at)).min()
}

fn why(one: &Requirement) -> String {
    match one.proof.kind {
        ProofKind::PostedList => {
            "Head office's next list closes it for whom it names; the others need a word.".to_owned()
        }
        ProofKind::Certificate => "A certificate closes it; whoever has none needs a word and a day.".to_owned(),
        ProofKind::Manager => "It is handed to you, and you record it.".to_owned(),
    }
}

fn settle(asked: &Asked, one: &Requirement) -> Vec<Request> {
    let mut ways: Vec<Request> =
        list_of(one).map(|kind| Request::upload::<IntakesUpload>(asked, kind)).into_iter().collect();
    if one.proof.kind == ProofKind::Manager || one.manager_may_enter {
        let body = json!({"requirement": one.code, "outcome": "met"});
        ways.push(Request::post::<EvidenceRecord>(asked.path("evidence/about-many"), body).fill_in("/about"));
    }
    ways
}
