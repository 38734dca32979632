//! Change a troop, or its place in the current season.

use actix_web::patch;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_troop::{Troop, TroopPath};
use super::hold_troop::{HeldTroop, hold};
use super::regrouping::refuse_merged;
use super::rules::number_key;
use super::sql::troops::{self, Place, TroopRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, TroopsChange};
use crate::change;
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::common::text::{self, not_null};
use crate::error::{ApiError, Code, FieldError, Problems};

/// What to change of a troop; a field that is left out stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"selling_youths": 13, "meeting_place": "Community hall, back room"}))]
pub struct TroopChange {
    /// Its number.
    #[garde(inner(length(chars, min = 1, max = 20), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 20)]
    number: Patch<String>,
    /// Its name; an empty text takes it away.
    #[garde(inner(length(chars, max = 120), custom(text::one_line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, max_length = 120)]
    name: Patch<String>,
    /// Where it meets; null takes it away.
    #[garde(inner(length(chars, min = 1, max = 200), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 1, max_length = 200)]
    meeting_place: Patch<String>,
    /// Its age band in the current season.
    #[garde(inner(length(chars, min = 1, max = 40), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 40)]
    age_band: Patch<String>,
    /// How many youths sell in the current season.
    #[garde(inner(range(min = 0, max = 500)))]
    #[serde(default)]
    #[schema(value_type = i32, required = false, minimum = 0, maximum = 500)]
    selling_youths: Patch<i32>,
    /// Whether the current season is its first.
    #[garde(skip)]
    #[serde(default)]
    #[schema(value_type = bool, required = false)]
    first_season: Patch<bool>,
}

impl TroopChange {
    fn faults(&self) -> Vec<FieldError> {
        let faults = [
            not_null("/number", &self.number),
            not_null("/name", &self.name),
            not_null("/age_band", &self.age_band),
            not_null("/selling_youths", &self.selling_youths),
            not_null("/first_season", &self.first_season),
        ];
        faults.into_iter().flatten().collect()
    }

    fn touches_season(&self) -> bool {
        self.age_band != Patch::Leave || self.selling_youths != Patch::Leave || self.first_season != Patch::Leave
    }

    fn apply(&self, row: &mut TroopRow) {
        if let Some(number) = self.number.value() {
            number.trim().clone_into(&mut row.number);
        }
        if let Some(name) = self.name.value() {
            name.trim().clone_into(&mut row.name);
        }
        row.meeting_place = self.meeting_place.apply(row.meeting_place.take()).map(|place| place.trim().to_owned());
        row.age_band = self.age_band.apply(row.age_band.take()).map(|band| band.trim().to_owned());
        row.selling_youths = self.selling_youths.apply(row.selling_youths);
        row.first_season = self.first_season.apply(row.first_season);
    }

    /// The names of the fields that were sent, for the log.
    fn fields(&self) -> impl Iterator<Item = &'static str> {
        [
            (self.number != Patch::Leave, "number"),
            (self.name != Patch::Leave, "name"),
            (self.meeting_place != Patch::Leave, "meeting_place"),
            (self.age_band != Patch::Leave, "age_band"),
            (self.selling_youths != Patch::Leave, "selling_youths"),
            (self.first_season != Patch::Leave, "first_season"),
        ]
        .into_iter()
        .filter_map(|(sent, name)| sent.then_some(name))
    }
}

/// The place in the season after the change. A troop that had none gets one, if everything about it is said.
fn place(row: &TroopRow) -> Result<Place<'_>, ApiError> {
    let missing = |pointer: &str| {
        FieldError::at(pointer, "missing", "this too: the troop has no place in the current season yet")
    };
    match (&row.age_band, row.selling_youths) {
        (Some(age_band), Some(selling_youths)) => {
            Ok(Place { age_band, selling_youths, first_season: row.first_season.unwrap_or(false) })
        }
        (band, youths) => {
            let band = band.is_none().then(|| missing("/age_band"));
            let youths = youths.is_none().then(|| missing("/selling_youths"));
            Err(ApiError::new(Code::Invalid).errors(band.into_iter().chain(youths).collect()))
        }
    }
}

/// Change a troop, or its place in the current season.
///
/// A troop of an earlier season takes part in the current one as soon as its age band and its number of selling youths
/// are sent.
#[utoipa::path(tag = "roster", params(TroopPath), request_body = TroopChange, extensions(("x-permission" = json!(TroopsChange::NAME))), responses((status = 200, description = "The troop as it is now.", body = Troop), Problems))]
#[patch("/v1/units/{unit_id}/troops/{troop_id}")]
pub async fn change_troop(
    permit: Permit<TroopsChange>,
    path: Path<TroopPath>,
    body: Json<TroopChange>,
    if_match: IfMatch,
) -> Result<Answer<Troop>, ApiError> {
    let sent = body.0;
    let faults = sent.faults();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let (unit, troop) = (permit.unit()?, path.troop_id);
    let HeldTroop { mut tx, season, touched, mut row } = hold(&permit, troop, &if_match).await?;
    if sent.touches_season() {
        refuse_merged(&row)?;
    }
    sent.apply(&mut row);
    let place = if sent.touches_season() { Some(place(&row)?) } else { None };
    let log_seq = tx.seq().await?;
    troops::update(&mut tx, &permit, &row, &number_key(&row.number), log_seq).await?;
    if let Some(place) = place {
        let first_season = place.first_season;
        troops::keep_place(&mut tx, &permit, season.season_id, troop, place, log_seq).await?;
        row.first_season = Some(first_season);
    }
    row.version += 1;
    tx.about("troop", troop);
    sent.fields().for_each(|field| tx.about("field", field));
    change::refresh(&mut tx, unit, &touched).await?;
    tx.commit_with(Answer::new(&Troop::shown(row, season.season_id, permit.actor()))?).await
}
