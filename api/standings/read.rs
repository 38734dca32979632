//! Reading standings: true at every instant, whatever the cache holds.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::load;
use super::refresh::cached;
use super::rules::{self, Standing};
use super::sql::cache::{self, TroopRow};
use super::sql::facts;
use crate::auth::permission::{AssignmentsRead, Permission, ScreeningsRead};
use crate::auth::{Permit, Scope, Tx};
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::{ApiError, Code, FieldError};
use crate::seasons::{self, ThisSeason};

/// Where the troops of a season stand at one instant.
#[derive(Clone, Debug)]
pub struct StandingsThen {
    /// The instant.
    pub at: DateTime<Utc>,
    /// How far the unit's log had come.
    pub seq: i64,
    /// The troops, by number.
    pub troops: Vec<TroopThen>,
}

/// Where one troop stands.
#[derive(Clone, Debug)]
pub struct TroopThen {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    pub number: String,
    /// Its number for comparison, by which lists are sorted (shorter first).
    pub number_key: String,
    /// Its name.
    pub name: String,
    /// Where it stands, unmasked: show it through [`seen_by`].
    pub standing: Standing,
    /// The log number of the change at which it last changed; for a past instant, that of the log then.
    pub log_seq: i64,
}

/// Where the troops of a season stand now, or stood at a past instant by what was known then.
///
/// Answers are taken from the cache as long as they hold and computed otherwise, by the same function. For a past
/// instant everything is computed: from the facts and the policy that the log had then. The calendar, names and
/// whether a troop is new are those of today; which troops take part is as it was then.
///
/// # Errors
/// 422 for an instant that lies ahead; database faults.
pub async fn all(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    as_of: Option<DateTime<Utc>>,
    scope: &Scope,
) -> Result<StandingsThen, ApiError> {
    // Another process's clock may be ahead of ours: what the log holds has happened.
    let (head, head_at) = cache::log_head(tx, unit).await?;
    let now = tx.now().max(head_at);
    let (at, seq) = match as_of {
        None => (now, head),
        Some(asked) if asked > now => {
            let fault = FieldError::parameter("as_of", "in_future", "an instant that has passed");
            return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
        }
        Some(asked) => {
            let made_at = cache::unit_made_at(tx, unit).await?;
            if asked < made_at {
                let expected = format!("an instant from {made_at} on, when the unit was made");
                let fault = FieldError::parameter("as_of", "before_the_unit", expected);
                return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
            }
            (asked, cache::log_seq_at(tx, unit, asked).await?)
        }
    };
    let rows = cache::troops(tx, unit, season.season_id, (scope.troops().as_deref(), as_of)).await?;
    let holds = |row: &TroopRow| {
        let answer = cached(row).filter(|_| as_of.is_none())?;
        row.changes_at.is_none_or(|change| at < change).then_some(answer)
    };
    let mut answers: Vec<Option<Standing>> = rows.iter().map(holds).collect();
    let stale: Vec<&TroopRow> =
        rows.iter().zip(&answers).filter(|(_, answer)| answer.is_none()).map(|(row, _)| row).collect();
    if !stale.is_empty() {
        let policy = match as_of {
            None => seasons::policy_of(tx, unit, season.season_id).await?,
            Some(_) => seasons::policy_at(tx, unit, season.season_id, seq).await?,
        };
        let calendar = seasons::calendar_of(tx, unit, season).await?;
        let up_to = if as_of.is_some() { seq } else { i64::MAX };
        let told = load::facts(tx, unit, season.season_id, &stale, up_to).await?;
        for (row, answer) in rows.iter().zip(&mut answers).filter(|(_, answer)| answer.is_none()) {
            *answer = told.get(&row.troop_id).map(|facts| rules::standing(&policy, &calendar, facts, at));
        }
    }
    let mut troops: Vec<TroopThen> = rows
        .into_iter()
        .zip(answers)
        .filter_map(|(row, answer)| {
            let log_seq = if as_of.is_some() { seq } else { row.log_seq.unwrap_or(seq) };
            let TroopRow { troop_id, number, number_key, name, .. } = row;
            Some(TroopThen { troop_id: TroopId(troop_id), number, number_key, name, standing: answer?, log_seq })
        })
        .collect();
    troops.sort_by(|a, b| sort_key(a).cmp(&sort_key(b)));
    Ok(StandingsThen { at, seq, troops })
}

