//! The waivers of a season.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::ExceptionState;
use super::waive_requirement::Waiver;
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, WaiversRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, SeasonId, TroopId, WaiverId};
use crate::common::page;
use crate::common::since::{Since, asked};
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::list::StandingsPath;
use crate::standings::sql::exceptions;

/// Which waivers.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct WaiversQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only those in this state; repeat it for several.
    #[garde(length(max = 4))]
    #[serde(default)]
    #[param(max_items = 4)]
    state: Vec<ExceptionState>,
    /// Only those of this coordinator.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
    /// Only those of this troop's own requirements.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// Only those of this requirement.
    #[garde(length(min = 1, max = 40))]
    #[param(min_length = 1, max_length = 40)]
    requirement: Option<String>,
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
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

crate::page!(
    /// Waivers, in the order in which they were asked for.
    WaiverPage of Waiver, since
);

/// List the waivers of a season: what waits for a second person, is in force, is over or was taken back.
#[utoipa::path(tag = "standings", params(StandingsPath, WaiversQuery), extensions(("x-permission" = json!(WaiversRead::NAME))), responses((status = 200, description = "The waivers.", body = WaiverPage), Problems))]
#[get("/v1/units/{unit_id}/waivers")]
pub async fn list_waivers(
    permit: Permit<WaiversRead>,
    request: HttpRequest,
    _path: Path<StandingsPath>,
    query: Query<WaiversQuery>,
) -> Result<Answer<WaiverPage>, ApiError> {
    let WaiversQuery { season, state: states, person, troop, requirement, updated_since, limit, cursor } = query.0;
    let filters = ("waivers", season, &states, person, troop, &requirement, updated_since);
    let after: Option<(i64, WaiverId)> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let at = tx.now();
    let rows = exceptions::waivers(&mut tx, unit, season.season_id).await?;
    let mut items: Vec<Waiver> = rows
        .into_iter()
        .filter(|row| asked(updated_since, row.log_seq))
        .map(|row| Waiver::new(row, &calendar, at))
        .filter(|one| states.is_empty() || states.contains(&one.state))
        .filter(|one| person.is_none_or(|person| one.person_id == Some(person)))
        .filter(|one| troop.is_none_or(|troop| one.troop_id == Some(troop)))
        .filter(|one| requirement.as_ref().is_none_or(|code| one.requirement == *code))
        .filter(|one| after.is_none_or(|after| place(one) > after))
        .collect();
    items.sort_by_key(place);
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|last| page::encode(&place(last), &filters)).transpose()?;
    let page = WaiverPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}

fn place(one: &Waiver) -> (i64, WaiverId) {
    (one.asked_at.timestamp_micros(), one.waiver_id)
}
