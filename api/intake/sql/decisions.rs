//! Every query of what was decided about rows of applied lists.

use std::collections::HashMap;

use chrono::NaiveDate;
use sqlx::types::Json;

use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{IntakeId, UnitId};
use crate::error::ApiError;
use crate::intake::changes::Resolution;
use crate::intake::kinds::ListKind;
use crate::intake::remembered::{Identity, Remembered, RememberedDecision};

/// What is remembered of the lists of a kind.
pub(in crate::intake) async fn of_kind(
    tx: &mut Tx,
    unit: UnitId,
    kind: ListKind,
) -> Result<HashMap<Identity, Remembered>, ApiError> {
    let rows = sqlx::query!(
        r#"select d.identity, d.before, d.resolution as "resolution: Json<Resolution>", d.intake_id, d.decided_on, i.listed_on
           from row_decision d join intake i on i.unit_id = d.unit_id and i.intake_id = d.intake_id
           where d.unit_id = $1 and d.kind = $2"#,
        unit.0,
        kind.name()
    );
    let rows = rows.fetch_all(tx.db()).await?.into_iter().map(|row| {
        let from = RememberedDecision {
            intake_id: IntakeId(row.intake_id),
            listed_on: row.listed_on,
            decided_on: row.decided_on,
        };
        (row.identity, Remembered { resolution: row.resolution.0, before: row.before, from })
    });
    Ok(rows.collect())
}

/// A decision to be kept.
pub(in crate::intake) struct NewDecision<'a> {
    pub identity: &'a [u8],
    pub before: &'a str,
    pub resolution: Resolution,
}

/// Keeps a decision in the place of what was remembered of such a row.
pub(in crate::intake) async fn keep(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    (kind, intake): (ListKind, IntakeId),
    new: &NewDecision<'_>,
    (decided_on, log_seq): (NaiveDate, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into row_decision (unit_id, kind, identity, before, resolution, intake_id, decided_on, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8)
         on conflict (unit_id, kind, identity)
         do update set before = $4, resolution = $5, intake_id = $6, decided_on = $7, log_seq = $8",
        by.unit()?.0,
        kind.name(),
        new.identity,
        new.before,
        Json(new.resolution) as _,
        intake.0,
        decided_on,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Forgets what was remembered of such a row.
pub(in crate::intake) async fn forget(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    kind: ListKind,
    identity: &[u8],
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from row_decision where unit_id = $1 and kind = $2 and identity = $3",
        by.unit()?.0,
        kind.name(),
        identity
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Forgets what was decided about a list that is taken back.
pub(in crate::intake) async fn forget_list(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    intake: IntakeId,
) -> Result<(), ApiError> {
    sqlx::query!("delete from row_decision where unit_id = $1 and intake_id = $2", by.unit()?.0, intake.0)
        .execute(tx.db())
        .await?;
    Ok(())
}
