//! Decide about a row that waits for a person.

use std::collections::BTreeMap;

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::changes::Resolution;
use super::choose_columns::{finish, under_way};
use super::shown::{Intake, IntakeRow, IntakeRowState};
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
    /// The row of a role list is whoever another row of the list is: say which row.
    SameAsRow,
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
            Self::SameAsRow => "same_as_row",
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
    /// The number of the row that is the same person, for `same_as_row`.
    #[garde(inner(range(min = 1, max = 20_001)))]
    #[schema(minimum = 1, maximum = 20_001)]
    same_as_row: Option<u32>,
    /// Whether every row that waits for the same thing is decided alike; not for `person`, `same_as_row` and
    /// `this_row_holds`. To decide only about rows that you
    /// have seen, use `resolve_rows_by_reason`.
    #[garde(skip)]
    #[serde(default)]
    all_like_this: bool,
}

/// Decide about a row: it is this person, somebody new, whoever another row is, or left out; or it is the one that is right.
///
/// Rows of one list that contradict each other wait until one of them is chosen (`this_row_holds`) or left out. A row that may
/// be the new person of another row waits until it is that one (`same_as_row`) or somebody else (`new_person`).
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
    let table = under_way(&mut tx, unit, &locked).await?;
    let mut resolutions = work::resolutions(&rows);
    let decided = decided(&body.0, &locked.0.kind, (row, &shown), &mut resolutions)?;
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
    made.keep(&mut tx, unit, &locked, None, &choices).await?;
    finish(tx, &permit, path.intake_id, &locked).await
}

fn fault(place: &str, code: &str, expected: &str) -> ApiError {
    ApiError::new(Code::Invalid).errors(vec![FieldError::at(place, code, expected)])
}

/// What goes with one decision and not with another.
fn goes_together(body: &RowResolution) -> Result<(), ApiError> {
    let of_one_row = [RowDecision::Person, RowDecision::SameAsRow, RowDecision::ThisRowHolds].contains(&body.decision);
    if body.all_like_this && body.decision == RowDecision::Person {
        return Err(fault("/all_like_this", "one_person_each", "false: several rows are not one person by rule"));
    }
    if body.all_like_this && of_one_row {
        return Err(fault("/all_like_this", "one_row_each", "false: rows are compared one by one"));
    }
    if body.person_id.is_some() && body.decision != RowDecision::Person {
        return Err(fault("/person_id", "not_asked", "no person: only the decision person names one"));
    }
    if body.same_as_row.is_some() && body.decision != RowDecision::SameAsRow {
        return Err(fault("/same_as_row", "not_asked", "no row: only the decision same_as_row names one"));
    }
    Ok(())
}

fn decided(
    body: &RowResolution,
    kind: &str,
    (row, rows): (&IntakeRow, &[&IntakeRow]),
    resolutions: &mut BTreeMap<u32, Resolution>,
) -> Result<Resolution, ApiError> {
    goes_together(body)?;
    match body.decision {
        RowDecision::Person | RowDecision::NewPerson if kind == "bank_details" || kind == "troop_list" => {
            Err(fault("/decision", "is_about_troops", "another decision: the rows of this list are troops, not people"))
        }
        RowDecision::Person => match body.person_id {
            Some(person_id) => Ok(Resolution::Person { person_id, holds: false }),
            None => Err(fault("/person_id", "missing", "the id of the person whom the row means")),
        },
        RowDecision::NewPerson | RowDecision::SameAsRow if kind != "role_list" => {
            Err(fault("/decision", "makes_nobody_known", "another decision: only a role list makes people known"))
        }
        RowDecision::NewPerson => Ok(Resolution::NewPerson),
        RowDecision::SameAsRow => same_as(body, row, rows),
        RowDecision::AsListed if kind != "troop_list" => Err(fault(
            "/decision",
            "is_about_people",
            "another decision: only a row of a troop list is taken at its word",
        )),
        RowDecision::AsListed => Ok(Resolution::AsListed),
        RowDecision::LeaveOut => Ok(Resolution::Skip),
        RowDecision::ThisRowHolds => chosen(row, resolutions),
        RowDecision::TakeBack => Ok(Resolution::Anew),
    }
}

/// A row is whoever another row of the same list is.
fn same_as(body: &RowResolution, row: &IntakeRow, rows: &[&IntakeRow]) -> Result<Resolution, ApiError> {
    let is_somebody = |other: &IntakeRow| !matches!(other.state, IntakeRowState::Troop | IntakeRowState::LeftOut);
    let is_named = |other: &IntakeRow| Some(other.row_number) == body.same_as_row && other.row_number != row.row_number;
    match rows.iter().find(|other| is_named(other) && is_somebody(other)) {
        Some(other) => Ok(Resolution::SameAsRow { row_number: other.row_number, holds: false }),
        None => Err(fault("/same_as_row", "no_such_row", "the number of another row of this list that names a person")),
    }
}

/// One of rows that contradict each other is right, and no other of them any longer. Whom the row means stays as it is.
fn chosen(row: &IntakeRow, resolutions: &mut BTreeMap<u32, Resolution>) -> Result<Resolution, ApiError> {
    if row.contradictions.is_empty() {
        let expected = "another decision: no other row contradicts this one";
        return Err(fault("/decision", "nothing_contradicts", expected));
    }
    for other in row.contradictions.iter().flat_map(|one| &one.rows) {
        match resolutions.get_mut(other) {
            Some(Resolution::Person { holds, .. } | Resolution::SameAsRow { holds, .. }) => *holds = false,
            Some(Resolution::Holds) => drop(resolutions.remove(other)),
            _ => {}
        }
    }
    let known = row.person_id.or_else(|| row.candidates.first().and_then(|candidate| candidate.person_id));
    Ok(match (known, resolutions.get(&row.row_number)) {
        (Some(person_id), _) => Resolution::Person { person_id, holds: true },
        (None, Some(Resolution::SameAsRow { row_number, .. })) => {
            Resolution::SameAsRow { row_number: *row_number, holds: true }
        }
        (None, Some(Resolution::NewPerson)) => Resolution::SameAsRow { row_number: row.row_number, holds: true },
        (None, _) => Resolution::Holds,
    })
}
