//! A filed return as a file to keep or to send.

use actix_web::get;
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::document::ReturnDocument;
use super::find::{FiledReturn, ReturnPath, filed, find};
use super::{csv, now};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::common::answer::File;
use crate::common::body::{Path, Query};
use crate::error::{ApiError, Problems};
use crate::frozen;

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
}

/// Download a filed return as a table or as JSON.
#[utoipa::path(tag = "returns", params(ReturnPath, FileQuery), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "The file.", content((String = "text/csv"), (FiledReturn = "application/json"))), Problems))]
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
    match query.0.format {
        ReturnFormat::Csv => {
            let document: ReturnDocument =
                serde_json::from_str(&frozen.figures).map_err(|error| ApiError::internal(&error))?;
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
