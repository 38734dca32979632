//! What the rows of a list wait for, each reason once.

use std::collections::BTreeMap;

use actix_web::get;
use serde::Serialize;
use utoipa::ToSchema;

use super::changes::{RowPreview, RowState};
use super::find::IntakePath;
use super::kinds::ListKind;
use super::resolve_row::RowDecision;
use super::shown::{IntakeRow, IntakeRowState};
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::common::ids::IntakeId;
use crate::error::{ApiError, Problems};

/// The most rows that are named for one reason.
const ROWS_NAMED: usize = 200;

/// What the rows of a list wait for.
#[derive(Debug, Serialize, ToSchema)]
pub struct WaitingReasons {
    /// The list.
    pub intake_id: IntakeId,
    /// The stamp of the preview that this was seen in: send it to decide about exactly these rows.
    #[schema(max_length = 30, example = "\"v3\"")]
    pub preview: String,
    /// The reasons, the one with most rows first.
    #[schema(max_items = 60)]
    pub items: Vec<WaitingReason>,
}

/// One thing that rows wait for.
#[derive(Debug, Serialize, ToSchema)]
pub struct WaitingReason {
    /// The reason as a code.
    #[schema(max_length = 60, example = "unknown_troop")]
    pub waits_for: String,
    /// How many rows wait for it.
    pub rows: u32,
    /// Which; of many the first two hundred.
    #[schema(max_items = 200)]
    pub row_numbers: Vec<u32>,
    /// Why the first of them waits, in a sentence.
    #[schema(max_length = 1200)]
    pub for_example: String,
    /// What can be decided about all of them at once.
    #[schema(max_items = 5)]
    pub decisions: Vec<RowDecision>,
}

/// List what the rows of a list wait for: each reason once, with its rows, and what can be decided about all of them at once.
///
/// This is the preview of `resolve_rows_by_reason`.
#[utoipa::path(tag = "intake", params(IntakePath), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The reasons.", body = WaitingReasons), Problems))]
#[get("/v1/units/{unit_id}/intakes/{intake_id}/waiting-reasons")]
pub async fn list_waiting_reasons(
    permit: Permit<IntakesRead>,
    path: Path<IntakePath>,
) -> Result<Answer<WaitingReasons>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let intake = sql::find(&mut tx, unit, path.intake_id).await?;
    let kind = ListKind::from_name(&intake.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let rows = sql::rows::page_of_rows(&mut tx, unit, path.intake_id, (Some(true), 0), i64::MAX).await?;
    let mut reasons: BTreeMap<String, Vec<IntakeRow>> = BTreeMap::new();
    for row in rows.into_iter().map(|row| row.preview.0) {
        if let Some(waits_for) = row.waits_for.clone() {
            reasons.entry(waits_for).or_default().push(row);
        }
    }
    let mut items: Vec<WaitingReason> =
        reasons.into_iter().map(|(waits_for, rows)| reason(kind, waits_for, &rows)).collect();
    items.sort_by(|one, other| other.rows.cmp(&one.rows).then_with(|| one.waits_for.cmp(&other.waits_for)));
    Answer::new(&WaitingReasons { intake_id: path.intake_id, preview: etag(intake.version), items })
}

fn reason(kind: ListKind, waits_for: String, rows: &[IntakeRow]) -> WaitingReason {
    let for_example = rows.first().map(why).unwrap_or_default();
    WaitingReason {
        waits_for,
        rows: u32::try_from(rows.len()).unwrap_or(u32::MAX),
        row_numbers: rows.iter().take(ROWS_NAMED).map(|row| row.row_number).collect(),
        for_example,
        decisions: possible(kind, rows),
    }
}

/// What can be decided about all of these rows at once. A row that asks whom it means may be somebody new, one by one or all;
/// a row that cannot be used can only be left out.
pub(super) fn possible(kind: ListKind, rows: &[IntakeRow]) -> Vec<RowDecision> {
    // of rows that contradict each other one by one is right
    let ask = rows.iter().all(|row| row.state == IntakeRowState::Ask && row.contradictions.is_empty());
    match kind {
        ListKind::RoleList if ask => vec![RowDecision::NewPerson, RowDecision::LeaveOut],
        ListKind::TroopList if ask => vec![RowDecision::AsListed, RowDecision::LeaveOut],
        _ => vec![RowDecision::LeaveOut],
    }
}

/// Why a row waits: `row 14: read nothing in received on, expected a day`.
pub(super) fn why(row: &IntakeRow) -> String {
    let troop = row.troop_number.as_ref().map(|number| format!("troop {number}"));
    let who = Some(row.name.clone()).filter(|name| !name.is_empty()).or(troop);
    let who = who.map_or_else(String::new, |who| format!("{who}: "));
    // what makes the row unusable was noted last
    let problem = row.problems.last().filter(|_| row.state == IntakeRowState::Unusable);
    let why = match problem {
        Some(problem) => {
            let read = if problem.read.is_empty() { "nothing".to_owned() } else { format!("\"{}\"", problem.read) };
            let place = problem.heading.as_ref().map(|heading| format!(" in {}", heading.replace('_', " ")));
            format!("read {read}{}, expected {}", place.unwrap_or_default(), problem.expected)
        }
        None => row.reason.clone().unwrap_or_else(|| "it waits for a decision".to_owned()),
    };
    format!("row {}: {who}{why}", row.row_number)
}

/// What a row waits for, as a code; none for a row that does not wait. What makes a whole row unusable is the last thing
/// noted about it, after its cells were read.
pub(super) fn waits_for(row: &RowPreview) -> Option<String> {
    match (&row.state, &row.reason) {
        (RowState::Unusable, _) => row.problems.last().map(|problem| problem.code.clone()),
        (RowState::Ask(_), Some(reason)) => serde_json::to_value(reason.code).ok()?.as_str().map(str::to_owned),
        _ => None,
    }
}
