//! Where the troops stand.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::read::{self, TroopThen};
use super::rules::{Step, TroopState};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, StandingsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::common::page;
use crate::common::since::{Since, asked};
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::seasons::policy::GateName;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct StandingsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which standings.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StandingsQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only troops in this state; repeat it for several.
    #[garde(length(max = 7))]
    #[serde(default)]
    #[param(max_items = 7)]
    state: Vec<TroopState>,
    /// Only troops whose number or name contains this text.
    #[garde(length(chars, min = 1, max = 80))]
    #[param(min_length = 1, max_length = 80)]
    troop: Option<String>,
    /// As it stood at this past instant, by what was known then.
    #[garde(skip)]
    as_of: Option<DateTime<Utc>>,
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

/// Where one troop stands, in a line.
#[derive(Debug, Serialize, ToSchema)]
pub struct StandingLine {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// The state.
    pub state: TroopState,
    /// How many requirements are open: the troop's own and those of its counted coordinators.
    #[schema(minimum = 0, maximum = 10000)]
    pub open_requirements: usize,
    /// The one thing to do next; null when nothing is to be done, or you may not see it.
    #[schema(required = true)]
    pub next_step: Option<Step>,
    /// Every gate, open or closed.
    #[schema(max_items = 3)]
    pub gates: Vec<GateLine>,
    /// When this changes by itself; null when it never does.
    #[schema(required = true)]
    pub changes_at: Option<DateTime<Utc>>,
    /// The number of the unit's log at which this last changed.
    pub log_seq: i64,
}

/// One gate, in a word.
#[derive(Debug, Serialize, ToSchema)]
pub struct GateLine {
    /// The gate.
    pub gate: GateName,
    /// Whether it is open.
    pub open: bool,
}

/// How many troops are in a state.
#[derive(Debug, Serialize, ToSchema)]
pub struct StateCount {
    /// The state.
    pub state: TroopState,
    /// How many.
    #[schema(minimum = 0, maximum = 10000)]
    pub troops: usize,
}

/// A page of standings.
#[derive(Debug, Serialize, ToSchema)]
pub struct StandingPage {
    /// The season.
    pub season_id: SeasonId,
    /// The instant at which this stands. These are the unit's own books: head office's figures prevail until reconciled.
    pub stands_at: DateTime<Utc>,
    /// How far the unit's log had come: send it as `updated_since` next time.
    pub log_seq: i64,
    /// Every state with how many troops are in it, whatever `state` asks for.
    #[schema(min_items = 7, max_items = 7)]
    pub counts: Vec<StateCount>,
    /// The rows of this page, by number.
    #[schema(max_items = 200)]
    pub items: Vec<StandingLine>,
    /// Send it as `cursor` to get the next page; null on the last one.
    #[schema(required = true, max_length = 1000)]
    pub next_cursor: Option<String>,
}

/// List where each troop stands, with the next step of each and how many are in which state.
///
/// True at the instant it is asked for: what has run out a second ago reads as run out. A troop coordinator sees the own
/// troops; a viewer sees states and gates.
#[utoipa::path(tag = "standings", params(StandingsPath, StandingsQuery), extensions(("x-permission" = json!(StandingsRead::NAME))), responses((status = 200, description = "A page of standings.", body = StandingPage), Problems))]
#[get("/v1/units/{unit_id}/standings")]
pub async fn list_standings(
    permit: Permit<StandingsRead>,
    request: HttpRequest,
    _path: Path<StandingsPath>,
    query: Query<StandingsQuery>,
) -> Result<Answer<StandingPage>, ApiError> {
    let StandingsQuery { season, state: states, troop: text, as_of, updated_since, limit, cursor } = query.0;
    let filters = ("standings", season, &states, &text, as_of, updated_since);
    let after: Option<(usize, String, TroopId)> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let then = read::all(&mut tx, unit, &season, as_of, permit.scope()).await?;
    let found = then.troops.into_iter().filter(|troop| text.as_ref().is_none_or(|text| contains(troop, text)));
    let found: Vec<TroopThen> = found.collect();
    let counts = TroopState::ALL.map(|state| {
        let troops = found.iter().filter(|troop| troop.standing.state == state).count();
        StateCount { state, troops }
    });
    let mut rows: Vec<TroopThen> = found
        .into_iter()
        .filter(|troop| states.is_empty() || states.contains(&troop.standing.state))
        .filter(|troop| asked(updated_since, troop.log_seq))
        .filter(|troop| after.as_ref().is_none_or(|(length, key, id)| read::sort_key(troop) > (*length, &**key, *id)))
        .collect();
    let more = page::cut(&mut rows, limit);
    let last = rows.last().filter(|_| more).map(read::sort_key);
    let next_cursor = last.map(|key| page::encode(&key, &filters)).transpose()?;
    read::as_known_now(&mut tx, &permit, (&season, as_of), &mut rows).await?;
    let items = rows.into_iter().map(|troop| line(&permit, troop)).collect();
    let season_id = season.season_id;
    let counts = counts.into();
    let page = StandingPage { season_id, stands_at: then.at, log_seq: then.seq, counts, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["stands_at"]).next_page(&request, page.next_cursor.as_deref()))
}

/// Whether number or name contain a text, whatever its case.
fn contains(troop: &TroopThen, text: &str) -> bool {
    let text = text.trim().to_lowercase();
    troop.number.to_lowercase().contains(&text) || troop.name.to_lowercase().contains(&text)
}

fn line(permit: &Permit<StandingsRead>, troop: TroopThen) -> StandingLine {
    let counted = troop.standing.coordinators.iter().filter(|one| one.counted).flat_map(|one| &one.requirements);
    let open = counted.chain(&troop.standing.requirements).filter(|row| !row.closed);
    // A troop that takes no part owes nothing, here as in the return.
    let open_requirements = if troop.standing.state == TroopState::SittingOut { 0 } else { open.count() };
    let standing = read::seen_by(permit, troop.troop_id, troop.standing);
    StandingLine {
        troop_id: troop.troop_id,
        number: troop.number,
        name: troop.name,
        state: standing.state,
        open_requirements,
        next_step: standing.next_step,
        gates: standing.gates.iter().map(|gate| GateLine { gate: gate.gate, open: gate.open }).collect(),
        changes_at: standing.changes_at,
        log_seq: troop.log_seq,
    }
}
