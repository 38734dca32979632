//! Take an applied list back, while nothing stands on it.

use actix_web::post;

use super::find::IntakePath;
use super::shown::Intake;
use super::sql::{self, LockedIntake, reversal};
use crate::auth::permission::{IntakesApply, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::roster::{self, MadeByList};
use crate::{frozen, seasons, standings};

/// The most things that an answer names.
const NAMED: usize = 100;

/// Take an applied list back: its facts count no longer, its open proposals are withdrawn, what it filled in is emptied.
///
/// Nothing is deleted: where troops stood while the list counted still reads as it did (`as_of`). People whom it made known
/// stay known by name. While something stands on the list - a later list, a decision, a confirmed place, a filed return -
/// the answer is 409 and names it.
#[utoipa::path(tag = "intake", params(IntakePath), extensions(("x-permission" = json!(IntakesApply::NAME))), responses((status = 200, description = "The list, taken back.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/reverse")]
pub async fn reverse_intake(permit: Permit<IntakesApply>, path: Path<IntakePath>) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let found = sql::find(&mut tx, unit, path.intake_id).await?;
    let made = found.made.map(|made| made.0).unwrap_or_default();
    // Proposals first, as whoever confirms one locks them: then the season, its troops, the list.
    roster::hold_proposals(&mut tx, unit, &made).await?;
    let season = seasons::hold(&mut tx, unit, SeasonId(found.season_id)).await?;
    let touched = Touched::season(season.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay_required().await?;
    season.open()?;
    if locked.0.state != "applied" {
        let detail = match locked.0.state.as_str() {
            "reversed" => "The list was taken back before.",
            _ => "Only a list that was applied can be taken back; this one has changed nothing.",
        };
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    // Applied before lists noted what they made: what it filled in could not be told from what people entered.
    if locked.0.made.is_none() {
        let detail =
            "This list was applied before lists could be taken back. Upload a newer list that says what is right.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let built = built_on(&mut tx, unit, &locked, &made).await?;
    if !built.is_empty() {
        return Err(ApiError::new(Code::BuiltOn).errors(built));
    }
    let log_seq = tx.seq().await?;
    standings::withdraw_list(&mut tx, &permit, season.season_id, path.intake_id).await?;
    roster::take_back(&mut tx, &permit, &made).await?;
    reversal::reverse(&mut tx, &permit, &locked, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    let intake = Intake::try_from(sql::find(&mut tx, unit, path.intake_id).await?)?;
    tx.about("intake", path.intake_id);
    tx.commit_with(Answer::new(&intake)?).await
}

/// What stands on a list, the newest first.
async fn built_on(
    tx: &mut Tx,
    unit: UnitId,
    locked: &LockedIntake,
    made: &MadeByList,
) -> Result<Vec<FieldError>, ApiError> {
    let season = SeasonId(locked.0.season_id);
    let mut built = Vec::new();
    if let Some(number) = frozen::frozen_since(tx, unit, (frozen::Kind::SeasonReturn, season), locked.0.log_seq).await?
    {
        let detail = format!("season return number {number} was filed with what this list says; it cannot be unfiled");
        built.push(FieldError::matter("filed_return", detail));
    }
    for decision in reversal::later_decisions(tx, unit, locked).await? {
        let detail = format!(
            "a decision about troop {} was taken since: {}, on {}",
            decision.number,
            decision.kind.replace('_', " "),
            decision.decided_at.format("%Y-%m-%d %H:%M UTC")
        );
        built.push(FieldError::matter("later_decision", detail));
    }
    for list in reversal::later_lists(tx, unit, locked, made).await? {
        let kind = list.kind.replace('_', " ");
        let detail = format!(
            "a later list, {} ({kind} of {}, {}); take that one back first",
            list.file_name, list.listed_on, list.intake_id
        );
        built.push(FieldError::matter("later_list", detail));
    }
    for used in roster::built_on(tx, unit, made).await? {
        built.push(FieldError::matter("used_since", used));
    }
    built.truncate(NAMED);
    Ok(built)
}
