//! What will lapse before which milestone, over all troops.

use std::collections::BTreeMap;

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::list::StandingsPath;
use super::read::{self, TroopThen};
use super::rules::{Deadline, Lapse, LapseCause, Standing, TroopState};
use crate::auth::permission::{AssignmentsRead, PeopleRead, Permission};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, SeasonId, TroopId};
use crate::common::page;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons::calendar::Calendar;
use crate::seasons::{self, ThisSeason};

/// Which lapses.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct LapsesQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only what will not reach this milestone, by its code: a dated one of the season.
    #[garde(length(min = 1, max = 40))]
    #[param(min_length = 1, max_length = 40)]
    before: Option<String>,
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

/// Something that holds now and will not reach a milestone, with every troop that it concerns.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct LapseAhead {
    /// When it stops holding, as things stand.
    pub lapses_at: DateTime<Utc>,
    /// The code of the requirement.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// What a volunteer reads.
    #[schema(max_length = 120)]
    pub title: String,
    /// Why it stops.
    pub cause: LapseCause,
    /// The first milestone that it will not reach.
    pub before: Deadline,
    /// The coordinator; null for a troop's own.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// Their name; null for a troop's own, and for who may not see people.
    #[schema(required = true, max_length = 162)]
    pub name: Option<String>,
    /// The troops that it concerns: a person's counts in each of theirs.
    #[schema(min_items = 1, max_items = 1000)]
    pub troops: Vec<TroopOfLapse>,
}

/// A troop that a lapse concerns.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct TroopOfLapse {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
}

crate::page!(
    /// What will lapse, the soonest first.
    LapsePage of LapseAhead
);

/// List what holds now and will lapse before a milestone, over all troops that you see, the soonest first.
///
/// Each person's proof stands once, with every troop that it concerns. What has lapsed already is not here: it stands open
/// in the troop's standing.
#[utoipa::path(tag = "standings", params(StandingsPath, LapsesQuery), extensions(("x-permission" = json!(AssignmentsRead::NAME))), responses((status = 200, description = "What will lapse.", body = LapsePage), Problems))]
#[get("/v1/units/{unit_id}/lapses-ahead")]
pub async fn list_lapses_ahead(
    permit: Permit<AssignmentsRead>,
    request: HttpRequest,
    _path: Path<StandingsPath>,
    query: Query<LapsesQuery>,
) -> Result<Answer<LapsePage>, ApiError> {
    let LapsesQuery { season, before, limit, cursor } = query.0;
    let filters = ("lapses-ahead", season, &before);
    let after: Option<Place> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let season = seasons::resolve(&mut tx, permit.unit()?, season).await?;
    let calendar = seasons::calendar_of(&mut tx, permit.unit()?, &season).await?;
    let until = before.as_deref().map(|code| falls(&calendar, code)).transpose()?;
    let mut items = lapses_ahead(&mut tx, &permit, &season).await?;
    items.retain(|one| until.is_none_or(|until| one.lapses_at <= until));
    items.retain(|one| after.as_ref().is_none_or(|after| place(one) > *after));
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|last| page::encode(&place(last), &filters)).transpose()?;
    let page = LapsePage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}

/// When a milestone is, of which only what lapses before it is wanted.
fn falls(calendar: &Calendar, code: &str) -> Result<DateTime<Utc>, ApiError> {
    calendar.instant(code).ok_or_else(|| {
        let dated: Vec<&str> = calendar.dated().into_iter().map(|(milestone, _)| &*milestone.code).collect();
        let detail =
            format!("a milestone of this season with one date (none that comes every week): {}", dated.join(", "));
        ApiError::new(Code::Invalid).errors(vec![FieldError::parameter("before", "no_such_date", detail)])
    })
}

/// Everything that holds now and will lapse before a milestone, in the troops that the permit reaches, as its holder may
/// see it; the soonest first. A troop that takes no part has nothing to renew.
async fn lapses_ahead<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    season: &ThisSeason,
) -> Result<Vec<LapseAhead>, ApiError> {
    let then = read::all(tx, permit.unit()?, season, None, permit.scope()).await?;
    let taking_part = then.troops.into_iter().filter(|troop| troop.standing.state != TroopState::SittingOut);
    let troops = taking_part.map(|troop| {
        let TroopThen { troop_id, number, standing, .. } = troop;
        (TroopOfLapse { troop_id, number }, read::seen_by(permit, troop_id, standing))
    });
    let mut lapses = gathered(troops);
    let people = permit.actor().scope::<PeopleRead>();
    let whom =
        |one: &LapseAhead| one.person_id.filter(|_| one.troops.iter().any(|troop| people.reaches(troop.troop_id)));
    let ids: Vec<PersonId> = lapses.iter().filter_map(whom).collect();
    let names: BTreeMap<PersonId, String> = read::names(tx, permit.unit()?, &ids).await?.into_iter().collect();
    for one in &mut lapses {
        one.name = whom(one).and_then(|person| names.get(&person).cloned());
    }
    Ok(lapses)
}

/// The key by which a lapse is sorted and found again: when, what, whose.
type Place = (DateTime<Utc>, String, Option<PersonId>, Option<TroopId>);

fn place(one: &LapseAhead) -> Place {
    let own = one.troops.first().map(|troop| troop.troop_id).filter(|_| one.person_id.is_none());
    (one.lapses_at, one.requirement.clone(), one.person_id, own)
}

/// The lapses of these troops, each person's once.
fn gathered(troops: impl Iterator<Item = (TroopOfLapse, Standing)>) -> Vec<LapseAhead> {
    let mut all: BTreeMap<Place, LapseAhead> = BTreeMap::new();
    for (troop, standing) in troops {
        for lapse in &standing.lapses {
            let Lapse { requirement, person_id, lapses_at, cause, before } = lapse.clone();
            let own = Some(troop.troop_id).filter(|_| person_id.is_none());
            let title = title_of(&standing, lapse);
            let one = all.entry((lapses_at, requirement.clone(), person_id, own)).or_insert_with(|| LapseAhead {
                lapses_at,
                requirement,
                title,
                cause,
                before,
                person_id,
                name: None,
                troops: Vec::new(),
            });
            one.troops.push(troop.clone());
        }
    }
    all.into_values().collect()
}

/// The title of the requirement that a lapse is about.
fn title_of(standing: &Standing, lapse: &Lapse) -> String {
    let own = standing.coordinators.iter().filter(|one| Some(one.person_id) == lapse.person_id);
    let rows = own.flat_map(|one| &one.requirements).chain(&standing.requirements);
    let row = rows.into_iter().find(|row| row.requirement == lapse.requirement);
    row.map(|row| row.title.clone()).unwrap_or_default()
}
