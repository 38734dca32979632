//! An uploaded list and its rows as people see them.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::changes::{Contradiction, TroopField};
use super::columns::plan::ColumnPlan;
use super::counts::Counts;
use super::kinds::ListKind;
use super::matching::{Candidate, ReasonCode};
use super::next_step::{OfList, next_step};
use super::parse::ParseFault;
use super::parse::table::{CellProblem, SkippedRow, Source};
use super::remembered::RememberedDecision;
use super::sql::IntakeRecord;
use crate::common::etag::etag;
use crate::common::ids::{IntakeId, PersonId, SeasonId, TroopId};
use crate::error::ApiError;
use crate::standings::rules::EvidenceOutcome;

/// Where an uploaded list is on its way. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum IntakeState {
    /// It is being read; ask again in a second.
    Reading,
    /// It could not be read; `fault` says why and what to do.
    Unreadable,
    /// Several sheets of the workbook could be the list: a person says which is meant.
    NeedsSheet,
    /// A person has to say which column is which, or in which order days are written.
    NeedsColumns,
    /// Its preview stands.
    Ready,
    /// It was applied.
    Applied,
    /// It was applied, and taken back.
    Reversed,
    /// It was put away.
    Discarded,
}

/// An uploaded list with what was read of it. Its rows are a list of their own.
#[derive(Debug, Serialize, ToSchema)]
pub struct Intake {
    /// The list.
    pub intake_id: IntakeId,
    /// The season that it speaks of.
    pub season_id: SeasonId,
    /// What it is about.
    pub kind: ListKind,
    /// The name of its file.
    #[schema(max_length = 200, example = "role_list_2026-10-12.csv")]
    pub file_name: String,
    /// The day for which it speaks.
    pub listed_on: NaiveDate,
    /// When it was uploaded.
    pub uploaded_at: DateTime<Utc>,
    /// Where it is on its way.
    pub state: IntakeState,
    /// What to do next, in a sentence.
    #[schema(max_length = 2000)]
    pub next_step: String,
    /// Why it could not be read.
    #[schema(required = true)]
    pub fault: Option<ParseFault>,
    /// How the file was read.
    #[schema(required = true)]
    pub source: Option<Source>,
    /// Which column is which, and what has to be asked.
    #[schema(required = true)]
    pub columns: Option<ColumnPlan>,
    /// Rows with text that were passed over, each with the reason.
    #[schema(max_items = 20_000)]
    pub skipped_rows: Vec<SkippedRow>,
    /// The preview in figures.
    pub counts: Counts,
    /// An earlier list of the very same bytes that was applied: for the same day this one changes nothing, for a later day it
    /// says that all of it still holds then.
    #[schema(required = true)]
    pub same_file_as: Option<IntakeId>,
    /// Sheets of the workbook that could each be the list, where one has to be chosen.
    #[schema(max_items = 100, value_type = Vec<crate::common::short_text::ShortText>)]
    pub sheets: Vec<String>,
    /// Whether the uploader says that nobody is missing from it.
    pub complete: bool,
    /// Who was named by an earlier list and is not on this one, though it is complete: applying records it.
    #[schema(max_items = 40_000)]
    pub absences: Vec<AbsentOne>,
    /// A list of this kind that was applied and speaks for a later day: being left out of this one then says nothing.
    #[schema(required = true)]
    pub superseded_by: Option<IntakeId>,
    /// When it was applied.
    #[schema(required = true)]
    pub applied_at: Option<DateTime<Utc>>,
    /// When it was taken back.
    #[schema(required = true)]
    pub reversed_at: Option<DateTime<Utc>>,
    /// When the file and what was read of it were erased, their time being over.
    #[schema(required = true)]
    pub file_erased_at: Option<DateTime<Utc>>,
    /// The stamp of the preview: send it to apply exactly this preview.
    #[schema(max_length = 30, example = "\"v3\"")]
    pub etag: String,
}

/// Somebody, or a troop, that an earlier list named and a complete one does not.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct AbsentOne {
    /// The code of the requirement that being on the list proves; null for a troop list, which proves none: a troop that it
    /// leaves out is shown, and nothing ends by it.
    #[schema(required = true, max_length = 40)]
    pub requirement: Option<String>,
    /// The person.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// Or the troop.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// What applying the list records, if it records anything, in a sentence.
    #[schema(max_length = 600)]
    pub sentence: String,
}

/// What a row is taken for. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum IntakeRowState {
    /// Somebody known.
    Person,
    /// Somebody new.
    NewPerson,
    /// A troop.
    Troop,
    /// A troop that becomes known.
    NewTroop,
    /// A person decides who is meant.
    Ask,
    /// It cannot be used as it stands.
    Unusable,
    /// A person left it out.
    LeftOut,
}

