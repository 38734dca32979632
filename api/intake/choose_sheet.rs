//! Say which sheet of a workbook is the list.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find::IntakePath;
use super::kinds::ListKind;
use super::shown::Intake;
use super::sql::{self, LockedIntake};
use super::work;
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::common::answer::Accepted;
use crate::common::body::{Json, Path};
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// Which sheet is the list.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"sheet": "January"}))]
pub struct ChosenSheet {
    /// Its name, as `sheets`, or `source` of the list, tells it.
    #[garde(length(chars, min = 1, max = 100), custom(text::line))]
    #[schema(min_length = 1, max_length = 100)]
    sheet: String,
}

/// Say which sheet of a workbook is the list. It is read again; decisions about rows of another sheet go with it.
///
/// The answer comes at once; ask the address in `Location` until the state is no longer `reading`.
#[utoipa::path(tag = "intake", params(IntakePath), request_body = ChosenSheet, extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 202, description = "The sheet is being read.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/sheet")]
pub async fn choose_sheet(
    permit: Permit<IntakesUpload>,
    around: Around,
    path: Path<IntakePath>,
    body: Json<ChosenSheet>,
) -> Result<Accepted<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay().await?;
    let sheets = sheets(&locked)?;
    let sheet = body.0.sheet;
    if !sheets.contains(&sheet) {
        let expected = format!("one of: {}", sheets.join(", "));
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/sheet", "no_such_sheet", expected)]));
    }
    let kind = ListKind::from_name(&locked.0.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    sql::rows::read_again(&mut tx, &permit, &locked, &sheet).await?;
    let log_seq = tx.seq().await?;
    sql::stamp(&mut tx, unit, &locked, log_seq).await?;
    let intake = Intake::try_from(sql::find(&mut tx, unit, path.intake_id).await?)?;
    tx.about("intake", path.intake_id);
    let address = format!("/v1/units/{unit}/intakes/{}", path.intake_id);
    let answer = Accepted::new(&intake)?.location(address).header("retry-after", "1");
    let answer = tx.commit_with(answer).await?;
    actix_web::rt::spawn(work::read_list(around.system.clone(), around.parser.clone(), unit, path.intake_id, kind));
    Ok(answer)
}

/// The sheets of the workbook among which one may choose, while the list is still under way.
fn sheets(locked: &LockedIntake) -> Result<Vec<String>, ApiError> {
    let record = &locked.0;
    let open = matches!(record.state.as_str(), "needs_sheet" | "needs_columns" | "ready" | "unreadable");
    let mut sheets = record.sheets.0.clone();
    if let Some(source) = record.how_read.as_ref().map(|read| &read.0.source) {
        sheets.extend(source.sheet.iter().chain(&source.other_sheets).cloned());
    }
    sheets.sort();
    sheets.dedup();
    if open && record.erased_at.is_none() && !sheets.is_empty() {
        return Ok(sheets);
    }
    let detail = "There is no sheet to choose: the list is no workbook, or it is no longer under way.";
    Err(ApiError::new(Code::WrongState).detail(detail))
}
