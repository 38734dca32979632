//! Decide about a row that waits for a person.

use std::collections::BTreeMap;

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::changes::Resolution;
use super::choose_columns::{finish, under_way};
use super::shown::{Intake, IntakeRow};
use super::{sql, work};
use crate::auth::Permit;
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{IntakeId, PersonId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::roster;

/// Which row of which list.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct IntakeRowPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The list.
    #[param(value_type = uuid::Uuid)]
    intake_id: IntakeId,
    /// The row's number as a spreadsheet shows it.
    #[param(minimum = 1, maximum = 20_001)]
    row_number: u32,
}

/// What a person can decide about a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RowDecision {
    /// The row is somebody known: say who.
    Person,
    /// The row is somebody new. Only a role list makes people known.
    NewPerson,
    /// The row of a troop list is taken at its word: the troop is called so now, or is a new one.
    AsListed,
    /// The row is left out.
    LeaveOut,
    /// Of rows that contradict each other about the same person or troop (`contradictions`) this one is right: what the others
    /// say otherwise is not taken from them.
    ThisRowHolds,
    /// The decision is taken back: the program matches the row again, whatever was decided about the same row of an earlier
    /// list.
    TakeBack,
}

impl RowDecision {
    /// The name by which it is sent.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Person => "person",
            Self::NewPerson => "new_person",
            Self::AsListed => "as_listed",
            Self::LeaveOut => "leave_out",
            Self::ThisRowHolds => "this_row_holds",
            Self::TakeBack => "take_back",
        }
    }
}

/// A decision about a row.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"decision": "leave_out", "all_like_this": false}))]
pub struct RowResolution {
    /// What was decided.
    #[garde(skip)]
    decision: RowDecision,
    /// Who it is, for `person`.
    #[garde(skip)]
    person_id: Option<PersonId>,
    /// Whether every row that waits for the same thing is decided alike; not for `person` and `this_row_holds`. To decide only about rows that you
    /// have seen, use `resolve_rows_by_reason`.
    #[garde(skip)]
    #[serde(default)]
    all_like_this: bool,
}

/// Decide about a row: it is this person, somebody new, or left out.
///
/// Any row may be decided, also one that the program matched by itself. The preview is made anew.
#[utoipa::path(tag = "intake", params(IntakeRowPath), request_body = RowResolution, extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 200, description = "The list with its new preview.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/rows/{row_number}/resolve")]
pub async fn resolve_intake_row(
    permit: Permit<IntakesUpload>,
    path: Path<IntakeRowPath>,
    body: Json<RowResolution>,
) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    let rows = sql::rows::rows(&mut tx, unit, path.intake_id).await?;
    let shown: Vec<&IntakeRow> = rows.iter().map(|row| &row.preview.0).collect();
    let row = shown.iter().find(|row| row.row_number == path.row_number).copied();
    let row = row.filter(|_| locked.0.state != "discarded").ok_or(Code::NotFound)?;
    tx.replay().await?;
    let table = under_way(&locked)?;
    let mut resolutions = work::resolutions(&rows);
    let decided = match body.0.decision {
        RowDecision::ThisRowHolds => chosen(&body.0, row, &mut resolutions)?,
        _ => decided(&body.0, &locked.0.kind)?,
    };
    if let Resolution::Person { person_id, .. } = decided {
        let known = roster::known(&mut tx, unit, crate::common::ids::SeasonId(locked.0.season_id)).await?;
        if !known.people.iter().any(|person| person.person_id == person_id) {
            let fault = FieldError::at("/person_id", "unknown", "the id of a person of this unit (list_people)");
            return Err(ApiError::new(Code::UnknownReference).errors(vec![fault]));
        }
    }
    let alike = |other: &&&IntakeRow| {
        let same = other.needs_a_person
            && (other.state, other.reason_code, &other.waits_for) == (row.state, row.reason_code, &row.waits_for);
        other.row_number == row.row_number || (body.0.all_like_this && same)
    };
    for other in shown.iter().filter(alike) {
        resolutions.insert(other.row_number, decided);
    }
    let choices = locked.0.choices.0.clone();
    let made = work::make(&mut tx, unit, &locked.0, &table, &choices, &resolutions).await?;
    made.keep(&mut tx, unit, &locked, &table, &choices).await?;
    finish(tx, &permit, path.intake_id, &locked).await
}

fn decided(body: &RowResolution, kind: &str) -> Result<Resolution, ApiError> {
    let fault = |place: &str, code: &str, expected: &str| {
        Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at(place, code, expected)]))
    };
    match (body.decision, body.person_id) {
        (RowDecision::Person, _) if body.all_like_this => {
            fault("/all_like_this", "one_person_each", "false: several rows are not one person by rule")
        }
        (RowDecision::Person | RowDecision::NewPerson, _) if kind == "bank_details" || kind == "troop_list" => {
            fault("/decision", "is_about_troops", "another decision: the rows of this list are troops, not people")
        }
        (RowDecision::Person, Some(person_id)) => Ok(Resolution::Person { person_id, holds: false }),
        (RowDecision::Person, None) => fault("/person_id", "missing", "the id of the person whom the row means"),
        (_, Some(_)) => fault("/person_id", "not_asked", "no person: only the decision person names one"),
        (RowDecision::NewPerson, None) if kind != "role_list" => {
            fault("/decision", "makes_nobody_known", "another decision: only a role list makes people known")
        }
        (RowDecision::NewPerson, None) => Ok(Resolution::NewPerson),
        (RowDecision::AsListed, None) if kind != "troop_list" => {
            fault("/decision", "is_about_people", "another decision: only a row of a troop list is taken at its word")
        }
        (RowDecision::AsListed, None) => Ok(Resolution::AsListed),
        (RowDecision::LeaveOut, None) => Ok(Resolution::Skip),
        (RowDecision::ThisRowHolds, None) => Ok(Resolution::Holds),
        (RowDecision::TakeBack, None) => Ok(Resolution::Anew),
    }
}

/// One of rows that contradict each other is right, and no other of them any longer. Whom the row means stays as it is.
fn chosen(
    body: &RowResolution,
    row: &IntakeRow,
    resolutions: &mut BTreeMap<u32, Resolution>,
) -> Result<Resolution, ApiError> {
    let fault = |place: &str, code: &str, expected: &str| {
        Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at(place, code, expected)]))
    };
    if body.all_like_this {
        return fault("/all_like_this", "one_row_each", "false: of rows that contradict each other one is right");
    }
    if body.person_id.is_some() {
        return fault("/person_id", "not_asked", "no person: only the decision person names one");
    }
    if row.contradictions.is_empty() {
        return fault("/decision", "nothing_contradicts", "another decision: no other row contradicts this one");
    }
    for other in row.contradictions.iter().flat_map(|one| &one.rows) {
        match resolutions.get_mut(other) {
            Some(Resolution::Person { holds, .. } | Resolution::SameAsRow { holds, .. }) => *holds = false,
            Some(Resolution::Holds) => drop(resolutions.remove(other)),
            _ => {}
        }
    }
    let known = row.person_id.or_else(|| row.candidates.first().map(|candidate| candidate.person_id));
    Ok(match (known, resolutions.get(&row.row_number)) {
        (Some(person_id), _) => Resolution::Person { person_id, holds: true },
        (None, Some(Resolution::SameAsRow { row_number, .. })) => {
            Resolution::SameAsRow { row_number: *row_number, holds: true }
        }
        (None, Some(Resolution::NewPerson)) => Resolution::SameAsRow { row_number: row.row_number, holds: true },
        (None, _) => Resolution::Holds,
    })
}
