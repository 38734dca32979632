//! A filed return as a file to keep or to send.

use actix_web::get;
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::document::ReturnDocument;
use super::find::{FiledReturn, ReturnPath, filed, find};
use super::sheet::Rendered;
use super::{csv, now};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::common::answer::File;
use crate::common::body::{Path, Query};
use crate::error::{ApiError, Problems};
use crate::frozen;
use crate::frozen::sheet::Paper;

/// The type of a workbook.
const XLSX: &str = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";

/// As what.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FileQuery {
    /// The kind of file.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = "csv")]
    format: ReturnFormat,
    /// The paper, for a PDF.
    #[garde(skip)]
    #[serde(default)]
    #[param(default = "a4")]
    paper: ReturnPaper,
}

/// The kinds of file. New values may come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReturnFormat {
    /// A table, one row a troop.
    #[default]
    Csv,
    /// The same as `find_return` answers.
    Json,
    /// A workbook, one row a troop.
    Xlsx,
    /// A paper to print, black on white.
    Pdf,
}

/// The paper of a PDF. New values may come.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReturnPaper {
    /// 210 mm x 297 mm.
    #[default]
    A4,
    /// 8.5 in x 11 in.
    Letter,
}

/// Download a filed return: as a table (CSV, XLSX), as a paper to print (PDF), or as JSON.
///
/// A PDF wraps long texts and repeats its heading row on each page; a letter that the print font lacks is told by its
/// Unicode number there, and stands in the other files as it is.
#[utoipa::path(tag = "returns", params(ReturnPath, FileQuery), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "The file.", content((String = "text/csv"), (Vec<u8> = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"), (Vec<u8> = "application/pdf"), (FiledReturn = "application/json"))), Problems))]
#[get("/v1/units/{unit_id}/returns/{return_id}/file")]
pub async fn download_return(
    permit: Permit<ReturnsRead>,
    path: Path<ReturnPath>,
    query: Query<FileQuery>,
) -> Result<File, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let frozen = find(&mut tx, unit, path.return_id).await?;
    let names = frozen::names(&mut tx, unit, frozen.document_id).await?;
    let name = |kind: &str| format!("season-return-{}.{kind}", frozen.number);
    let document = || -> Result<ReturnDocument, ApiError> {
        serde_json::from_str(&frozen.figures).map_err(|error| ApiError::internal(&error))
    };
    match query.0.format {
        ReturnFormat::Xlsx => {
            let rendered = Rendered { frozen: &frozen, document: &document()?, names: &names };
            let file = frozen::xlsx(&rendered.table())?;
            Ok(File::attachment(XLSX, &name("xlsx"), file))
        }
        ReturnFormat::Pdf => {
            let paper = match query.0.paper {
                ReturnPaper::A4 => Paper::A4,
                ReturnPaper::Letter => Paper::Letter,
            };
            let rendered = Rendered { frozen: &frozen, document: &document()?, names: &names };
            let sheet = rendered.paper();
            // A long return takes its time to draw, and others wait for this thread.
            let drawn = tokio::task::spawn_blocking(move || frozen::pdf(&sheet, paper)).await;
            let file = drawn.map_err(|error| ApiError::internal(&error))??;
            Ok(File::attachment("application/pdf", &name("pdf"), file))
        }
        ReturnFormat::Csv => {
            let document = document()?;
            let table = csv::table(frozen.number, &document, &names);
            Ok(File::attachment("text/csv; charset=utf-8", &name("csv"), table))
        }
        ReturnFormat::Json => {
            let name = name("json");
            let text = serde_json::to_vec(&filed(frozen, names)?).map_err(|error| ApiError::internal(&error))?;
            Ok(File::attachment("application/json", &name, text))
        }
    }
}
