//! The return as the unit stands now, or stood at a past instant, and the stamp by which a preview is known again.

use chrono::{DateTime, Utc};
use serde_json::Value;

use super::document::{ReturnDocument, ReturnName, ReturnSeason};
use super::rules::{self, TroopNow};
use crate::auth::permission::Permission;
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{PersonId, UnitId};
use crate::error::{ApiError, Code};
use crate::frozen::{canonical, sha256_hex};
use crate::seasons::ThisSeason;
use crate::standings;
use crate::units;

/// A return speaks for every troop of the unit, so who reaches some of them only cannot see or file one.
pub(super) fn whole_unit<P: Permission>(permit: &Permit<P>) -> Result<UnitId, ApiError> {
    if *permit.scope() != Scope::Unit {
        return Err(ApiError::new(Code::OutOfScope)
            .detail("A season return speaks for every troop of the unit. Ask the unit manager for it."));
    }
    permit.unit()
}

/// The return as it would be now, or as it would have been at a past instant by what was known then.
pub(super) async fn document(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    as_of: Option<DateTime<Utc>>,
) -> Result<ReturnDocument, ApiError> {
    let then = standings::all(tx, unit, season, as_of, &Scope::Unit).await?;
    let troops = then.troops.into_iter().map(|troop| TroopNow {
        troop_id: troop.troop_id,
        number: troop.number,
        name: troop.name,
        standing: troop.standing,
    });
    let named = ReturnSeason {
        season_id: season.season_id,
        label: season.label.clone(),
        time_zone: Some(season.zone.name().to_owned()),
    };
    let unit_name = units::name(tx, unit).await?;
    Ok(rules::build(unit_name, named, then.at, troops.collect()))
}

/// The names of the people in a return, as they are now, in the order of their ids.
pub(super) async fn names(
    tx: &mut Tx,
    unit: UnitId,
    document: &ReturnDocument,
) -> Result<Vec<(PersonId, String)>, ApiError> {
    let mut people: Vec<PersonId> =
        document.troops.iter().flat_map(|troop| &troop.coordinators).map(|one| one.person_id).collect();
    people.sort_unstable();
    people.dedup();
    let mut names = standings::names(tx, unit, &people).await?;
    names.sort_unstable();
    Ok(names)
}

/// Names as they are sent.
pub(super) fn sent(names: Vec<(PersonId, Option<String>)>) -> Vec<ReturnName> {
    names.into_iter().map(|(person_id, name)| ReturnName { person_id, name }).collect()
}

/// The stamp of a preview: its instant, and a digest of everything else. Two previews with nothing changed between them
/// have the same digest.
pub(super) fn stamp(document: &ReturnDocument) -> Result<String, ApiError> {
    let digest = digest_of(document)?;
    Ok(format!("{}.{}", document.stands_at.timestamp_micros(), digest.get(..32).unwrap_or_default()))
}

/// The digest of everything in a return but its instant: two with the same one say the same.
pub(super) fn digest_of(document: &ReturnDocument) -> Result<String, ApiError> {
    undated(serde_json::to_value(document).map_err(|error| ApiError::internal(&error))?)
}

/// The same of a return that was filed, by the text of its figures.
pub(super) fn digest(figures: &str) -> Result<String, ApiError> {
    undated(serde_json::from_str(figures).map_err(|error| ApiError::internal(&error))?)
}

fn undated(mut value: Value) -> Result<String, ApiError> {
    if let Some(entries) = value.as_object_mut() {
        entries.remove("stands_at");
    }
    let text = canonical(&value).map_err(|error| ApiError::internal(&error))?;
    Ok(sha256_hex(text.as_bytes()))
}

/// A stamp taken apart: the preview's instant and its digest.
pub(super) fn read_stamp(stamp: &str) -> Option<(DateTime<Utc>, &str)> {
    let (micros, digest) = stamp.split_once('.')?;
    let at = DateTime::from_timestamp_micros(micros.parse().ok()?)?;
    (digest.len() == 32).then_some((at, digest))
}