/// The order of lists: by number, a shorter number first, so that 9 comes before 10.
pub(super) fn sort_key(troop: &TroopThen) -> (usize, &str, TroopId) {
    (troop.number_key.chars().count(), &troop.number_key, troop.troop_id)
}

/// Where one troop stands.
///
/// # Errors
/// 404 if it is not in this season or out of scope; as [`all`].
pub async fn one(
    tx: &mut Tx,
    unit: UnitId,
    season: &ThisSeason,
    as_of: Option<DateTime<Utc>>,
    troop: TroopId,
) -> Result<(StandingsThen, TroopThen), ApiError> {
    let mut then = all(tx, unit, season, as_of, &Scope::Troops(vec![troop])).await?;
    let found = then.troops.pop().ok_or(Code::NotFound)?;
    Ok((then, found))
}

/// Of an earlier instant or season, whoever sees the coordinators of own troops alone sees those who are there now, and
/// oneself: who coordinated a troop before, and what that person had open, is nothing to a successor.
///
/// # Errors
/// Database faults.
pub async fn as_known_now<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    (season, as_of): (&ThisSeason, Option<DateTime<Utc>>),
    troops: &mut [TroopThen],
) -> Result<(), ApiError> {
    let scope = permit.actor().scope::<AssignmentsRead>();
    if (as_of.is_none() && season.is_current) || scope.troops().is_none() || troops.is_empty() {
        return Ok(());
    }
    let unit = permit.unit()?;
    let now = match seasons::current(tx, unit).await {
        Ok(current) => all(tx, unit, &current, None, &scope).await?.troops,
        Err(error) if error.code() == Some(Code::NoCurrentSeason) => Vec::new(),
        Err(error) => return Err(error),
    };
    for troop in troops {
        let there = now.iter().filter(|one| one.troop_id == troop.troop_id).flat_map(|one| {
            let held = one.standing.coordinators.iter().map(|who| who.person_id);
            held.chain(one.standing.begins.iter().map(|who| who.person_id))
        });
        let people: Vec<PersonId> = there.chain([permit.person()?]).collect();
        troop.standing = troop.standing.clone().only_about(&people);
    }
    Ok(())
}

/// A troop's standing as this reader may see it: whole with `screenings.read`; without it a screening that is not met reads
/// "not confirmed"; and who may not see the coordinators of this troop sees states and gates only. Somebody can see those
/// of one troop and not of another (a coordinator who is a viewer too), so it is asked of each.
#[must_use]
pub fn seen_by<P: Permission>(permit: &Permit<P>, troop: TroopId, standing: Standing) -> Standing {
    if permit.holds::<ScreeningsRead>() {
        standing
    } else if permit.actor().scope::<AssignmentsRead>().reaches(troop) {
        standing.masked()
    } else {
        standing.states_only()
    }
}

/// The names of these people.
///
/// # Errors
/// Database faults.
pub async fn names(tx: &mut Tx, unit: UnitId, people: &[PersonId]) -> Result<Vec<(PersonId, String)>, ApiError> {
    let ids: Vec<Uuid> = people.iter().map(|person| person.0).collect();
    let rows = facts::names(tx, unit, &ids).await?;
    let named = rows.into_iter().map(|row| {
        let name = format!("{} {}", row.first_name, row.last_name);
        (PersonId(row.person_id), name.trim().to_owned())
    });
    Ok(named.collect())
}
