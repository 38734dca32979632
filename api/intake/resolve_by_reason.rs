//! Decide about all rows of a list that wait for the same thing, at once.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::apply::stale;
use super::changes::Resolution;
use super::choose_columns::{finish, under_way};
use super::find::IntakePath;
use super::kinds::ListKind;
use super::resolve_row::RowDecision;
use super::shown::{Intake, IntakeRow};
use super::waiting_reasons::possible;
use super::{sql, work};
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::etag;
use crate::error::{ApiError, Code, FieldError, Problems};

/// A decision about all rows that wait for one thing.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"waits_for": "unknown_troop", "decision": "leave_out", "preview": "\"v2\""}))]
pub struct ReasonResolution {
    /// What the rows wait for, as `list_waiting_reasons` tells it.
    #[garde(length(chars, min = 1, max = 60))]
    #[schema(min_length = 1, max_length = 60)]
    waits_for: String,
    /// What was decided: one of the decisions that `list_waiting_reasons` tells for this reason.
    #[garde(skip)]
    decision: RowDecision,
    /// The stamp of the preview in which you saw the rows: these are decided and no others.
    #[garde(length(min = 1, max = 30))]
    #[schema(min_length = 1, max_length = 30)]
    preview: String,
}

/// Decide about all rows of a list that wait for the same thing, at once: exactly those that you have seen.
///
/// `list_waiting_reasons` shows them first and gives the stamp; if the list has another preview since, the answer is 409 and
/// nothing is decided. A single row is decided otherwise by `resolve_intake_row`, before or after.
#[utoipa::path(tag = "intake", params(IntakePath), request_body = ReasonResolution, extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 200, description = "The list with its new preview.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/resolve-by-reason")]
pub async fn resolve_rows_by_reason(
    permit: Permit<IntakesUpload>,
    path: Path<IntakePath>,
    body: Json<ReasonResolution>,
) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay().await?;
    let table = under_way(&mut tx, unit, &locked).await?;
    if body.0.preview != etag(locked.0.version) {
        return Err(stale(locked.0.version, &[]));
    }
    let kept = sql::rows::rows(&mut tx, unit, path.intake_id).await?;
    let waits = |row: &&IntakeRow| row.needs_a_person && row.waits_for.as_ref() == Some(&body.0.waits_for);
    let waiting: Vec<IntakeRow> = kept.iter().map(|row| &row.preview.0).filter(waits).cloned().collect();
    let resolution = decided(&body.0, &locked.0.kind, &waiting)?;
    let mut resolutions = work::resolutions(&kept);
    resolutions.extend(waiting.iter().map(|row| (row.row_number, resolution)));
    let choices = locked.0.choices.0.clone();
    let made = work::make(&mut tx, unit, &locked.0, &table, &choices, &resolutions).await?;
    made.keep(&mut tx, unit, &locked, None, &choices).await?;
    finish(tx, &permit, path.intake_id, &locked).await
}

fn decided(body: &ReasonResolution, kind: &str, waiting: &[IntakeRow]) -> Result<Resolution, ApiError> {
    let kind = ListKind::from_name(kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let fault = |pointer: &str, code: &str, expected: String| {
        Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at(pointer, code, expected)]))
    };
    if waiting.is_empty() {
        let expected = "something that rows of this list wait for (list_waiting_reasons)".to_owned();
        return fault("/waits_for", "nothing_waits", expected);
    }
    let possible = possible(kind, waiting);
    match body.decision {
        decision if !possible.contains(&decision) => {
            let words: Vec<String> = possible.iter().map(|one| one.name().to_owned()).collect();
            fault("/decision", "not_for_all", format!("one of: {}; or decide row by row", words.join(", ")))
        }
        RowDecision::NewPerson => Ok(Resolution::NewPerson),
        RowDecision::AsListed => Ok(Resolution::AsListed),
        _ => Ok(Resolution::Skip),
    }
}
