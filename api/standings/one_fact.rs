//! Facts one by one: what was recorded about whom, by whom, and withdrawn when it was wrong from the start.

use chrono::{DateTime, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::load::{outcome_of, source_of};
use super::record::stamp;
use super::rules::{EvidenceOutcome, EvidenceSource};
use super::sql::one_fact as sql;
use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{EvidenceId, IntakeId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::ApiError;

/// Which facts are asked for.
#[derive(Clone, Debug)]
pub struct FactsWanted {
    /// About this person only.
    pub person: Option<PersonId>,
    /// About this troop only.
    pub troop: Option<TroopId>,
    /// About this requirement only.
    pub requirement: Option<String>,
    /// Whether screenings may be among them.
    pub screenings: bool,
    /// Only those recorded or withdrawn after this number of the log.
    pub since: Option<i64>,
    /// Only those recorded before this one.
    pub after: Option<EvidenceId>,
    /// At most so many.
    pub limit: i64,
}

impl FactsWanted {
    /// Whatever it is about, a screening too: for one that is known by its id.
    pub(super) const ONE: Self =
        Self { person: None, troop: None, requirement: None, screenings: true, since: None, after: None, limit: 1 };
}

/// A fact as it was recorded, with who recorded it and what became of it.
#[derive(Debug, Serialize, ToSchema)]
pub struct RecordedFact {
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
    /// The list that said it; null when a person did.
    #[schema(required = true)]
    pub intake_id: Option<IntakeId>,
    /// The row of that list; null when no row said it.
    #[schema(required = true, minimum = 1)]
    pub row_number: Option<u32>,
    /// How it was seen; null when nothing was said.
    #[schema(required = true, max_length = 400)]
    pub note: Option<String>,
    /// When it was recorded.
    pub recorded_at: DateTime<Utc>,
    /// Who recorded it: `account:` or `key:` and its id, as in the log.
    #[schema(max_length = 80)]
    pub recorded_by: String,
    /// Since when it counts no longer, withdrawn by itself or with its list; null while it counts.
    #[schema(required = true)]
    pub withdrawn_at: Option<DateTime<Utc>>,
    /// Whether it is about a screening.
    #[serde(skip)]
    pub screening: bool,
}

impl TryFrom<sql::FactRow> for RecordedFact {
    type Error = ApiError;

    fn try_from(row: sql::FactRow) -> Result<Self, ApiError> {
        Ok(Self {
            evidence_id: EvidenceId(row.evidence_id),
            season_id: SeasonId(row.season_id),
            requirement: row.requirement,
            person_id: row.person_id.map(PersonId),
            troop_id: row.troop_id.map(TroopId),
            outcome: outcome_of(&row.outcome)?,
            observed_on: row.observed_on,
            valid_until_on: row.valid_until_on,
            score_percent: row.score_percent.and_then(|score| u8::try_from(score).ok()),
            source: source_of(&row.source)?,
            intake_id: row.intake_id.map(IntakeId),
            row_number: row.intake_row.and_then(|number| u32::try_from(number).ok()),
            note: row.note,
            recorded_at: row.recorded_at,
            recorded_by: row.recorded_by,
            withdrawn_at: row.withdrawn_at,
            screening: row.screening,
        })
    }
}

/// Facts of a season, the newest first.
///
/// # Errors
/// Database faults.
pub async fn facts_on_record(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    wanted: &FactsWanted,
) -> Result<Vec<RecordedFact>, ApiError> {
    sql::list(tx, unit, season, wanted).await?.into_iter().map(RecordedFact::try_from).collect()
}

/// One fact, if the unit has it.
///
/// # Errors
/// Database faults.
pub async fn fact_on_record(tx: &mut Tx, unit: UnitId, fact: EvidenceId) -> Result<Option<RecordedFact>, ApiError> {
    sql::find(tx, unit, fact).await?.map(RecordedFact::try_from).transpose()
}

/// Withdraws a fact: from now on it counts no longer, while an answer as of an earlier instant still counts it. Call
/// `change::hold` before, look at the fact after that, and call `change::refresh` after.
///
/// # Errors
/// Database faults.
pub async fn withdraw_fact<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    fact: &mut RecordedFact,
) -> Result<(), ApiError> {
    let stamp = stamp(tx).await?;
    sql::withdraw(tx, by, (by.unit()?, fact.season_id), fact.evidence_id, &stamp).await?;
    fact.withdrawn_at = Some(stamp.at);
    Ok(())
}
