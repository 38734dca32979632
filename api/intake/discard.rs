//! Put an uploaded list away.

use actix_web::post;

use super::choose_columns::finish;
use super::find::IntakePath;
use super::shown::Intake;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};

/// Put an uploaded list away without applying it. What was read of it is forgotten.
#[utoipa::path(tag = "intake", params(IntakePath), extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 200, description = "The list, put away.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/discard")]
pub async fn discard_intake(permit: Permit<IntakesUpload>, path: Path<IntakePath>) -> Result<Answer<Intake>, ApiError> {
    let mut tx = permit.tx()?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay().await?;
    let detail = match locked.0.state.as_str() {
        "applied" => {
            Some("The list was applied; what it changed stands. Take it back (reverse_intake), or upload a newer list.")
        }
        "reversed" => Some("The list was applied and taken back before."),
        "discarded" => Some("The list was put away before."),
        "reading" => Some("The list is still being read. Ask again in a second."),
        _ => None,
    };
    if let Some(detail) = detail {
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let log_seq = tx.seq().await?;
    sql::rows::forget_rows(&mut tx, &permit, &locked).await?;
    sql::discard(&mut tx, &permit, &locked, log_seq).await?;
    finish(tx, &permit, path.intake_id, &locked).await
}
