//! Report a step of one's own as done.

use actix_web::post;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::record::{self, Evidence, EvidencePath, Told};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, StepsReport};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::TroopId;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::seasons::policy::Whose;
use crate::standings::rules::{EvidenceOutcome, EvidenceSource};
use crate::standings::{NewEvidence, Subject};

/// A step that you say is done.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"troop_id": "0198c0de-0000-7000-8000-000000000031", "requirement": "agreement"}))]
pub struct StepReport {
    /// One of the troops that you coordinate.
    #[garde(skip)]
    troop_id: TroopId,
    /// The code of the requirement: one of yours, or one of the troop's.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    requirement: String,
    /// The day on which it was done: today or earlier, and in this season. Leave it out for today.
    #[garde(skip)]
    done_on: Option<NaiveDate>,
}

/// Report one of your steps as done.
///
/// It then reads "reported, not confirmed" until what the policy asks for proves it: a posted list, a certificate, or
/// the unit manager. Nobody becomes ready by a report.
#[utoipa::path(tag = "evidence", params(EvidencePath), request_body = StepReport, extensions(("x-permission" = json!(StepsReport::NAME))), responses((status = 201, description = "The report.", body = Evidence), Problems))]
#[post("/v1/units/{unit_id}/my-steps/reports")]
pub async fn report_step(
    permit: Permit<StepsReport>,
    _path: Path<EvidencePath>,
    body: Json<StepReport>,
) -> Result<Created<Evidence>, ApiError> {
    let StepReport { troop_id, requirement, done_on } = body.0;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    if !permit.scope().reaches(troop_id) {
        let fault = FieldError::at("/troop_id", "unknown", "a troop that you coordinate");
        return Err(ApiError::new(Code::UnknownReference).errors(vec![fault]));
    }
    let season = seasons::current(&mut tx, unit).await?;
    let policy = seasons::policy_of(&mut tx, unit, season.season_id).await?;
    let asked = policy.requirements.iter().find(|asked| asked.code == requirement);
    let subject = match asked.map(|asked| asked.whose) {
        Some(Whose::Troop) => Subject::Troop(troop_id),
        _ => Subject::Person(permit.person()?),
    };
    let new = NewEvidence {
        requirement,
        subject,
        outcome: EvidenceOutcome::Reported,
        observed_on: done_on.unwrap_or_else(|| permit.now().date_naive()),
        valid_until_on: None,
        score_percent: None,
        source: EvidenceSource::Person,
        list_row: None,
        note: None,
    };
    let made = record::add(&mut tx, &permit, Told { key: "done_on", day: done_on }, new).await?;
    tx.commit_with(Created::new(&made)?).await
}
