//! Add a troop to the unit and to its current season.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_troop::{Troop, TroopKind};
use super::list_troops::RosterPath;
use super::rules::number_key;
use super::sql::troops::{self, Place, TroopRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, TroopsChange};
use crate::change::{self, Touched};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::TroopId;
use crate::common::text;
use crate::error::{ApiError, Problems};
use crate::seasons;

/// A troop to be added.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"number": "0977", "name": "Juniper Ridge 0977", "kind": "troop", "meeting_place": "Community hall, back room", "age_band": "juniors", "selling_youths": 11, "first_season": true}))]
pub struct NewTroop {
    /// Its number, as head office writes it.
    #[garde(length(chars, min = 1, max = 20), custom(text::line))]
    #[schema(min_length = 1, max_length = 20)]
    number: String,
    /// Its name, if it has one.
    #[garde(length(chars, max = 120), custom(text::one_line))]
    #[serde(default)]
    #[schema(max_length = 120)]
    name: String,
    /// What kind of troop it is. It cannot be changed later.
    #[garde(skip)]
    #[serde(default = "troop")]
    #[schema(required = false)]
    kind: TroopKind,
    /// Where it meets: shown only to whoever may see the troop's people.
    #[garde(inner(length(chars, min = 1, max = 200), custom(text::line)))]
    #[schema(min_length = 1, max_length = 200)]
    meeting_place: Option<String>,
    /// Its age band in this season, in the unit's own words.
    #[garde(length(chars, min = 1, max = 40), custom(text::line))]
    #[schema(min_length = 1, max_length = 40)]
    age_band: String,
    /// How many youths sell.
    #[garde(range(min = 0, max = 500))]
    #[schema(minimum = 0, maximum = 500)]
    selling_youths: i32,
    /// Whether it sells for the first time.
    #[garde(skip)]
    first_season: bool,
}

const fn troop() -> TroopKind {
    TroopKind::Troop
}

/// Add a troop to the unit, with its place in the current season.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = NewTroop, extensions(("x-permission" = json!(TroopsChange::NAME))), responses((status = 201, description = "The troop.", body = Troop), Problems))]
#[post("/v1/units/{unit_id}/troops")]
pub async fn add_troop(
    permit: Permit<TroopsChange>,
    _path: Path<RosterPath>,
    body: Json<NewTroop>,
) -> Result<Created<Troop>, ApiError> {
    let new = body.0;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    tx.replay().await?;
    let season = seasons::guard_current(&mut tx, unit).await?.season_id;
    let troop = TroopId::new();
    let row = TroopRow {
        troop_id: troop.0,
        number: new.number.trim().to_owned(),
        name: new.name.trim().to_owned(),
        kind: new.kind.name().to_owned(),
        meeting_place: new.meeting_place.map(|place| place.trim().to_owned()),
        version: 1,
        age_band: Some(new.age_band.trim().to_owned()),
        selling_youths: Some(new.selling_youths),
        first_season: Some(new.first_season),
        ended_at: None,
        merged_into: None,
        split_from: None,
    };
    let log_seq = tx.seq().await?;
    troops::insert(&mut tx, &permit, &row, &number_key(&row.number), log_seq).await?;
    let place =
        Place { age_band: new.age_band.trim(), selling_youths: new.selling_youths, first_season: new.first_season };
    troops::keep_place(&mut tx, &permit, season, troop, place, log_seq).await?;
    tx.about("troop", troop);
    change::refresh(&mut tx, unit, &Touched::some(season, Vec::new(), vec![troop])).await?;
    let answer = Created::new(&Troop::shown(row, season, permit.actor()))?;
    tx.commit_with(answer.location(format!("/v1/units/{unit}/troops/{troop}"))).await
}
