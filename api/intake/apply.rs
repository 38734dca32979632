//! Apply an uploaded list: exactly the preview that a person has seen, once.

use std::collections::BTreeMap;

use actix_web::post;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::changes::{Resolution, RowState};
use super::choose_columns::under_way;
use super::find::IntakePath;
use super::kinds::ListKind;
use super::make_changes::make_changes;
use super::shown::{Intake, IntakeRow};
use super::sql::decisions::{self, NewDecision};
use super::sql::rows::{self, RowRecord};
use super::sql::{self, LockedIntake, lists};
use super::waiting_reasons::why;
use super::work::{self, Made};
use crate::auth::permission::{IntakesApply, Permission as _};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::{etag, is_version};
use crate::common::ids::{IntakeId, PersonId, SeasonId};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;

/// Which preview is applied.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"preview": "\"v2\""}))]
pub struct PreviewToApply {
    /// The `etag` of the list as you saw it: this preview is applied and no other.
    #[garde(length(min = 1, max = 30))]
    #[schema(min_length = 1, max_length = 30)]
    preview: String,
    /// The second confirmation of a list that touches much of the roster: how many people and troops together, as the 409
    /// has named them. Left out otherwise.
    #[garde(skip)]
    confirm_touched: Option<u32>,
    /// The second confirmation of a list of which hardly anything is known here: the number of its unfamiliar rows, as the
    /// 409 has named it. Left out otherwise.
    #[garde(skip)]
    confirm_unfamiliar: Option<u32>,
}

/// The most rows that an answer names.
const ROWS_NAMED: usize = 100;

/// Apply a list: its changes are made all at once, or none of them.
///
/// Only the preview that you name is applied. If the roster, the policy or the list itself has changed since, the answer
/// is 409 and names the rows that would now do something else; look at the new preview, then apply that one.
#[utoipa::path(tag = "intake", params(IntakePath), request_body = PreviewToApply, extensions(("x-permission" = json!(IntakesApply::NAME))), responses((status = 200, description = "The list, applied.", body = Intake), Problems))]
#[post("/v1/units/{unit_id}/intakes/{intake_id}/apply")]
pub async fn apply_intake(
    permit: Permit<IntakesApply>,
    path: Path<IntakePath>,
    body: Json<PreviewToApply>,
) -> Result<Answer<Intake>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let found = sql::find(&mut tx, unit, path.intake_id).await?;
    let season = seasons::hold(&mut tx, unit, SeasonId(found.season_id)).await?;
    let touched = Touched::season(season.season_id);
    // Every troop of the season: two lists that are applied at once then see each other's changes.
    change::hold(&mut tx, unit, &touched).await?;
    let locked = sql::lock(&mut tx, &permit, path.intake_id).await?;
    tx.replay_required().await?;
    season.open()?;
    let table = under_way(&mut tx, unit, &locked).await?;
    let kept = rows::rows(&mut tx, unit, path.intake_id).await?;
    if !is_version(&body.0.preview) {
        let expected = "the etag as it was given, with its quotation marks: \"v7\"";
        return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/preview", "not_a_version", expected)]));
    }
    if body.0.preview != etag(locked.0.version) {
        return Err(stale(locked.0.version, &[]));
    }
    may_apply(&locked, &kept)?;
    let choices = locked.0.choices.0.clone();
    let made = work::make(&mut tx, unit, &locked.0, &table, &choices, &work::resolutions(&kept)).await?;
    let mut changed = differing(&kept, &made.shown);
    if changed.is_empty() && locked.0.absences.0 != made.absences {
        changed.push(0);
    }
    if !changed.is_empty() {
        let version = made.keep(&mut tx, unit, &locked, None, &choices).await?;
        // The new preview is derived, so it is no change of anybody's data; the next look finds it.
        tx.commit_unlogged().await?;
        return Err(stale(version, &changed));
    }
    is_ours(&made, body.0.confirm_unfamiliar)?;
    brake(&made, body.0.confirm_touched)?;
    let log_seq = tx.seq().await?;
    let (made_by_list, new_people) = make_changes(&mut tx, &permit, &locked, &made).await?;
    let kind = ListKind::from_name(&locked.0.kind).ok_or_else(|| ApiError::broken("a list of no known kind"))?;
    let decided = (work::today(&tx, &season), log_seq);
    remember(&mut tx, &permit, (kind, path.intake_id), &made, &new_people, decided).await?;
    sql::apply(&mut tx, &permit, &locked, &made_by_list, log_seq).await?;
    if !choices.letters.is_empty() || !choices.date_orders.is_empty() {
        let memory = work::memory(&mut tx, unit, kind).await?.and(&table, &choices, &made.columns);
        lists::remember(&mut tx, &permit, kind.name(), &memory, log_seq).await?;
    }
    change::refresh(&mut tx, unit, &touched).await?;
    let intake = Intake::try_from(sql::find(&mut tx, unit, path.intake_id).await?)?;
    tx.about("intake", path.intake_id);
    tx.commit_with(Answer::new(&intake)?).await
}

