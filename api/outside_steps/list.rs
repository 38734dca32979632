//! What must be repeated in head office's system, and whether it was.

use std::collections::BTreeMap;

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::rules::Due;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{OutsideStepsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::common::page;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::seasons::policy::OutsideEvent;
use crate::standings;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct OutsideStepsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which steps.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct OutsideStepsQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// True: only what was done; false: only what is still to be done.
    #[garde(skip)]
    done: Option<bool>,
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

/// A step after an event.
#[derive(Debug, Serialize, ToSchema)]
pub struct OutsideStepDue {
    /// The step's code in the policy.
    #[schema(max_length = 40)]
    pub step: String,
    /// What is to be done.
    #[schema(max_length = 120)]
    pub title: String,
    /// What happened.
    pub event: OutsideEvent,
    /// The decision, the filed return, or the regrouping of troops: with `step` it is what is ticked.
    #[schema(value_type = uuid::Uuid)]
    pub event_id: Uuid,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// The troop it is about; null for a return.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// The troop's number; null for a return.
    #[schema(required = true, max_length = 20)]
    pub number: Option<String>,
    /// The coordinator it is about; null where it is about none.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// When it was ticked; null while it is still to be done.
    #[schema(required = true)]
    pub done_at: Option<DateTime<Utc>>,
    /// Who ticked it, as in the log; null while it is still to be done.
    #[schema(required = true, max_length = 80)]
    pub done_by: Option<String>,
}

impl OutsideStepDue {
    pub(super) fn new(due: &Due<'_>, numbers: &BTreeMap<TroopId, String>) -> Self {
        let troop_id = due.after.troop_id.map(TroopId);
        Self {
            step: due.step.code.clone(),
            title: due.step.title.clone(),
            event: due.step.event,
            event_id: due.after.event_id,
            happened_at: due.after.at,
            troop_id,
            number: troop_id.and_then(|troop| numbers.get(&troop).cloned()),
            person_id: due.after.person_id.map(PersonId),
            done_at: due.done.map(|(_, at)| *at),
            done_by: due.done.map(|(who, _)| who.clone()),
        }
    }
}

crate::page!(
    /// Steps after events, in the order in which they happened.
    OutsideStepPage of OutsideStepDue
);

/// List what the policy wants repeated in head office's system after each event, and whether it was done there.
#[utoipa::path(tag = "outside_steps", params(OutsideStepsPath, OutsideStepsQuery), extensions(("x-permission" = json!(OutsideStepsRead::NAME))), responses((status = 200, description = "The steps.", body = OutsideStepPage), Problems))]
#[get("/v1/units/{unit_id}/outside-steps")]
pub async fn list_outside_steps(
    permit: Permit<OutsideStepsRead>,
    request: HttpRequest,
    _path: Path<OutsideStepsPath>,
    query: Query<OutsideStepsQuery>,
) -> Result<Answer<OutsideStepPage>, ApiError> {
    let OutsideStepsQuery { season, done, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("outside_steps", season, done);
    let after: Option<(DateTime<Utc>, Uuid, String)> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let season = seasons::resolve(&mut tx, unit, season).await?.season_id;
    let book = sql::book(&mut tx, unit, season).await?;
    let numbers = standings::troop_numbers(&mut tx, unit, season).await?;
    let key = |due: &OutsideStepDue| (due.happened_at, due.event_id, due.step.clone());
    let due = book.due();
    let wanted = due.iter().filter(|due| done.is_none_or(|done| due.done.is_some() == done));
    let mut items: Vec<OutsideStepDue> = wanted.map(|due| OutsideStepDue::new(due, &numbers)).collect();
    items.sort_by_key(key);
    items.retain(|due| after.as_ref().is_none_or(|after| key(due) > *after));
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|due| page::encode(&key(due), &filters)).transpose()?;
    let page = OutsideStepPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
