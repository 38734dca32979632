//! Refuse an override that waits for a second person.

use actix_web::post;

use super::end_override::take_back;
use super::find_override::OverridePath;
use super::override_gate::GateOverride;
use super::rules;
use crate::auth::Permit;
use crate::auth::permission::{OverridesApprove, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Problems};

/// Refuse an override that waits for a second person: it never comes into force.
#[utoipa::path(tag = "standings", params(OverridePath), extensions(("x-permission" = json!(OverridesApprove::NAME))), responses((status = 200, description = "The override, refused.", body = GateOverride), Problems))]
#[post("/v1/units/{unit_id}/overrides/{override_id}/decline")]
pub async fn decline_override(
    permit: Permit<OverridesApprove>,
    path: Path<OverridePath>,
) -> Result<Answer<GateOverride>, ApiError> {
    take_back(&permit, &path, rules::may_decline).await
}
