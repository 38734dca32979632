//! The troops of a unit.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::find_troop::Troop;
use super::rules::number_key;
use super::sql::troops::{self, TroopRow, Wanted};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, TroopsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::common::names::NameSearch;
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};
use crate::seasons;

/// Which unit's roster.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct RosterPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which troops.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TroopsQuery {
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// The troop with this number; leading zeros and spaces do not matter. Also one that went into another troop.
    #[garde(length(chars, min = 1, max = 20))]
    #[param(min_length = 1, max_length = 20)]
    number: Option<String>,
    /// Troops whose number or name has these words or their beginnings. Accents, letter case and leading zeros do not
    /// matter.
    #[garde(length(chars, min = 1, max = 120))]
    #[param(min_length = 1, max_length = 120)]
    search: Option<String>,
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
    /// Troops, by number.
    TroopPage of Troop, since
);

/// List the troops that you may see, by number.
///
/// A troop that went into another one in the season is left out, unless it is asked for by its number, or by
/// what changed.
#[utoipa::path(tag = "roster", params(RosterPath, TroopsQuery), extensions(("x-permission" = json!(TroopsRead::NAME))), responses((status = 200, description = "The troops.", body = TroopPage), Problems))]
#[get("/v1/units/{unit_id}/troops")]
pub async fn list_troops(
    permit: Permit<TroopsRead>,
    request: HttpRequest,
    _path: Path<RosterPath>,
    query: Query<TroopsQuery>,
) -> Result<Answer<TroopPage>, ApiError> {
    let TroopsQuery { season, number, search, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("troops", unit, season, &number, &search, updated_since);
    let after: Option<TroopId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?.season_id;
    let number_key = number.as_deref().map(number_key);
    let wanted = Wanted {
        season,
        number_key: number_key.as_deref(),
        merged: number.is_some() || updated_since.is_some(),
        since: updated_since.map(Since::seq),
        after,
        limit: search.is_none().then(|| i64::from(limit) + 1),
    };
    let mut rows = troops::list(&mut tx, unit, permit.read_scope(), wanted).await?;
    if let Some(search) = &search {
        rows.retain(|row| found(search, row));
    }
    let more = page::cut(&mut rows, limit);
    let items: Vec<Troop> = rows.into_iter().map(|row| Troop::shown(row, season, permit.actor())).collect();
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.troop_id, &filters)).transpose()?;
    let page = TroopPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}

/// Whether what was typed is in a troop's number, written anyhow, or in its name.
fn found(typed: &str, row: &TroopRow) -> bool {
    let key = number_key(typed);
    NameSearch::new(typed).finds(&format!("{} {}", row.number, row.name))
        || (!key.is_empty() && number_key(&row.number).starts_with(&key))
}