/// A row of an uploaded list: whom it is taken for, why, what it changes, what is wrong with it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct IntakeRow {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The name on the row: a person's, or a troop's.
    #[schema(max_length = 200)]
    pub name: String,
    /// The troop's number on the row.
    #[schema(required = true, max_length = 40)]
    pub troop_number: Option<String>,
    /// What the row is taken for.
    pub state: IntakeRowState,
    /// Whether a person must decide before the list can be applied.
    pub needs_a_person: bool,
    /// What it waits for, as a code: rows with the same code can be decided at once (`resolve_rows_by_reason`). Null for a row
    /// that does not wait.
    #[serde(default)]
    #[schema(required = true, max_length = 60)]
    pub waits_for: Option<String>,
    /// The earlier decision that was taken over by itself, since an applied list had the same row and a person decided it;
    /// resolve the row otherwise where it does not hold.
    #[serde(default)]
    #[schema(required = true)]
    pub remembered: Option<RememberedDecision>,
    /// The person it is taken for.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The troop that it names.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// Who may be meant, the likeliest first.
    #[schema(max_items = 5)]
    pub candidates: Vec<Candidate>,
    /// Why, as a code; null where nothing had to be matched.
    #[schema(required = true)]
    pub reason_code: Option<ReasonCode>,
    /// Why, as a sentence; null where nothing had to be matched.
    #[schema(required = true, max_length = 600)]
    pub reason: Option<String>,
    /// Other rows that speak of the same person: the first twenty of them.
    #[schema(max_items = 20)]
    pub also_on_rows: Vec<u32>,
    /// What other rows say otherwise about the same person or troop, whether a person has chosen one of them
    /// (`this_row_holds`) or not.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub contradictions: Vec<Contradiction>,
    /// What applying the row changes, after the rows above it.
    #[schema(max_items = 200)]
    pub changes: Vec<RowChange>,
    /// What is wrong with the row. `name_differs` says that the roster spells the name otherwise, and stops nothing.
    #[schema(max_items = 400)]
    pub problems: Vec<CellProblem>,
}

/// The kinds of change. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RowChangeKind {
    /// Somebody becomes known.
    NewPerson,
    /// Something is filled in about somebody known.
    FillIn,
    /// Somebody is proposed as coordinator; a person confirms it.
    Proposal,
    /// A fact is recorded.
    Fact,
    /// A troop becomes known, with its place in the season.
    NewTroop,
    /// A troop of an earlier season gets its place in this one.
    TroopPlace,
    /// Something about a troop is said otherwise: `field`, `before` and `after` say what.
    TroopChange,
}

/// One thing that a row changes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct RowChange {
    /// What kind of change.
    pub kind: RowChangeKind,
    /// For a fact: the code of the requirement.
    #[schema(required = true, max_length = 40)]
    pub requirement: Option<String>,
    /// For a fact: what it says.
    #[schema(required = true)]
    pub outcome: Option<EvidenceOutcome>,
    /// For a fact with a score: whether the score is below what the policy asks for, so that the fact closes nothing.
    #[serde(default)]
    pub closes_nothing: bool,
    /// For a change of a troop: what changes.
    #[serde(default)]
    #[schema(required = true)]
    pub field: Option<TroopField>,
    /// For a change of a troop: what is known; null where nothing is.
    #[serde(default)]
    #[schema(required = true, max_length = 2000)]
    pub before: Option<String>,
    /// For a change of a troop: what the list says.
    #[serde(default)]
    #[schema(required = true, max_length = 2000)]
    pub after: Option<String>,
    /// The change in a sentence.
    #[schema(max_length = 1000)]
    pub sentence: String,
}

/// The words for a state in the database.
pub(super) fn state_of(word: &str) -> Result<IntakeState, ApiError> {
    let quoted = serde_json::Value::String(word.to_owned());
    serde_json::from_value(quoted).map_err(|error| ApiError::internal(&error))
}

impl TryFrom<IntakeRecord> for Intake {
    type Error = ApiError;

    fn try_from(record: IntakeRecord) -> Result<Self, ApiError> {
        let kind = ListKind::from_name(&record.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
        let state = state_of(&record.state)?;
        let next_step = next_step(&OfList {
            kind,
            state,
            counts: &record.counts.0,
            columns: record.columns.as_ref().map(|columns| &columns.0),
            seen_before: record.same_file_as.is_some(),
            newer_of: record.superseded_on,
            deleted_at: record.erased_at,
        });
        let (source, skipped_rows) = record.how_read.map(|read| (read.0.source, read.0.skipped)).unzip();
        Ok(Self {
            intake_id: IntakeId(record.intake_id),
            season_id: SeasonId(record.season_id),
            kind,
            file_name: record.file_name,
            listed_on: record.listed_on,
            uploaded_at: record.uploaded_at,
            state,
            next_step,
            fault: record.fault.map(|fault| fault.0),
            source,
            columns: record.columns.map(|columns| columns.0),
            skipped_rows: skipped_rows.unwrap_or_default(),
            counts: record.counts.0,
            same_file_as: record.same_file_as.map(IntakeId),
            sheets: record.sheets.0,
            complete: record.complete,
            absences: record.absences.0,
            superseded_by: record.superseded_by.map(IntakeId),
            applied_at: record.applied_at,
            reversed_at: record.reversed_at,
            file_erased_at: record.erased_at,
            etag: etag(record.version),
        })
    }
}
