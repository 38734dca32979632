//! Which troops became one in a season, and which were split.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::list_troops::RosterPath;
use super::regrouping::Regrouping;
use super::sql::regrouping as sql;
use crate::auth::Permit;
use crate::auth::permission::{PeopleRead, Permission as _, TroopsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{RegroupingId, SeasonId, TroopId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};
use crate::seasons;

/// Which regroupings.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct RegroupingsQuery {
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only those that this troop had a part in.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
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
    /// Regroupings, the first one first.
    RegroupingPage of Regrouping, since
);

/// List which troops of a season became one, and which were split, the first one first.
///
/// A reader of some troops sees those of which both troops are among them.
#[utoipa::path(tag = "roster", params(RosterPath, RegroupingsQuery), extensions(("x-permission" = json!(TroopsRead::NAME))), responses((status = 200, description = "The regroupings.", body = RegroupingPage), Problems))]
#[get("/v1/units/{unit_id}/regroupings")]
pub async fn list_regroupings(
    permit: Permit<TroopsRead>,
    request: HttpRequest,
    _path: Path<RosterPath>,
    query: Query<RegroupingsQuery>,
) -> Result<Answer<RegroupingPage>, ApiError> {
    let RegroupingsQuery { season, troop, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("regroupings", unit, season, troop, updated_since);
    let after: Option<RegroupingId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?.season_id;
    let bounds = (after, i64::from(limit) + 1);
    let mut rows =
        sql::list(&mut tx, unit, permit.read_scope(), (season, troop, updated_since.map(Since::seq)), bounds).await?;
    let more = page::cut(&mut rows, limit);
    // A reason is somebody's words about people.
    let people = permit.actor().scope::<PeopleRead>();
    let items = rows.into_iter().map(|mut row| {
        let sees = people.reaches(TroopId(row.from_troop_id)) && people.reaches(TroopId(row.to_troop_id));
        row.reason = row.reason.filter(|_| sees);
        Regrouping::from(row)
    });
    let items: Vec<Regrouping> = items.collect();
    let next_cursor =
        items.last().filter(|_| more).map(|row| page::encode(&row.regrouping_id, &filters)).transpose()?;
    let page = RegroupingPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
