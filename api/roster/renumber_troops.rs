//! Change several troops' numbers in one act.

use std::collections::BTreeMap;

use actix_web::post;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::find_troop::Troop;
use super::list_troops::RosterPath;
use super::rules::number_key;
use super::sql::{regrouping as sql, troops};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, TroopsChange};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::etag;
use crate::common::ids::TroopId;
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;

/// Which troops get which numbers.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"troops": [{"troop_id": "0198c0de-0000-7000-8000-000000000101", "number": "0979", "etag": "\"v1\""}]}))]
pub struct TroopNumbers {
    /// Every troop whose number changes, with its new one. They may take each other's numbers in any order.
    #[garde(dive, length(min = 1, max = 200))]
    #[schema(min_items = 1, max_items = 200)]
    troops: Vec<TroopNumber>,
}

/// A troop with its new number.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TroopNumber {
    /// The troop.
    #[garde(skip)]
    troop_id: TroopId,
    /// Its new number.
    #[garde(length(chars, min = 1, max = 20), custom(text::line))]
    #[schema(min_length = 1, max_length = 20)]
    number: String,
    /// The version that was read.
    #[garde(length(min = 1, max = 30))]
    #[schema(min_length = 1, max_length = 30)]
    etag: String,
}

/// The troops as they are now.
#[derive(Debug, Serialize, ToSchema)]
pub struct RenumberedTroops {
    /// In the order in which they were sent.
    #[schema(min_items = 1, max_items = 200)]
    pub troops: Vec<Troop>,
}

/// Change several troops' numbers in one act: all of them, or none.
///
/// Each troop is sent with the `etag` that was read. Numbers may be swapped in any permutation; what is not among these
/// troops keeps its number, also a troop of an earlier season.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = TroopNumbers, extensions(("x-permission" = json!(TroopsChange::NAME))), responses((status = 200, description = "The troops as they are now.", body = RenumberedTroops), Problems))]
#[post("/v1/units/{unit_id}/troops/renumber")]
pub async fn renumber_troops(
    permit: Permit<TroopsChange>,
    _path: Path<RosterPath>,
    body: Json<TroopNumbers>,
) -> Result<Answer<RenumberedTroops>, ApiError> {
    let (unit, new) = (permit.unit()?, body.0.troops);
    let ids: Vec<Uuid> = new.iter().map(|one| one.troop_id.0).collect();
    let mut tx = permit.tx()?;
    let season = seasons::hold_current(&mut tx, unit).await?;
    let touched = Touched::some(season.season_id, Vec::new(), new.iter().map(|one| one.troop_id).collect());
    change::hold(&mut tx, unit, &touched).await?;
    let locked = sql::lock_all(&mut tx, &permit, &ids).await?;
    let versions: BTreeMap<Uuid, i64> = locked.into_iter().map(|row| (row.troop_id, row.version)).collect();
    let unknown = |one: &TroopNumber| !versions.contains_key(&one.troop_id.0) || permit.reach(one.troop_id).is_err();
    let wanted = "the id of a troop of this unit (list_troops)";
    told(&new, "troop_id", unknown, ("unknown", wanted), Code::UnknownReference)?;
    tx.replay().await?;
    let stale = |one: &TroopNumber| versions.get(&one.troop_id.0).is_none_or(|version| one.etag != etag(*version));
    told(&new, "etag", stale, ("stale", "the etag that the troop has now; read it again"), Code::VersionStale)?;
    season.open()?;
    let keys: Vec<String> = new.iter().map(|one| number_key(&one.number)).collect();
    doubles(&new, &keys)?;
    let taken = sql::taken(&mut tx, &permit, &ids, &keys).await?;
    let is_taken = |one: &TroopNumber| taken.contains(&number_key(&one.number));
    let free = "a number that no troop has which is not among these";
    told(&new, "number", is_taken, ("taken", free), Code::NumberTaken)?;
    let log_seq = tx.seq().await?;
    let numbers: Vec<String> = new.iter().map(|one| one.number.trim().to_owned()).collect();
    sql::renumber(&mut tx, &permit, (&ids, &numbers, &keys), log_seq).await?;
    tx.about("field", "number");
    let mut troops = Vec::new();
    for one in &new {
        tx.about("troop", one.troop_id);
        let row = troops::find(&mut tx, unit, permit.read_scope(), season.season_id, one.troop_id).await?;
        troops.push(Troop::shown(row.ok_or(Code::NotFound)?, season.season_id, permit.actor()));
    }
    change::refresh(&mut tx, unit, &touched).await?;
    tx.commit_with(Answer::new(&RenumberedTroops { troops })?).await
}

/// Refuses the request if something is wrong with some of the troops, naming each.
fn told(
    new: &[TroopNumber],
    field: &str,
    is_wrong: impl Fn(&TroopNumber) -> bool,
    (code, wanted): (&'static str, &str),
    problem: Code,
) -> Result<(), ApiError> {
    let wrong = new.iter().enumerate().filter(|(_, one)| is_wrong(one));
    let faults: Vec<_> =
        wrong.map(|(place, _)| FieldError::at(format!("/troops/{place}/{field}"), code, wanted)).collect();
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(problem).errors(faults)) }
}

/// Each troop once, and each number once.
fn doubles(new: &[TroopNumber], keys: &[String]) -> Result<(), ApiError> {
    let mut faults = Vec::new();
    for (place, (one, key)) in new.iter().zip(keys).enumerate() {
        if new.iter().take(place).any(|other| other.troop_id == one.troop_id) {
            faults.push(FieldError::at(format!("/troops/{place}/troop_id"), "twice", "each troop once"));
        }
        if keys.iter().take(place).any(|other| other == key) {
            let wanted = "a number that no other of these troops gets; leading zeros do not matter";
            faults.push(FieldError::at(format!("/troops/{place}/number"), "twice", wanted));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}
