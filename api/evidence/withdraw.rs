//! Withdraw a fact that was wrong from the start.

use actix_web::post;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::auth::Permit;
use crate::auth::permission::{EvidenceRecord, Permission as _};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{EvidenceId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons;
use crate::standings::{self, RecordedFact};

/// Which fact.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct FactPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The fact.
    #[param(value_type = uuid::Uuid)]
    evidence_id: EvidenceId,
}

/// Withdraw a fact that was wrong from the start: typed for another person, or with another day.
///
/// It counts no longer from now on; it stays on record, and what stood at an earlier instant stands. If things have merely
/// changed, record the newer fact instead. What a list said is taken back with its list (`reverse_intake`).
#[utoipa::path(tag = "evidence", params(FactPath), extensions(("x-permission" = json!(EvidenceRecord::NAME))), responses((status = 200, description = "The fact, withdrawn.", body = RecordedFact), Problems))]
#[post("/v1/units/{unit_id}/evidence/{evidence_id}/withdraw")]
pub async fn withdraw_evidence(
    permit: Permit<EvidenceRecord>,
    path: Path<FactPath>,
) -> Result<Answer<RecordedFact>, ApiError> {
    let (unit, mut tx) = (permit.unit()?, permit.tx()?);
    let found = standings::fact_on_record(&mut tx, unit, path.evidence_id).await?.ok_or(Code::NotFound)?;
    let this = seasons::guard_open(&mut tx, unit, found.season_id).await;
    let (people, troops) = (found.person_id.into_iter().collect(), found.troop_id.into_iter().collect());
    let touched = Touched::some(found.season_id, people, troops);
    change::hold(&mut tx, unit, &touched).await?;
    // Whoever held it before may have withdrawn it meanwhile.
    let mut fact = standings::fact_on_record(&mut tx, unit, path.evidence_id).await?.ok_or(Code::NotFound)?;
    tx.replay().await?;
    this?;
    may_be_withdrawn(&fact)?;
    standings::withdraw_fact(&mut tx, &permit, &mut fact).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    tx.about("evidence", fact.evidence_id);
    if let Some(person) = fact.person_id {
        tx.about("person", person);
    }
    if let Some(troop) = fact.troop_id {
        tx.about("troop", troop);
    }
    tx.commit_with(Answer::new(&fact)?).await
}

/// Only what a person entered, and once.
fn may_be_withdrawn(fact: &RecordedFact) -> Result<(), ApiError> {
    let detail = if fact.withdrawn_at.is_some() {
        "This fact is withdrawn already; nothing is to be done."
    } else if fact.intake_id.is_some() {
        "A list said this. Take that list back (reverse_intake), or upload a newer one that says it right."
    } else {
        return Ok(());
    };
    Err(ApiError::new(Code::WrongState).detail(detail))
}
