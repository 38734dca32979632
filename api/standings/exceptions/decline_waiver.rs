//! Refuse a waiver that waits for a second person.

use actix_web::post;

use super::end_waiver::take_back;
use super::find_waiver::WaiverPath;
use super::rules;
use super::waive_requirement::Waiver;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WaiversApprove};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Problems};

/// Refuse a waiver that waits for a second person: it never comes into force.
#[utoipa::path(tag = "standings", params(WaiverPath), extensions(("x-permission" = json!(WaiversApprove::NAME))), responses((status = 200, description = "The waiver, refused.", body = Waiver), Problems))]
#[post("/v1/units/{unit_id}/waivers/{waiver_id}/decline")]
pub async fn decline_waiver(
    permit: Permit<WaiversApprove>,
    path: Path<WaiverPath>,
) -> Result<Answer<Waiver>, ApiError> {
    take_back(&permit, &path, rules::may_decline).await
}
