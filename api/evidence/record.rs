//! Record a fact about a requirement by hand.

use actix_web::post;
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::rules::{self, Claim};
use crate::auth::permission::{EvidenceRecord, Permission};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{EvidenceId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;
use crate::seasons::policy::Fault;
use crate::standings::rules::{EvidenceOutcome, EvidenceSource};
use crate::standings::{self, NewEvidence, Subject};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct EvidencePath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// What a person can record by hand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum HandOutcome {
    /// It is met.
    Met,
    /// It is not met.
    NotMet,
}

impl From<HandOutcome> for EvidenceOutcome {
    fn from(outcome: HandOutcome) -> Self {
        match outcome {
            HandOutcome::Met => Self::Met,
            HandOutcome::NotMet => Self::NotMet,
        }
    }
}

/// A fact about a requirement that the unit manager has seen.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"requirement": "agreement", "person_id": "0198c0de-0000-7000-8000-000000000021", "outcome": "met", "note": "Signed at the kick-off evening."}))]
pub struct EvidenceByHand {
    /// The code of the requirement.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    requirement: String,
    /// The coordinator it is about; leave it out for a requirement of the troop.
    #[garde(skip)]
    person_id: Option<PersonId>,
    /// The troop it is about; leave it out for a requirement of a coordinator.
    #[garde(skip)]
    troop_id: Option<TroopId>,
    /// What was seen.
    #[garde(skip)]
    outcome: HandOutcome,
    /// The day for which it is true: today or earlier, and in this season. Leave it out for today.
    #[garde(skip)]
    observed_on: Option<NaiveDate>,
    /// The last day for which it holds, where the proof names one.
    #[garde(skip)]
    valid_until_on: Option<NaiveDate>,
    /// The score in whole percent, where there is one.
    #[garde(inner(range(max = 100)))]
    #[schema(maximum = 100)]
    score_percent: Option<u8>,
    /// How it was seen. Not for a screening, of which only outcome and dates are kept.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(min_length = 1, max_length = 400)]
    note: Option<String>,
}

/// A fact about a requirement. It is never changed; a later one speaks louder.
#[derive(Debug, Serialize, ToSchema)]
pub struct Evidence {
    /// The fact.
    pub evidence_id: EvidenceId,
    /// The season.
    pub season_id: SeasonId,
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// The person it is about; null for a troop.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The troop it is about; null for a person.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// What it says.
    pub outcome: EvidenceOutcome,
    /// The day for which it says so.
    pub observed_on: NaiveDate,
    /// The last day for which it holds; null when it names none.
    #[schema(required = true)]
    pub valid_until_on: Option<NaiveDate>,
    /// The score in percent; null when it carries none.
    #[schema(required = true, maximum = 100)]
    pub score_percent: Option<u8>,
    /// Where it comes from.
    pub source: EvidenceSource,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
}

/// Record a fact about a requirement that you have seen: met, or not met.
///
/// The policy says what may be entered by hand; a fact from the future or from before the season is refused. The
/// standings of every troop it touches are computed again at once.
#[utoipa::path(tag = "evidence", params(EvidencePath), request_body = EvidenceByHand, extensions(("x-permission" = json!(EvidenceRecord::NAME))), responses((status = 201, description = "The fact.", body = Evidence), Problems))]
#[post("/v1/units/{unit_id}/evidence")]
pub async fn record_evidence(
    permit: Permit<EvidenceRecord>,
    _path: Path<EvidencePath>,
    body: Json<EvidenceByHand>,
) -> Result<Created<Evidence>, ApiError> {
    let EvidenceByHand {
        requirement,
        person_id,
        troop_id,
        outcome,
        observed_on: day,
        valid_until_on,
        score_percent,
        note,
    } = body.0;
    let subject = match (person_id, troop_id) {
        (Some(person), None) => Subject::Person(person),
        (None, Some(troop)) => Subject::Troop(troop),
        _ => {
            let fault = FieldError::at("/person_id", "one_subject", "Send either person_id or troop_id.");
            return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
        }
    };
    let source = EvidenceSource::Manager;
    let new = NewEvidence {
        requirement,
        subject,
        outcome: outcome.into(),
        observed_on: day.unwrap_or_else(|| permit.now().date_naive()),
        valid_until_on,
        score_percent,
        source,
        list_row: None,
        note,
    };
    let mut tx = permit.tx()?;
    let made = add(&mut tx, &permit, Told { key: "observed_on", day }, new).await?;
    tx.commit_with(Created::new(&made)?).await
}

