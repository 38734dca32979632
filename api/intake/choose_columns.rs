//! Say which column of a list is which, and in which order its days are written.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::columns::dates::DateOrder;
use super::columns::plan::ColumnChoices;
use super::find::IntakePath;
use super::kinds::{ListColumn, ListKind};
use super::shown::Intake;
use super::upload::may_be_complete;
use super::{sql, work};
use crate::auth::permission::{IntakesUpload, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::ids::{IntakeId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};

/// What is said about the list and its columns; what is not named stays as it was found.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"columns": [{"column": "received_on", "letter": "B"}], "date_orders": [{"column": "received_on", "order": "day_first"}]}))]
pub struct ChosenColumns {
    /// Which column holds what.
    #[garde(dive, length(max = 30))]
    #[serde(default)]
    #[schema(max_items = 30)]
    columns: Vec<ChosenColumn>,
    /// In which order days are written.
    #[garde(dive, length(max = 30))]
    #[serde(default)]
    #[schema(max_items = 30)]
    date_orders: Vec<ChosenOrder>,
    /// Whether nobody is missing from the list; null or left out leaves it as it was said before.
    #[garde(skip)]
    complete: Option<bool>,
}

/// Which column of the file holds this.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChosenColumn {
    /// What it holds.
    #[garde(skip)]
    column: ListColumn,
    /// Its letter, as a spreadsheet shows it; null says that no column holds this.
    #[garde(inner(length(chars, min = 1, max = 3)))]
    #[schema(min_length = 1, max_length = 3)]
    letter: Option<String>,
}

/// In which order the days of a column are written.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ChosenOrder {
    /// The column.
    #[garde(skip)]
    column: ListColumn,
    /// The order.
    #[garde(skip)]
    order: DateOrder,
}

/// Say which column of a list is which, in which order its days are written, and whether the list is complete.
///
/// The preview is made anew; decisions about its rows stay.
#[utoipa::path(tag = "intake", params(IntakePath), request_body = ChosenColumns, extensions(("x-permission" = json!(IntakesUpload::NAME))), responses((status = 200, description = "The list with its new preview.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/columns")]
pub async fn choose_columns(
    permit: Permit<IntakesUpload>,
    path: Path<IntakePath>,
    body: Json<ChosenColumns>,
) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let mut locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay().await?;
    let table = under_way(&mut tx, unit, &locked).await?;
    if let Some(complete) = body.0.complete {
        say_complete(&mut tx, &permit, &mut locked, complete).await?;
    }
    let mut choices = locked.0.choices.0.clone();
    apply_choices(&mut choices, body.0, &locked.0.kind)?;
    let resolutions = work::resolutions(&sql::rows::rows(&mut tx, unit, path.intake_id).await?);
    let made = work::make(&mut tx, unit, &locked.0, &table, &choices, &resolutions).await?;
    for (column, letter) in &choices.letters {
        let found = made.columns.columns.iter().any(|planned| planned.column == *column);
        if letter.is_some() && !found {
            let fault = FieldError::at(
                "/columns",
                "no_such_column",
                format!("a letter of a column of the file for {}", column.name()),
            );
            return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
        }
    }
    made.keep(&mut tx, unit, &locked, None, &choices).await?;
    finish(tx, &permit, path.intake_id, &locked).await
}

async fn say_complete(
    tx: &mut Tx,
    permit: &Permit<IntakesUpload>,
    locked: &mut sql::LockedIntake,
    complete: bool,
) -> Result<(), ApiError> {
    let kind = ListKind::from_name(&locked.0.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    may_be_complete(kind, complete).map_err(|expected| {
        ApiError::new(Code::Invalid).errors(vec![FieldError::at("/complete", "says_nothing", expected)])
    })?;
    sql::say_complete(tx, permit, locked, complete).await?;
    locked.0.complete = complete;
    Ok(())
}

/// The table of a list that is still under way.
pub(super) async fn under_way(
    tx: &mut Tx,
    unit: UnitId,
    locked: &sql::LockedIntake,
) -> Result<super::parse::ParsedTable, ApiError> {
    let open = matches!(locked.0.state.as_str(), "ready" | "needs_columns");
    let table = if open { sql::table(tx, unit, locked.0.intake_id).await? } else { None };
    table.ok_or_else(|| {
        let detail = match locked.0.state.as_str() {
            "needs_sheet" => "Say first which sheet of the workbook is the list (choose_sheet).",
            "reading" => "The list is still being read. Ask again in a second.",
            "unreadable" => "The list could not be read. Mend the file and upload it again.",
            "applied" => "The list was applied already. Upload a newer list to change something.",
            "reversed" => "The list was taken back. Upload it again if it is right after all.",
            _ => "The list was put away. Upload it again if it is needed after all.",
        };
        ApiError::new(Code::WrongState).detail(detail)
    })
}

fn apply_choices(choices: &mut ColumnChoices, chosen: ChosenColumns, kind: &str) -> Result<(), ApiError> {
    let kind = ListKind::from_name(kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let mut faults = Vec::new();
    let mut places = Vec::new();
    for (place, choice) in chosen.columns.into_iter().enumerate() {
        if kind.columns().contains(&choice.column) {
            places.push((place, choice.column));
            choices.letters.insert(choice.column, choice.letter.map(|letter| letter.to_ascii_uppercase()));
        } else {
            faults.push(FieldError::at(
                format!("/columns/{place}/column"),
                "not_of_this_kind",
                "a column of this kind of list",
            ));
        }
    }
    for (place, column) in places {
        if let Some(other) = holds_already(choices, column) {
            let expected = format!(
                "another column than that of {0}; or say first which column holds {0}, or null if none does",
                other.name()
            );
            faults.push(FieldError::at(format!("/columns/{place}/letter"), "column_taken", expected));
        }
    }
    for (place, choice) in chosen.date_orders.into_iter().enumerate() {
        if kind.columns().contains(&choice.column) && choice.column.is_date() {
            choices.date_orders.insert(choice.column, choice.order);
        } else {
            faults.push(FieldError::at(
                format!("/date_orders/{place}/column"),
                "not_a_date_column",
                "a date column of this kind of list",
            ));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}

/// What else was said to stand in the column that was chosen for this.
fn holds_already(choices: &ColumnChoices, column: ListColumn) -> Option<ListColumn> {
    let letter = choices.letters.get(&column)?.as_ref()?;
    let mut others = choices.letters.iter().filter(|(other, held)| **other != column && held.as_ref() == Some(letter));
    others.next().map(|(other, _)| *other)
}

/// What every change of a preview ends with.
pub(super) async fn finish(
    mut tx: Tx,
    permit: &Permit<IntakesUpload>,
    intake: IntakeId,
    locked: &sql::LockedIntake,
) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let log_seq = tx.seq().await?;
    sql::stamp(&mut tx, unit, locked, log_seq).await?;
    let shown = Intake::try_from(sql::find(&mut tx, unit, intake).await?)?;
    tx.about("intake", intake);
    tx.commit_with(Answer::new(&shown)?).await
}
