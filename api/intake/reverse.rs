//! Take an applied list back, while nothing stands on it.

use actix_web::post;

use super::built_on::built_on;
use super::find::IntakePath;
use super::shown::Intake;
use super::sql::{self, decisions, reversal};
use crate::auth::Permit;
use crate::auth::permission::{IntakesApply, Permission as _};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::SeasonId;
use crate::error::{ApiError, Code, Problems};
use crate::{roster, seasons, standings};

/// Take an applied list back: its facts count no longer, its open proposals are withdrawn, what it filled in is emptied.
///
/// No fact is deleted: where troops stood while the list counted still reads as it did (`as_of`). People whom it made known
/// stay known by name. What a troop list did is undone: troops are described as before unless somebody has described them
/// otherwise since, and troops and places that it made go altogether, also from answers of the past. While something
/// stands on the list - a later list, a decision, a confirmed place, a filed return - the answer is 409, names it, and says
/// for each thing which request undoes it, or what to do instead.
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
    standings::forget_places(&mut tx, &permit, season.season_id, &made.places).await?;
    roster::take_back(&mut tx, &permit, season.season_id, &made).await?;
    decisions::forget_list(&mut tx, &permit, path.intake_id).await?;
    reversal::reverse(&mut tx, &permit, &locked, log_seq).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    let intake = Intake::try_from(sql::find(&mut tx, unit, path.intake_id).await?)?;
    tx.about("intake", path.intake_id);
    tx.commit_with(Answer::new(&intake)?).await
}