/// The day that was sent, and under which key.
#[derive(Clone, Copy, Debug)]
pub(super) struct Told {
    pub key: &'static str,
    pub day: Option<NaiveDate>,
}

/// Checks a fact against roster, policy and calendar, adds it, and computes what it touches. Where no day was sent, it is
/// today in the season's zone.
pub(super) async fn add<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    told: Told,
    mut new: NewEvidence,
) -> Result<Evidence, ApiError> {
    let unit = permit.unit()?;
    let season = seasons::current(tx, unit).await?.season_id;
    let (people, troops) = match new.subject {
        Subject::Person(person) => (vec![person], vec![]),
        Subject::Troop(troop) => (vec![], vec![troop]),
    };
    let touched = Touched::some(season, people, troops);
    let this = seasons::guard_open(tx, unit, season).await;
    change::hold(tx, unit, &touched).await?;
    in_reach(tx, permit, season, new.subject).await?;
    tx.replay().await?;
    let this = this?;
    let policy = seasons::policy_of(tx, unit, season).await?;
    let calendar = seasons::calendar_of(tx, unit, &this).await?;
    if told.day.is_none() {
        new.observed_on = calendar.date(permit.now());
    }
    let claim = Claim {
        requirement: &new.requirement,
        of_person: matches!(new.subject, Subject::Person(_)),
        outcome: new.outcome,
        source: new.source,
        observed_on: new.observed_on,
        day_key: told.key,
        valid_until_on: new.valid_until_on,
        score_percent: new.score_percent,
        note: new.note.as_deref(),
    };
    let faults = rules::faults(&policy, &calendar, permit.now(), &claim);
    if !faults.is_empty() {
        let errors = faults.into_iter().map(|Fault { pointer, code, detail }| FieldError::at(pointer, code, detail));
        return Err(ApiError::new(Code::Invalid).errors(errors.collect()));
    }
    let ids = standings::record_evidence(tx, permit, season, &policy, std::slice::from_ref(&new)).await?;
    let evidence_id = ids.first().copied().ok_or_else(|| ApiError::broken("a fact without an id"))?;
    change::refresh(tx, unit, &touched).await?;
    tx.about("evidence", evidence_id);
    let (person_id, troop_id) = match new.subject {
        Subject::Person(person) => {
            tx.about("person", person);
            (Some(person), None)
        }
        Subject::Troop(troop) => {
            tx.about("troop", troop);
            (None, Some(troop))
        }
    };
    let NewEvidence { requirement, outcome, observed_on, valid_until_on, score_percent, source, .. } = new;
    let recorded_at = tx.logged_at();
    Ok(Evidence {
        evidence_id,
        season_id: season,
        requirement,
        person_id,
        troop_id,
        outcome,
        observed_on,
        valid_until_on,
        score_percent,
        source,
        recorded_at,
    })
}

/// Holds a subject to the permit's reach: a troop of the season, or a person who coordinates one.
async fn in_reach<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    season: SeasonId,
    subject: Subject,
) -> Result<(), ApiError> {
    let unit = permit.unit()?;
    let (key, detail, troops) = match subject {
        Subject::Person(person) => {
            let troops = standings::troops_of_person(tx, unit, season, person).await?;
            ("/person_id", "somebody who coordinates a troop in this season", troops)
        }
        Subject::Troop(troop) => {
            let known = standings::has_troop(tx, unit, season, troop).await?;
            ("/troop_id", "a troop of this season", if known { vec![troop] } else { vec![] })
        }
    };
    let seen: Vec<TroopId> = troops.into_iter().filter(|troop| permit.read_scope().reaches(*troop)).collect();
    let Some(first) = seen.first() else {
        return Err(ApiError::new(Code::UnknownReference).errors(vec![FieldError::at(key, "unknown", detail)]));
    };
    seen.iter().find(|troop| permit.scope().reaches(**troop)).map_or_else(|| permit.reach(*first), |_| Ok(()))
}
