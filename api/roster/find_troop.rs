//! One troop.

use actix_web::get;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::troops::{self, TroopRow};
use crate::auth::permission::{PeopleRead, Permission, TroopsRead};
use crate::auth::{Actor, Permit};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons;

/// Which troop.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct TroopPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The troop.
    #[param(value_type = uuid::Uuid)]
    pub(super) troop_id: TroopId,
}

/// Of which season.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SeasonQuery {
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    pub(super) season: Option<SeasonId>,
}

/// The kinds of troop. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TroopKind {
    /// A troop.
    Troop,
    /// Youths who sell without a troop.
    Individuals,
}

impl TroopKind {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Troop => "troop",
            Self::Individuals => "individuals",
        }
    }
}

/// A troop, with its place in one season.
#[derive(Debug, Serialize, ToSchema)]
pub struct Troop {
    /// Which one.
    pub troop_id: TroopId,
    /// Its number as it is written.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name; empty if it has none.
    #[schema(max_length = 120, example = "Juniper Ridge 0412")]
    pub name: String,
    /// What kind of troop it is.
    pub kind: TroopKind,
    /// Where it meets. It says where minors gather, so it is null for whoever may not see the troop's people.
    #[schema(required = true, max_length = 200)]
    pub meeting_place: Option<String>,
    /// The season that the fields below are about.
    pub season_id: SeasonId,
    /// Whether the troop has a place in that season now.
    pub in_season: bool,
    /// The troop of that season into which it went, where it did (`merge_troops`): the fields below are as they were then.
    #[schema(required = true)]
    pub merged_into: Option<TroopId>,
    /// When it went there; null otherwise.
    #[schema(required = true)]
    pub merged_at: Option<DateTime<Utc>>,
    /// The troop of which it was a part until it became one of its own in that season (`split_troop`); null otherwise.
    #[schema(required = true)]
    pub split_from: Option<TroopId>,
    /// Its age band in that season; null without a place in it.
    #[schema(required = true, max_length = 40, example = "juniors")]
    pub age_band: Option<String>,
    /// How many youths sell; null without a place in that season.
    #[schema(required = true, minimum = 0, maximum = 500, example = 12)]
    pub selling_youths: Option<i32>,
    /// Whether it sells for the first time; null without a place in that season.
    #[schema(required = true)]
    pub first_season: Option<bool>,
    /// The version of all of these fields.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl Troop {
    /// The troop as this actor may see it.
    pub(super) fn shown(row: TroopRow, season_id: SeasonId, to: &Actor) -> Self {
        let troop_id = TroopId(row.troop_id);
        let sees_people = to.scope::<PeopleRead>().reaches(troop_id);
        let sees = |troop: &TroopId| to.scope::<TroopsRead>().reaches(*troop);
        Self {
            troop_id,
            number: row.number,
            name: row.name,
            kind: if row.kind == TroopKind::Individuals.name() { TroopKind::Individuals } else { TroopKind::Troop },
            meeting_place: row.meeting_place.filter(|_| sees_people),
            season_id,
            in_season: row.age_band.is_some() && row.ended_at.is_none(),
            merged_into: row.merged_into.map(TroopId).filter(sees),
            merged_at: row.ended_at,
            split_from: row.split_from.map(TroopId).filter(sees),
            age_band: row.age_band,
            selling_youths: row.selling_youths,
            first_season: row.first_season,
            etag: etag(row.version),
        }
    }
}

/// Show a troop, with its place in the current season or another.
#[utoipa::path(tag = "roster", params(TroopPath, SeasonQuery), extensions(("x-permission" = json!(TroopsRead::NAME))), responses((status = 200, description = "The troop.", body = Troop), Problems))]
#[get("/v1/units/{unit_id}/troops/{troop_id}")]
pub async fn find_troop(
    permit: Permit<TroopsRead>,
    path: Path<TroopPath>,
    query: Query<SeasonQuery>,
) -> Result<Answer<Troop>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::resolve(&mut tx, unit, query.0.season).await?.season_id;
    let row = troops::find(&mut tx, unit, permit.read_scope(), season, path.troop_id).await?.ok_or(Code::NotFound)?;
    Answer::new(&Troop::shown(row, season, permit.actor()))
}
