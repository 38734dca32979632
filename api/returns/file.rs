//! File a return.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::document::ReturnDocument;
use super::find::{FiledReturn, filed};
use super::preview::{ReturnSeasonQuery, ReturnsPath};
use super::{now, rules};
use crate::auth::permission::{Permission as _, ReturnsFile};
use crate::auth::{Permit, Tx};
use crate::common::answer::Created;
use crate::common::body::{Json, Path, Query};
use crate::common::ids::{ReturnId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::frozen::{self, Kind, NewDocument};
use crate::seasons::{self, ThisSeason};

/// A return to be filed.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"stamp": "2210778000000000.3f0a4c61d2b7e8895a6b7c8d9e0f1a2b"}))]
pub struct NewReturn {
    /// The `stamp` of the preview that you have seen.
    #[garde(length(min = 1, max = 60))]
    #[schema(min_length = 1, max_length = 60)]
    stamp: String,
}

/// File the season return that you have previewed.
///
/// It gets the next number and never changes again. If anything changed since the preview, nothing is filed; the answer
/// names what did.
#[utoipa::path(tag = "returns", params(ReturnsPath, ReturnSeasonQuery), request_body = NewReturn, extensions(("x-permission" = json!(ReturnsFile::NAME))), responses((status = 201, description = "The filed return.", body = FiledReturn), Problems))]
#[post("/v1/units/{unit_id}/returns")]
pub async fn file_return(
    permit: Permit<ReturnsFile>,
    _path: Path<ReturnsPath>,
    query: Query<ReturnSeasonQuery>,
    body: Json<NewReturn>,
) -> Result<Created<FiledReturn>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    tx.replay_required().await?;
    let season = seasons::resolve(&mut tx, unit, query.0.season).await?;
    seasons::guard_open(&mut tx, unit, season.season_id).await?;
    // Under the log's head nobody else in the unit commits: what is read from here on is what is filed.
    tx.seq().await?;
    let document = now::document(&mut tx, unit, &season, None).await?;
    require_seen(&mut tx, unit, &season, &document, &body.0.stamp).await?;
    let names = now::names(&mut tx, unit, &document).await?;
    let new = NewDocument {
        document_id: ReturnId::new().0,
        kind: Kind::SeasonReturn,
        season: season.season_id,
        stands_at: document.stands_at,
        figures: &document,
        names: &names,
    };
    let frozen = frozen::freeze(&mut tx, &permit, &new).await?;
    tx.about("return", frozen.document_id);
    let location = format!("/v1/units/{unit}/returns/{}", frozen.document_id);
    let names = names.into_iter().map(|(person, name)| (person, Some(name))).collect();
    tx.commit_with(Created::new(&filed(frozen, names)?)?.location(location)).await
}

/// Holds the filing to the preview that was seen: else 409 with what changed since, as far as that can be told.
async fn require_seen(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    document: &ReturnDocument,
    stamp: &str,
) -> Result<(), ApiError> {
    let present = now::stamp(document)?;
    let Some((at, seen)) = now::read_stamp(stamp) else {
        let fault = FieldError::at("/stamp", "not_a_stamp", "the stamp of a preview (preview_return), unchanged");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    };
    if now::read_stamp(&present).is_some_and(|(_, digest)| digest == seen) {
        return Ok(());
    }
    let mut errors = Vec::new();
    if at <= document.stands_at && at.date_naive() >= season.starts_on {
        let before = now::document(tx, unit, season, Some(at)).await?;
        for one in rules::differences(&before, document).into_iter().take(100) {
            let (was, is) = (one.before.unwrap_or_default(), one.after.unwrap_or_default());
            let detail = format!("Troop {}: {was} is now {is}.", one.number);
            errors.push(FieldError::matter("changed_meanwhile", detail));
        }
    }
    Err(ApiError::new(Code::PreviewStale).errors(errors))
}
