//! Who is told what about a troop.

use std::collections::BTreeSet;

use chrono::{DateTime, Days, NaiveDate, Utc};
use serde_json::{Map, Value, json};

use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;
use crate::mail::{self, Kind};
use crate::roster::{self, Addressee};
use crate::seasons::{self, Starts, ThisSeason};
use crate::standings::{self, AskedFor, TroopThen};
use crate::units;

/// Somebody, and what they are asked for.
#[derive(Clone, Debug)]
pub(super) struct Told {
    /// Whom.
    pub whom: Addressee,
    /// What is open of theirs and of the troop.
    pub open: Vec<AskedFor>,
}

/// Whoever can close something of a troop now, with what it is: its coordinators, or its contacts while it has none.
///
/// # Errors
/// Database faults.
pub(super) async fn of_troop(tx: &mut Tx, unit: UnitId, troop: &TroopThen) -> Result<Vec<Told>, ApiError> {
    let coordinators: Vec<PersonId> = troop.standing.coordinators.iter().map(|one| one.person_id).collect();
    let vacant = coordinators.is_empty();
    let people = if vacant { roster::contacts_of(tx, unit, troop.troop_id).await? } else { coordinators };
    let mut told = Vec::new();
    for person in people {
        let mut open = standings::asked_of(&troop.standing, &BTreeSet::from([person]), true);
        if vacant {
            open.insert(
                0,
                AskedFor {
                    title: "A coordinator for the troop".to_owned(),
                    how: "nobody coordinates it now; tell the unit manager who could.".to_owned(),
                },
            );
        }
        if let Some(whom) = roster::addressee(tx, unit, person).await?.filter(|_| !open.is_empty()) {
            told.push(Told { whom, open });
        }
    }
    Ok(told)
}

/// The fields of a message about a troop, for somebody whose language this is.
///
/// # Errors
/// Database faults.
pub(super) async fn fields(
    tx: &mut Tx,
    unit: UnitId,
    (season, from): (&ThisSeason, PersonId),
    (kind, language): (Kind, &str),
    (troop, first_name, open): (&TroopThen, &str, &[AskedFor]),
) -> Result<Map<String, Value>, ApiError> {
    let mut fields = roster::fields(json!({
        "first_name": first_name,
        "unit_name": units::name(tx, unit).await?,
        "from_name": roster::name_of(tx, unit, from).await?,
        "season": season.label,
        "troop": troop.number,
        "how_many": open.len(),
        "missing": open,
    }));
    match kind {
        Kind::Invitation => {
            fields.insert("link".to_owned(), json!("(here stands a link that only its reader sees)"));
            let until = tx.now().checked_add_days(Days::new(3)).unwrap_or_else(|| tx.now());
            fields.insert("link_until".to_owned(), json!(mail::instant(until.with_timezone(&season.zone), language)));
        }
        Kind::BeforeMilestone => {
            let now = tx.now();
            let today = now.with_timezone(&season.zone).date_naive();
            let (title, on) = next_milestone(tx, unit, season, now).await?.unwrap_or(("Sale opens".to_owned(), today));
            fields.insert("milestone".to_owned(), json!(title));
            fields.insert("milestone_on".to_owned(), json!(mail::day(on, language)));
            fields.insert("days_left".to_owned(), json!((on - today).num_days()));
        }
        Kind::Missing | Kind::Welcome | Kind::Suspended => {}
    }
    Ok(fields)
}

/// The next dated milestone of the season, for a look at a wording.
async fn next_milestone(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    now: DateTime<Utc>,
) -> Result<Option<(String, NaiveDate)>, ApiError> {
    let today = now.with_timezone(&season.zone).date_naive();
    let dated = seasons::events(tx, unit, season).await?.into_iter().map(|event| {
        let on = match event.starts {
            Starts::Day(day) => day,
            Starts::At(at) => at.with_timezone(&season.zone).date_naive(),
        };
        (event.title, on)
    });
    Ok(dated.filter(|(_, on)| *on >= today).min_by_key(|(_, on)| *on))
}
