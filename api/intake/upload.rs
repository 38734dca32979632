//! Upload a list.

use actix_web::post;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use sha2::{Digest as _, Sha256};
use utoipa::IntoParams;

use super::find::IntakesPath;
use super::kinds::ListKind;
use super::shown::Intake;
use super::{sql, work};
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::common::answer::Accepted;
use crate::common::body::{Path, Query, Upload};
use crate::common::ids::IntakeId;
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::server::run::Around;

/// What the file is.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct UploadQuery {
    /// What the list is about.
    #[garde(skip)]
    #[param(inline = false)]
    kind: ListKind,
    /// The name of the file, for people to know it by.
    #[garde(length(chars, min = 1, max = 200), custom(text::line))]
    #[param(min_length = 1, max_length = 200, example = "role_list.csv")]
    file_name: String,
    /// The day for which the list speaks: today or earlier, and in this season.
    #[garde(skip)]
    #[param(example = "2026-10-12")]
    listed_on: NaiveDate,
    /// Whether nobody is missing from the list, of a role list or bank details: whoever was on an earlier one and is not on
    /// this one then reads as not on the newest list. Of a troop list: which troops of the season it leaves out is then shown,
    /// and nothing ends by it.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = false)]
    complete: bool,
}

/// The types under which lists are sent; what the file really is shows when it is read.
const TYPES: [&str; 7] = [
    "text/csv",
    "text/plain",
    "text/tab-separated-values",
    "application/octet-stream",
    "application/vnd.ms-excel",
    "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "application/vnd.oasis.opendocument.spreadsheet",
];

/// Upload a list as a CSV, XLSX or ODS file of at most 5 MiB.
///
/// The answer comes at once; the file is read behind it by a process that can reach nothing else. Ask the address in
/// `Location` until its state is no longer `reading`. Nothing is changed before the list is applied.
#[utoipa::path(tag = "intake", params(IntakesPath, UploadQuery), request_body(content((String = "application/octet-stream", example = json!("Troop,Received on\n184,2026-11-20\n")), (String = "text/csv", example = json!("Troop,Received on\n184,2026-11-20\n"))), description = "The file itself; a workbook under `application/octet-stream` or its own type."), extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 202, description = "The list is kept and being read.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes")]
pub async fn upload_list(
    permit: Permit<IntakesUpload>,
    around: Around,
    _path: Path<IntakesPath>,
    query: Query<UploadQuery>,
    upload: Upload,
) -> Result<Accepted<Intake>, ApiError> {
    let UploadQuery { kind, file_name, listed_on, complete } = query.0;
    if !TYPES.contains(&upload.content_type.as_str()) {
        return Err(ApiError::new(Code::WrongContentType));
    }
    if upload.bytes.is_empty() {
        let fault = FieldError::at("", "empty", "the file itself as the body of the request");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    may_be_complete(kind, complete).map_err(|expected| {
        ApiError::new(Code::Invalid).errors(vec![FieldError::parameter("complete", "says_nothing", expected)])
    })?;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    tx.replay().await?;
    season.open()?;
    let today = work::today(&tx, &season);
    if !(season.starts_on..=today).contains(&listed_on) {
        let expected = format!("a day from {} to {today}: in this season, and not in the future", season.starts_on);
        let fault = FieldError::parameter("listed_on", "not_in_season", expected);
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    let log_seq = tx.seq().await?;
    let intake_id = IntakeId::new();
    let new = sql::NewIntake {
        intake_id,
        season_id: season.season_id,
        kind: kind.name(),
        file_name: &file_name,
        sha256: &Sha256::digest(&upload.bytes),
        content: &upload.bytes,
        listed_on,
        complete,
    };
    sql::insert(&mut tx, &permit, &new, log_seq).await?;
    let intake = Intake::try_from(sql::find(&mut tx, unit, intake_id).await?)?;
    tx.about("intake", intake_id);
    let address = format!("/v1/units/{unit}/intakes/{intake_id}");
    let answer = Accepted::new(&intake)?.location(address).header("retry-after", "1");
    let answer = tx.commit_with(answer).await?;
    actix_web::rt::spawn(work::read_list(around.system.clone(), around.parser.clone(), unit, intake_id, kind));
    Ok(answer)
}

/// A list is called complete only where being left out of it says something.
pub(super) fn may_be_complete(kind: ListKind, complete: bool) -> Result<(), &'static str> {
    if complete && !kind.absence_counts() {
        return Err("false: being left out of a list of this kind says nothing");
    }
    Ok(())
}
