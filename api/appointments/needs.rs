//! What can be decided now: coordinators who can be appointed, and suspended ones who can be restored.

use serde_json::json;

use super::sql;
use crate::auth::permission::DecisionsTake;
use crate::auth::{Scope, Tx};
use crate::common::ids::TroopId;
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons::policy::GateName;
use crate::standings;
use crate::standings::rules::{CoordinatorStanding, CoordinatorState, StepCode, TroopState};

/// Looks at the standings of a season for decisions that are ready to be taken.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let then = standings::all(tx, asked.unit, &asked.season, None, &Scope::Unit).await?;
    let troops = then.troops.into_iter().filter(|troop| troop.standing.state != TroopState::SittingOut);
    let troops: Vec<_> = troops.collect();
    let all = troops.iter().flat_map(|troop| &troop.standing.coordinators);
    let suspended = all.filter(|one| one.state == CoordinatorState::Suspended).map(|one| one.assignment_id.0);
    let said = sql::reasons_of_suspension(tx, asked.unit, &suspended.collect::<Vec<_>>()).await?;
    let mut found = Vec::new();
    for troop in troops {
        let shut: Vec<GateName> = troop.standing.gates.iter().filter(|gate| !gate.open).map(|gate| gate.gate).collect();
        for one in &troop.standing.coordinators {
            let blocked = one.next_step.iter().flat_map(|step| &step.blocks).copied();
            let blocked = blocked.filter(|gate| shut.contains(gate)).collect();
            let why = said.iter().find(|(assignment, _)| *assignment == one.assignment_id).map(|(_, why)| why.as_str());
            found.extend(need(asked, troop.troop_id, one, (blocked, why)));
        }
    }
    Ok(found)
}

fn need(
    asked: &Asked,
    troop: TroopId,
    one: &CoordinatorStanding,
    (shut, suspended_for): (Vec<GateName>, Option<&str>),
) -> Option<Need> {
    let step = one.next_step.as_ref()?;
    let (kind, act, what, why, since_at) = match (one.state, step.code) {
        (CoordinatorState::Ready, StepCode::Appoint) => (
            NeedKind::AppointCoordinator,
            "appoint",
            "Appoint {who} for {troops}.",
            "Everything asked for is met or waived; only the appointment is missing.",
            None,
        ),
        (CoordinatorState::Suspended, StepCode::Restore) => (
            NeedKind::RestoreCoordinator,
            "restore",
            "Look whether {who} can be restored for {troops}, or find another coordinator.",
            "The suspension stands, and nothing that was asked for is open.",
            one.suspended_at,
        ),
        _ => return None,
    };
    let path = asked.path(format_args!("assignments/{}/{act}", one.assignment_id));
    Some(Need {
        kind,
        key: one.assignment_id.to_string(),
        what: what.to_owned(),
        why: match suspended_for.filter(|_| kind == NeedKind::RestoreCoordinator) {
            Some(reason) => format!("{why} It was suspended for: {}", braceless(reason)),
            None => why.to_owned(),
        },
        since_at,
        by_at: step.by.as_ref().map(|by| by.at),
        stake: Stake::Gates { shut, ahead: step.by.is_some() },
        troops: vec![troop],
        person: Some(one.person_id),
        look: Some(asked.path(format_args!("standings/{troop}"))),
        settle: vec![Request::post::<DecisionsTake>(path, json!({}))],
    })
}

/// A text of a person's own: what stands in braces in it is no place for names.
fn braceless(text: &str) -> String {
    text.replace(['{', '}'], "")
}
