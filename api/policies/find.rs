//! The policy of a season.

use actix_web::get;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::auth::Permit;
use crate::auth::permission::{Permission as _, PolicyRead};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::error::{ApiError, Problems};
use crate::seasons::policy::Policy;
use crate::seasons::{self, PolicyVersion, SeasonPath};

/// A policy in force, with its number.
#[derive(Debug, Serialize, ToSchema)]
pub struct PolicyInForce {
    /// Its number: each change makes the next one.
    #[schema(minimum = 1, example = 1)]
    pub version: i64,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// The policy itself: send this part, changed, with `change_policy`.
    pub policy: Policy,
    /// The version for `If-Match`.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl From<PolicyVersion> for PolicyInForce {
    fn from(row: PolicyVersion) -> Self {
        let PolicyVersion { version, policy, made_at } = row;
        Self { version, made_at, policy, etag: etag(version) }
    }
}

/// Show a season's policy: what is asked of whom, and which gate waits for it.
#[utoipa::path(tag = "policies", params(SeasonPath), extensions(("x-permission" = json!(PolicyRead::NAME))), responses((status = 200, description = "The policy in force.", body = PolicyInForce), Problems))]
#[get("/v1/units/{unit_id}/seasons/{season_id}/policy")]
pub async fn find_policy(
    permit: Permit<PolicyRead>,
    path: Path<SeasonPath>,
) -> Result<Answer<PolicyInForce>, ApiError> {
    let mut tx = permit.tx()?;
    let row = seasons::policy_in_force(&mut tx, permit.unit()?, path.season_id).await?;
    let version = row.version;
    Ok(Answer::new(&PolicyInForce::from(row))?.version(version))
}
