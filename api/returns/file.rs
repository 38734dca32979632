//! File a return.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::document::ReturnDocument;
use super::find::{FiledReturn, filed};
use super::preview::{ReturnSeasonQuery, ReturnsPath};
use super::{changes, now, rules};
use crate::auth::permission::{Permission as _, ReturnsFile};
use crate::auth::{Permit, Tx};
use crate::common::answer::Created;
use crate::common::body::{Json, Path, Query};
use crate::common::ids::{PersonId, ReturnId, UnitId};
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
    /// Whether to file it even if the newest return of the season says exactly the same.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    again: bool,
}

/// File the season return that you have previewed.
///
/// It gets the next number and never changes again. If anything changed since the preview, nothing is filed; the answer
/// names what did. If nothing changed since the newest return of the season, nothing is filed either (409 `nothing_new`),
/// unless head office sent that one back or the body says `"again": true`.
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
    if !body.0.again {
        require_news(&mut tx, unit, &document, &names).await?;
    }
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

/// Refuses a return that says exactly what the newest one of its season says: whoever has two, and head office most of
/// all, would look in vain for what is new. One that was sent back may be filed as it was, for another was asked for.
async fn require_news(
    tx: &mut Tx,
    unit: UnitId,
    document: &ReturnDocument,
    names: &[(PersonId, String)],
) -> Result<(), ApiError> {
    let of = (Kind::SeasonReturn, document.season.season_id);
    let Some(last) = frozen::list(tx, unit, of, None, 1).await?.pop() else { return Ok(()) };
    let before = frozen::names(tx, unit, last.document_id).await?;
    let same = now::digest(&last.figures)? == now::digest_of(document)? && rules::same_names(&before, names);
    if !same || changes::sent_back(tx, unit, &last).await? {
        return Ok(());
    }
    let detail = format!(
        "Return {} of this season says exactly this, and nothing has changed since it was filed. Send that one on as it is; to file the same once more, say \"again\": true.",
        last.number
    );
    Err(ApiError::new(Code::NothingNew).detail(detail))
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
