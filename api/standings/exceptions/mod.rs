//! Exceptions: what is let go for a time. A waiver lets go of a requirement, an override lets one troop through a gate.
//!
//! Both carry a reason and a last day, and end by themselves with it. The policy says who may: nobody, the unit manager,
//! or two people; then the manager's wish waits until a second person agrees, who is never the same one. Neither ever
//! reads as met: a standing says "waived" or "let through", by which exception and until when.

pub(super) mod approve_override;
pub(super) mod approve_waiver;
pub(super) mod decline_override;
pub(super) mod decline_waiver;
pub(super) mod end_of_troop;
pub(super) mod end_override;
pub(super) mod end_waiver;
pub(super) mod find_override;
pub(super) mod find_waiver;
pub(super) mod goes_on;
pub(super) mod list_overrides;
pub(super) mod list_waivers;
pub(super) mod needs;
mod outlived;
pub(super) mod override_gate;
mod rules;
pub(super) mod waive_requirement;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::rules::Standing;
use super::sql::exceptions;
use crate::auth::permission::{OverridesRead, Permission, WaiversRead};
use crate::auth::{Permit, Tx};
use crate::common::ids::{OverrideId, WaiverId};
use crate::error::{ApiError, FieldError};
use crate::seasons::policy::Fault;

/// How far a waiver or an override has come. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ExceptionState {
    /// It waits for a second person to agree.
    Waiting,
    /// It is in force.
    InForce,
    /// Its last day is over.
    Over,
    /// It was taken back.
    TakenBack,
}

/// Why something was let go, for who may read it.
#[derive(Debug, Serialize, ToSchema)]
pub struct ExceptionReason {
    /// The waiver; null for an override.
    #[schema(required = true)]
    pub waiver_id: Option<WaiverId>,
    /// The override; null for a waiver.
    #[schema(required = true)]
    pub override_id: Option<OverrideId>,
    /// Why.
    #[schema(max_length = 400)]
    pub reason: String,
    /// The last day.
    pub until_on: NaiveDate,
}

/// The reasons of the waivers and overrides that a standing speaks of, as far as this reader may see them.
///
/// Reasons are people's words about people: they stand in no standing and no cache, and are read when they are shown.
pub(super) async fn reasons<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    standing: &Standing,
) -> Result<Vec<ExceptionReason>, ApiError> {
    let unit = permit.unit()?;
    let mut shown = Vec::new();
    if permit.holds::<WaiversRead>() {
        let own = standing.coordinators.iter().flat_map(|one| &one.requirements);
        let ids: Vec<_> = own.chain(&standing.requirements).filter_map(|row| Some(row.waiver_id?.0)).collect();
        for row in exceptions::waiver_reasons(tx, unit, &ids).await? {
            let waiver_id = Some(WaiverId(row.id));
            shown.push(ExceptionReason { waiver_id, override_id: None, reason: row.reason, until_on: row.until_on });
        }
    }
    if permit.holds::<OverridesRead>() {
        let ids: Vec<_> =
            standing.gates.iter().filter_map(|gate| Some(gate.overridden_by.as_ref()?.override_id.0)).collect();
        for row in exceptions::override_reasons(tx, unit, &ids).await? {
            let override_id = Some(OverrideId(row.id));
            shown.push(ExceptionReason { waiver_id: None, override_id, reason: row.reason, until_on: row.until_on });
        }
    }
    Ok(shown)
}

/// Faults as an answer.
fn invalid(faults: Vec<Fault>) -> Result<(), ApiError> {
    if faults.is_empty() {
        return Ok(());
    }
    let errors = faults.into_iter().map(|Fault { pointer, code, detail }| FieldError::at(pointer, code, detail));
    Err(ApiError::new(crate::error::Code::Invalid).errors(errors.collect()))
}
