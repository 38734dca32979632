//! Say that steps were done in head office's system, or that they were not after all.

use std::collections::BTreeSet;

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::list::{OutsideStepDue, OutsideStepsPath};
use super::rules::Book;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{OutsideStepsTick, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::{seasons, standings};

/// What was done, or was not after all.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"steps": [{"step": "enter_appointment", "event_id": "0198c0de-0000-7000-8000-000000000901"}], "done": true}))]
pub struct OutsideTicks {
    /// Which steps, after which events, as `list_outside_steps` tells them.
    #[garde(dive, length(min = 1, max = 200))]
    #[schema(min_items = 1, max_items = 200)]
    steps: Vec<OutsideTick>,
    /// True: they were done there; false: they were ticked by mistake.
    #[garde(skip)]
    done: bool,
}

/// A step after an event.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OutsideTick {
    /// The step's code in the policy.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    step: String,
    /// The decision, or the filed return.
    #[garde(skip)]
    #[schema(value_type = uuid::Uuid)]
    event_id: Uuid,
}

/// The steps as they stand now.
#[derive(Debug, Serialize, ToSchema)]
pub struct TickedSteps {
    /// In the order in which they were sent.
    #[schema(min_items = 1, max_items = 200)]
    pub steps: Vec<OutsideStepDue>,
}

/// Say that steps were done in head office's system, or that a tick was a mistake. All of them, or none.
#[utoipa::path(tag = "outside_steps", params(OutsideStepsPath), request_body = OutsideTicks, extensions(("x-permission" = json!(OutsideStepsTick::NAME))), responses((status = 200, description = "The steps as they stand now.", body = TickedSteps), Problems))]
#[post("/v1/units/{unit_id}/outside-steps/tick")]
pub async fn tick_outside_steps(
    permit: Permit<OutsideStepsTick>,
    _path: Path<OutsideStepsPath>,
    body: Json<OutsideTicks>,
) -> Result<Answer<TickedSteps>, ApiError> {
    let OutsideTicks { steps, done } = body.0;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    tx.replay().await?;
    season.open()?;
    // The head of the log is taken before what is there is looked at: two who tick at once come one after the other.
    let log_seq = tx.seq().await?;
    let mut book = sql::book(&mut tx, unit, season.season_id).await?;
    let faults = faults(&book, &steps, done);
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    for tick in &steps {
        let which = (tick.event_id, tick.step.as_str());
        let key = (tick.event_id, tick.step.clone());
        if done {
            sql::insert(&mut tx, &permit, season.season_id, which, log_seq).await?;
            book.ticks.insert(key, (tx.actor().to_owned(), tx.logged_at()));
        } else {
            sql::delete(&mut tx, &permit, which).await?;
            book.ticks.remove(&key);
        }
        tx.about("outside_step", format_args!("{}:{}", tick.step, tick.event_id));
    }
    let numbers = standings::troop_numbers(&mut tx, unit, season.season_id).await?;
    let due = steps.iter().filter_map(|tick| book.find(tick.event_id, &tick.step));
    let steps = due.map(|due| OutsideStepDue::new(&due, &numbers)).collect();
    tx.commit_with(Answer::new(&TickedSteps { steps })?).await
}

/// What is wrong with each of the steps that were sent.
fn faults(book: &Book, steps: &[OutsideTick], done: bool) -> Vec<FieldError> {
    let mut faults = Vec::new();
    let mut seen = BTreeSet::new();
    for (place, tick) in steps.iter().enumerate() {
        let (code, expected) = match book.find(tick.event_id, &tick.step) {
            None => ("unknown", "a step and an event as list_outside_steps tells them"),
            Some(_) if !seen.insert((tick.event_id, &tick.step)) => ("twice", "each step once"),
            Some(due) if due.done.is_some() && done => ("done_already", "a step that is still to be done"),
            Some(due) if due.done.is_none() && !done => ("not_done", "a step that was ticked"),
            Some(_) => continue,
        };
        faults.push(FieldError::at(format!("/steps/{place}"), code, expected));
    }
    faults
}
