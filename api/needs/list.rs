//! The work queue.

use std::collections::BTreeMap;

use actix_web::{HttpRequest, get};
use chrono::{DateTime, TimeDelta, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::rules::{self, Place};
use super::shown::{NeedPerson, NeedTroop, SettlingRequest, ShownNeed};
use crate::auth::permission::{NeedsRead, PeopleRead, Permission as _, ScreeningsRead};
use crate::auth::{Permit, Scope, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::common::page;
use crate::error::{ApiError, Problems};
use crate::need::{Asked, Need, OutWithTroop, Request, Stake};
use crate::seasons;
use crate::standings::rules::TroopState;
use crate::standings::{self, TroopThen};

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct NeedsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which items.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct NeedsQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// How many days ahead it looks for what will lapse or is due.
    #[garde(range(max = 366))]
    #[serde(default = "six_weeks")]
    #[param(minimum = 0, maximum = 366, default = 42)]
    days_ahead: u16,
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

const fn six_weeks() -> u16 {
    42
}

/// A page of what needs a person now.
#[derive(Debug, Serialize, ToSchema)]
pub struct NeedPage {
    /// The season.
    pub season_id: SeasonId,
    /// The instant at which this stands. It does not count for the `ETag`.
    pub stands_at: DateTime<Utc>,
    /// How many items there are in all.
    #[schema(minimum = 0, maximum = 100_000)]
    pub total: usize,
    /// The items of this page, the most pressing first.
    #[schema(max_items = 200)]
    pub items: Vec<ShownNeed>,
    /// Send it as `cursor` to get the next page; null on the last one.
    #[schema(required = true, max_length = 1000)]
    pub next_cursor: Option<String>,
}

/// List what needs a person now, what matters most first: what, why, by when, what is at stake, and what settles it.
///
/// Lists that wait, coordinators to confirm, appoint or find, lapses ahead, the season return. Sorted by how pressing it
/// is, then by its day, then by how many troops it touches. An item is gone when its cause is; nothing has to be ticked off.
#[utoipa::path(tag = "needs", params(NeedsPath, NeedsQuery), extensions(("x-permission" = json!(NeedsRead::NAME))), responses((status = 200, description = "What needs a person now.", body = NeedPage), Problems))]
#[get("/v1/units/{unit_id}/needs")]
pub async fn list_needs(
    permit: Permit<NeedsRead>,
    request: HttpRequest,
    _path: Path<NeedsPath>,
    query: Query<NeedsQuery>,
) -> Result<Answer<NeedPage>, ApiError> {
    let NeedsQuery { season, days_ahead, limit, cursor } = query.0;
    let filters = ("needs", season, days_ahead);
    let after: Option<Place> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let calendar = seasons::calendar_of(&mut tx, unit, &season).await?;
    let now = tx.now();
    let ahead_until = now.checked_add_signed(TimeDelta::days(i64::from(days_ahead))).unwrap_or(now);
    let sees_screenings = permit.holds::<ScreeningsRead>();
    let asked = Asked { unit, season, calendar, now, sees_screenings, ahead_until };
    let mut found = Vec::new();
    for look in crate::FEATURES.iter().filter_map(|feature| feature.needs) {
        found.extend(look(&mut tx, &asked).await?);
    }
    let mut out = Vec::new();
    for look in crate::FEATURES.iter().filter_map(|feature| feature.out) {
        out.extend(look(&mut tx, &asked).await?);
    }
    let mut placed = place(&mut tx, &asked, found, out).await?;
    let total = placed.len();
    placed.retain(|(place, _)| after.as_ref().is_none_or(|after| place > after));
    let more = page::cut(&mut placed, limit);
    let last = placed.last().filter(|_| more);
    let next_cursor = last.map(|(place, _)| page::encode(place, &filters)).transpose()?;
    let items = show(&mut tx, &permit, now, placed.into_iter().map(|(_, need)| need).collect()).await?;
    let page = NeedPage { season_id: asked.season.season_id, stands_at: now, total, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["stands_at"]).next_page(&request, page.next_cursor.as_deref()))
}

/// A need with its troops by number.
type Numbered = (Need, Vec<NeedTroop>);

/// Puts the needs in order, each with its troops' numbers and with what hangs on a troop's vacancy.
async fn place(
    tx: &mut Tx,
    asked: &Asked,
    found: Vec<Need>,
    out: Vec<OutWithTroop>,
) -> Result<Vec<(Place, Numbered)>, ApiError> {
    let then = standings::all(tx, asked.unit, &asked.season, None, &Scope::Unit).await?;
    let troops: BTreeMap<TroopId, TroopThen> = then.troops.into_iter().map(|troop| (troop.troop_id, troop)).collect();
    let vacant = |troop: TroopId| troops.get(&troop).is_some_and(|troop| troop.standing.state == TroopState::Vacant);
    let mut placed: Vec<(Place, Numbered)> = found
        .into_iter()
        .chain(rules::alarms(out, vacant))
        .map(|mut need| {
            if need.stake == Stake::Vacancy {
                let troop = need.troops.first().and_then(|troop| troops.get(troop));
                (need.stake, need.by_at) = vacancy(troop);
            }
            let numbers = need
                .troops
                .iter()
                .filter_map(|id| troops.get(id))
                .map(|troop| NeedTroop { troop_id: troop.troop_id, number: troop.number.clone() });
            let numbers: Vec<NeedTroop> = numbers.collect();
            let level = rules::level(&need.stake, need.by_at, asked.now);
            let by = need.by_at.unwrap_or(DateTime::<Utc>::MAX_UTC);
            let place = (rules::rank(level), by, std::cmp::Reverse(need.troops.len()), name(&need));
            (place, (need, numbers))
        })
        .collect();
    placed.sort_by(|a, b| a.0.cmp(&b.0));
    Ok(placed)
}

fn name(need: &Need) -> String {
    format!("{}:{}", need.kind.name(), need.key)
}

/// What hangs on finding a coordinator for a troop: nothing where it has one.
fn vacancy(troop: Option<&TroopThen>) -> (Stake, Option<DateTime<Utc>>) {
    let step = troop.filter(|troop| troop.standing.state == TroopState::Vacant);
    let Some((troop, step)) = step.and_then(|troop| Some((troop, troop.standing.next_step.as_ref()?))) else {
        return (Stake::Nobody, None);
    };
    let shut = troop.standing.gates.iter().filter(|gate| !gate.open && step.blocks.contains(&gate.gate));
    let shut = shut.map(|gate| gate.gate).collect();
    (Stake::Gates { shut, ahead: step.by.is_some() }, step.by.as_ref().map(|by| by.at))
}

/// The items of a page as this reader may see them.
async fn show(
    tx: &mut Tx,
    permit: &Permit<NeedsRead>,
    now: DateTime<Utc>,
    page: Vec<Numbered>,
) -> Result<Vec<ShownNeed>, ApiError> {
    let mut names: BTreeMap<PersonId, String> = BTreeMap::new();
    if permit.holds::<PeopleRead>() {
        let people: Vec<PersonId> = page.iter().filter_map(|(need, _)| need.person).collect();
        names.extend(standings::names(tx, permit.unit()?, &people).await?);
    }
    Ok(page.into_iter().map(|(need, troops)| shown(permit, now, &names, need, troops)).collect())
}

fn shown(
    permit: &Permit<NeedsRead>,
    now: DateTime<Utc>,
    names: &BTreeMap<PersonId, String>,
    need: Need,
    troops: Vec<NeedTroop>,
) -> ShownNeed {
    let person = need.person.and_then(|person_id| {
        let name = names.get(&person_id)?.clone();
        Some(NeedPerson { person_id, name })
    });
    let numbers: Vec<&str> = troops.iter().map(|troop| troop.number.as_str()).collect();
    let who = match (&person, need.person) {
        (Some(person), _) => person.name.as_str(),
        (None, Some(_)) => "the coordinator",
        (None, None) => "the troop",
    };
    let settle = need.settle.iter().cloned().map(|request| settling(permit, request)).collect();
    ShownNeed {
        need_id: name(&need),
        kind: need.kind,
        what: rules::said(&need.what, who, &numbers),
        why: rules::said(&need.why, who, &numbers),
        since_at: need.since_at,
        by_at: need.by_at,
        at_stake: rules::at_stake(&need.stake, need.by_at, now),
        look: need.look,
        settle,
        troops,
        person,
    }
}

fn settling(permit: &Permit<NeedsRead>, request: Request) -> SettlingRequest {
    let Request { method, path, body, fill_in, permission } = request;
    SettlingRequest { method, path, body, fill_in, permission, you_may: permit.actor().may(permission) }
}