/// Keeps what people decided about rows, for the next list of the kind. Who was new is known from now on.
async fn remember(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    list: (ListKind, IntakeId),
    made: &Made,
    new_people: &BTreeMap<u32, PersonId>,
    (decided_on, log_seq): (NaiveDate, i64),
) -> Result<(), ApiError> {
    let taken_for: BTreeMap<u32, &RowState> =
        made.preview.rows.iter().map(|row| (row.row_number, &row.state)).collect();
    for (identity, decision) in &made.to_remember {
        let known = decision.as_ref().and_then(|(row, resolution, before)| match resolution {
            Resolution::NewPerson | Resolution::SameAsRow { .. } => {
                let person_id = match taken_for.get(row)? {
                    RowState::NewPerson(first_row) => *new_people.get(first_row)?,
                    RowState::Person(person_id) => *person_id,
                    _ => return None,
                };
                Some((Resolution::Person { person_id, holds: false }, before))
            }
            resolution => Some((*resolution, before)),
        });
        match known {
            Some((resolution, before)) => {
                let new = NewDecision { identity, before, resolution };
                decisions::keep(tx, by, list, &new, (decided_on, log_seq)).await?;
            }
            None => decisions::forget(tx, by, list.0, identity).await?,
        }
    }
    Ok(())
}

fn may_apply(locked: &LockedIntake, rows: &[RowRecord]) -> Result<(), ApiError> {
    if locked.0.state == "needs_columns" {
        let detail = "First say which columns are meant, or in which order their days are written (choose_columns).";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let waiting: Vec<FieldError> = rows
        .iter()
        .filter(|row| row.preview.0.needs_a_person)
        .take(ROWS_NAMED)
        .map(|row| FieldError::matter("waits_for_a_person", why(&row.preview.0)))
        .collect();
    if waiting.is_empty() { Ok(()) } else { Err(ApiError::new(Code::RowsUnresolved).errors(waiting)) }
}

/// A list of which hardly anything is known here may be another unit's: it is confirmed by its own figure.
fn is_ours(made: &Made, confirmed: Option<u32>) -> Result<(), ApiError> {
    let unknown = made.preview.unfamiliar_rows;
    if unknown == 0 || confirmed == Some(unknown) {
        return Ok(());
    }
    let figures = format!(
        "{unknown} of its rows name nobody and no troop of this unit. Send \"confirm_unfamiliar\": {unknown} with the same preview if the list is this unit's all the same"
    );
    Err(ApiError::new(Code::UnfamiliarList).errors(vec![FieldError::at(
        "/confirm_unfamiliar",
        "confirm_again",
        figures,
    )]))
}

/// The brake: a list that says something else than was known about much of the roster is confirmed a second time, by the
/// figure itself, so that no script confirms what nobody has seen.
fn brake(made: &Made, confirmed: Option<u32>) -> Result<(), ApiError> {
    let touched = made.preview.touched;
    let share = made.policy.intake.mass_change_percent;
    let all = touched.people.saturating_add(touched.troops);
    if !touched.brakes(share) || confirmed == Some(all) {
        return Ok(());
    }
    let figures = format!(
        "{} of {} people and {} of {} troops are touched, {} of them by not being on this complete list; the policy lets {share} % pass. Send \"confirm_touched\": {all} with the same preview if that is right",
        touched.people,
        touched.of_people,
        touched.troops,
        touched.of_troops,
        made.absences.len()
    );
    Err(ApiError::new(Code::MassChange).errors(vec![FieldError::at("/confirm_touched", "confirm_again", figures)]))
}

pub(super) fn stale(version: i64, changed: &[u32]) -> ApiError {
    let named = changed.iter().take(ROWS_NAMED);
    let errors = named.map(|row| match row {
        0 => FieldError::matter("absences_changed", "others than you saw are now missing from this complete list"),
        row => FieldError::matter("row_changed", format!("row {row} would now do something else than you saw")),
    });
    ApiError::new(Code::PreviewStale).errors(errors.collect()).header("etag", etag(version))
}

/// The rows of which the preview that is kept says something else than the one just made.
fn differing(kept: &[RowRecord], made: &[IntakeRow]) -> Vec<u32> {
    let kept: BTreeMap<u32, &IntakeRow> = kept.iter().map(|row| (row.preview.0.row_number, &row.preview.0)).collect();
    let mut rows: Vec<u32> =
        made.iter().filter(|row| kept.get(&row.row_number) != Some(row)).map(|row| row.row_number).collect();
    rows.extend(kept.keys().filter(|number| !made.iter().any(|row| row.row_number == **number)));
    rows.sort_unstable();
    rows
}
