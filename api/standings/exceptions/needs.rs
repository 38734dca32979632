//! Waivers and overrides that wait for a second person.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::outlived::Look;
use super::{ExceptionState, override_gate, rules, waive_requirement};
use crate::auth::Tx;
use crate::auth::permission::{OverridesApprove, OverridesGive, WaiversApprove, WaiversGive};
use crate::common::ids::{PersonId, TroopId};
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons::policy::{GateName, Policy};
use crate::standings::load::gate_named;
use crate::standings::read::TroopThen;
use crate::standings::rules::{GateReason, ReasonCode};
use crate::standings::sql::exceptions::{self, OverrideRow, WaiverRow};

/// Looks for what one person has asked for and a second one has not agreed to.
///
/// # Errors
/// Database faults.
pub(in crate::standings) async fn look(
    tx: &mut Tx,
    asked: &Asked,
    policy: &Policy,
    troops: &[TroopThen],
) -> Result<Vec<Need>, ApiError> {
    let (unit, season) = (asked.unit, asked.season.season_id);
    let waits = |course| rules::state(course, &asked.calendar, asked.now) == ExceptionState::Waiting;
    let mut found = Vec::new();
    for row in exceptions::waivers(tx, unit, season).await?.iter().filter(|row| waits(waive_requirement::course(row))) {
        let title = policy.requirements.iter().find(|one| one.code == row.requirement);
        let title = title.map_or(row.requirement.as_str(), |one| one.title.as_str());
        let path = asked.path(format_args!("waivers/{}", row.waiver_id));
        let concerned: Vec<&TroopThen> = troops.iter().filter(|troop| concerns(troop, row)).collect();
        let what = format!("Agree to waive \"{title}\" for {{who}} ({{troops}}), or refuse.");
        let settle = vec![
            Request::bare::<WaiversApprove>(format!("{path}/approve")),
            Request::bare::<WaiversApprove>(format!("{path}/decline")),
            Request::bare::<WaiversGive>(format!("{path}/end")),
        ];
        let shut = concerned.iter().flat_map(|troop| shut_by(troop, row)).collect();
        let subject = (concerned.iter().map(|troop| troop.troop_id).collect(), row.person_id.map(PersonId));
        found.push(need(NeedKind::AgreeToWaiver, (path, what), row.asked_at, subject, (shut, settle)));
    }
    let overrides = exceptions::overrides(tx, unit, season, None).await?;
    for row in overrides.iter().filter(|row| waits(override_gate::course(row))) {
        let path = asked.path(format_args!("overrides/{}", row.override_id));
        let what = format!("Agree to let {{troops}} through the gate \"{}\", or refuse.", row.gate);
        let settle = vec![
            Request::bare::<OverridesApprove>(format!("{path}/approve")),
            Request::bare::<OverridesApprove>(format!("{path}/decline")),
            Request::bare::<OverridesGive>(format!("{path}/end")),
        ];
        let subject = (vec![TroopId(row.troop_id)], None);
        let shut = gate_named(&row.gate).into_iter().collect();
        found.push(need(NeedKind::AgreeToOverride, (path, what), row.asked_at, subject, (shut, settle)));
    }
    found.extend(troops.iter().flat_map(|troop| leaves_ending(asked, troop)));
    let look = Look::at(tx, unit, &asked.season, &overrides, asked.now).await?;
    found.extend(overrides.iter().filter_map(|row| given_to_another(asked, &look, row)));
    Ok(found)
}

/// A leave in force that was given while somebody else coordinated the troop: it is the troop's and goes on, so somebody
/// must look whether it is meant to.
fn given_to_another(asked: &Asked, look: &Look, row: &OverrideRow) -> Option<Need> {
    let in_force = rules::state(override_gate::course(row), &asked.calendar, asked.now) == ExceptionState::InForce;
    (in_force && look.coordinator_changed(row)).then(|| Need {
        kind: NeedKind::LookAtLeave,
        key: row.override_id.to_string(),
        what: format!("Look whether {{troops}} may still pass the gate \"{}\" by leave, or end it.", row.gate),
        why: format!(
            "It was given while somebody else coordinated the troop, and goes on until {}. If it still stands, end it and give it anew (override_gate): then it is meant for who coordinates now.",
            row.until_on
        ),
        since_at: None,
        by_at: None,
        stake: Stake::Date,
        troops: vec![TroopId(row.troop_id)],
        person: None,
        look: Some(asked.path(format_args!("overrides/{}", row.override_id))),
        settle: vec![Request::bare::<OverridesGive>(asked.path(format_args!("overrides/{}/end", row.override_id)))],
    })
}

/// Gates that a troop passes by leave, which ends soon: what it stands for is still in the way then.
fn leaves_ending(asked: &Asked, troop: &TroopThen) -> Vec<Need> {
    let by_leave = troop.standing.gates.iter().filter(|gate| !gate.let_through.is_empty());
    let ending = by_leave.filter_map(|gate| {
        let leave = gate.overridden_by.as_ref().filter(|leave| leave.ends_at <= asked.ahead_until)?;
        let day = asked.calendar.date(leave.ends_at);
        let why: Vec<&str> = gate.let_through.iter().map(|reason| reason.sentence.as_str()).collect();
        let what = format!(
            "Settle what stands in the way of {{troops}} before {day}: its leave for the gate \"{}\" ends.",
            gate.gate.name()
        );
        Some(Need {
            kind: NeedKind::LeaveEnds,
            key: leave.override_id.to_string(),
            what,
            why: why.join(" "),
            since_at: None,
            by_at: Some(leave.ends_at),
            stake: Stake::Date,
            troops: vec![troop.troop_id],
            person: None,
            look: Some(asked.path(format_args!("standings/{}", troop.troop_id))),
            settle: vec![
                Request::post::<OverridesGive>(
                    asked.path("overrides"),
                    json!({"gate": gate.gate, "troop_id": troop.troop_id}),
                )
                .fill_in("/reason"),
            ],
        })
    });
    ending.collect()
}

/// Whether a waiver concerns a troop: its own, or that of its coordinator.
fn concerns(troop: &TroopThen, row: &WaiverRow) -> bool {
    let coordinates = |person| troop.standing.coordinators.iter().any(|one| one.person_id.0 == person);
    row.troop_id == Some(troop.troop_id.0) || row.person_id.is_some_and(coordinates)
}

/// The gates that what is to be waived holds shut, or the appointment that waits for it.
fn shut_by(troop: &TroopThen, row: &WaiverRow) -> Vec<GateName> {
    let holds = |reason: &GateReason| {
        reason.code == ReasonCode::NotAppointed || reason.requirement.as_ref() == Some(&row.requirement)
    };
    let shut = troop.standing.gates.iter().filter(|gate| !gate.open && gate.reasons.iter().any(holds));
    shut.map(|gate| gate.gate).collect()
}

fn need(
    kind: NeedKind,
    (path, what): (String, String),
    asked_at: DateTime<Utc>,
    (troops, person): (Vec<TroopId>, Option<PersonId>),
    (shut, settle): (Vec<GateName>, Vec<Request>),
) -> Need {
    Need {
        kind,
        key: path.rsplit('/').next().unwrap_or_default().to_owned(),
        what,
        why: "One person has asked for it; the policy wants a second one, another than the first, to agree. Until then it has no effect.".to_owned(),
        since_at: Some(asked_at),
        by_at: None,
        stake: Stake::Gates { shut, ahead: false },
        troops,
        person,
        look: Some(path),
        settle,
    }
}
