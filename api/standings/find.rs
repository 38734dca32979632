//! Where one troop stands, and why.

use actix_web::get;
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::exceptions::{self, ExceptionReason};
use super::read::{self, StandingsThen, TroopThen};
use super::rules::Standing;
use crate::auth::permission::{PeopleRead, Permission, StandingsRead};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::seasons::{self, ThisSeason};

/// Which troop.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct StandingPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The troop.
    #[param(value_type = uuid::Uuid)]
    troop_id: TroopId,
}

/// When, and in which season.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct StandingQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// As it stood at this past instant, by what was known then.
    #[garde(skip)]
    as_of: Option<DateTime<Utc>>,
}

/// A coordinator by name.
#[derive(Debug, Serialize, ToSchema)]
pub struct CoordinatorName {
    /// The person.
    pub person_id: PersonId,
    /// First and last name.
    #[schema(max_length = 162)]
    pub name: String,
}

/// Where one troop stands, with everything that explains it.
#[derive(Debug, Serialize, ToSchema)]
pub struct TroopStanding {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// The season.
    pub season_id: SeasonId,
    /// The instant at which this stands. These are the unit's own books: head office's figures prevail until reconciled.
    pub stands_at: DateTime<Utc>,
    /// The standing.
    pub standing: Standing,
    /// The names behind the ids of coordinators and of those who begin later; empty for who may not see people.
    #[schema(max_items = 100)]
    pub people: Vec<CoordinatorName>,
    /// Why something was waived or let through, with its last day; empty for who may not read it.
    #[schema(max_items = 1000)]
    pub exceptions: Vec<ExceptionReason>,
    /// The number of the unit's log at which this last changed.
    pub log_seq: i64,
}

/// Show where one troop stands: the state and why, each requirement, the next step, each gate and what opens it.
///
/// Also what will lapse before which milestone, and when the answer changes by itself. With `as_of`, the same for a past
/// instant; a troop coordinator then sees who is there now and nobody from before. A screening that is not met reads "not confirmed" to everyone but the unit manager and the overseer.
#[utoipa::path(tag = "standings", params(StandingPath, StandingQuery), extensions(("x-permission" = json!(StandingsRead::NAME))), responses((status = 200, description = "Where the troop stands.", body = TroopStanding), Problems))]
#[get("/v1/units/{unit_id}/standings/{troop_id}")]
pub async fn find_standing(
    permit: Permit<StandingsRead>,
    path: Path<StandingPath>,
    query: Query<StandingQuery>,
) -> Result<Answer<TroopStanding>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    if !permit.scope().reaches(path.troop_id) {
        return Err(Code::NotFound.into());
    }
    let season = seasons::resolve(&mut tx, unit, query.0.season).await?;
    let (then, mut troop) = read::one(&mut tx, unit, &season, query.0.as_of, path.troop_id).await?;
    read::as_known_now(&mut tx, &permit, (&season, query.0.as_of), std::slice::from_mut(&mut troop)).await?;
    let shown = show(&mut tx, &permit, &season, &then, troop).await?;
    Ok(Answer::new(&shown)?.tag_without(&["stands_at"]))
}

/// A troop's standing as this reader may see it, with the names that the reader may see.
///
/// # Errors
/// Database faults.
pub async fn show<P: Permission>(
    tx: &mut Tx,
    permit: &Permit<P>,
    season: &ThisSeason,
    then: &StandingsThen,
    troop: TroopThen,
) -> Result<TroopStanding, ApiError> {
    let TroopThen { troop_id, number, name, standing, log_seq, .. } = troop;
    let standing = read::seen_by(permit, troop_id, standing);
    let mut people = Vec::new();
    if permit.actor().scope::<PeopleRead>().reaches(troop_id) {
        let held = standing.coordinators.iter().map(|one| one.person_id);
        let ids: Vec<PersonId> = held.chain(standing.begins.iter().map(|one| one.person_id)).collect();
        let named = read::names(tx, permit.unit()?, &ids).await?;
        people.extend(named.into_iter().map(|(person_id, name)| CoordinatorName { person_id, name }));
    }
    let exceptions = exceptions::reasons(tx, permit, &standing).await?;
    let season_id = season.season_id;
    Ok(TroopStanding { troop_id, number, name, season_id, stands_at: then.at, standing, people, exceptions, log_seq })
}
