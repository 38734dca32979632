//! Take away a troop that was added by mistake.

use actix_web::delete;

use super::find_troop::{Troop, TroopPath};
use super::hold_troop::{HeldTroop, hold};
use super::sql::removal;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, TroopsChange};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::frozen;

/// Take away a troop that was added by mistake.
///
/// Refused as soon as anything refers to it: a coordinator past or present, a contact, a fact, a waiver, a decision, an
/// override, another season, a regrouping, or a filed return that counts it; then it can sit out (`sit_out_troop`). The answer
/// is the troop as it was; the unit's log keeps that there was one.
#[utoipa::path(tag = "roster", params(TroopPath), extensions(("x-permission" = json!(TroopsChange::NAME))), responses((status = 200, description = "The troop as it was; there is none any more.", body = Troop), Problems))]
#[delete("/v1/units/{unit_id}/troops/{troop_id}")]
pub async fn remove_troop(
    permit: Permit<TroopsChange>,
    path: Path<TroopPath>,
    if_match: IfMatch,
) -> Result<Answer<Troop>, ApiError> {
    let (unit, troop) = (permit.unit()?, path.troop_id);
    let HeldTroop { mut tx, season, touched, row } = hold(&permit, troop, &if_match).await?;
    let mut used = removal::uses(&mut tx, unit, season.season_id, troop).await?;
    if let Some(began_at) = removal::began_at(&mut tx, unit, season.season_id, troop).await? {
        let kind = (frozen::Kind::SeasonReturn, season.season_id);
        let counted = frozen::frozen_after(&mut tx, unit, kind, began_at).await?;
        used.extend(counted.map(|number| format!("season return number {number}, which counts it")));
    }
    if !used.is_empty() {
        let detail = "Something refers to this troop, so it stays on record; the list below says what. If it takes no part, let it sit out (sit_out_troop); if its number is wrong, change it (change_troop).";
        let used = used.into_iter().map(|what| FieldError::matter("used", format!("It has {what}."))).collect();
        return Err(ApiError::new(Code::StillUsed).detail(detail).errors(used));
    }
    tx.seq().await?;
    change::forget(&mut tx, unit, season.season_id, troop).await?;
    removal::delete(&mut tx, &permit, season.season_id, troop).await?;
    tx.about("troop", troop);
    change::refresh(&mut tx, unit, &touched).await?;
    tx.commit_with(Answer::new(&Troop::shown(row, season.season_id, permit.actor()))?).await
}
