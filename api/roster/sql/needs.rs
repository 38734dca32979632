//! Proposed coordinators who wait for a person.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;

/// A proposal.
pub(in crate::roster) struct Proposal {
    pub assignment_id: Uuid,
    pub troop_id: Uuid,
    pub person_id: Uuid,
    pub lead: bool,
    pub proposed_at: Option<DateTime<Utc>>,
    /// Whether the troop has a confirmed lead already.
    pub led: bool,
}

/// The open proposals of a season, the oldest first.
pub(in crate::roster) async fn proposals(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<Proposal>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query_as!(
        Proposal,
        r#"select a.assignment_id, a.troop_id, a.person_id, a.lead, a.proposed_at,
                  exists (select from assignment o
                          where o.unit_id = a.unit_id and o.season_id = a.season_id and o.troop_id = a.troop_id and o.lead
                            and o.confirmed_at is not null and o.ended_at is null and o.declined_at is null
                            and (o.until_at is null or o.until_at > $3)) as "led!"
           from assignment a
           where a.unit_id = $1 and a.season_id = $2 and a.confirmed_at is null and a.declined_at is null and a.ended_at is null
           order by a.assignment_id limit 1000"#,
        unit.0,
        season.0,
        now
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A place as coordinator that ends on a day that is known.
pub(in crate::roster) struct Ending {
    pub assignment_id: Uuid,
    pub troop_id: Uuid,
    pub person_id: Uuid,
    pub lead: bool,
    pub until_at: DateTime<Utc>,
    pub leaves: bool,
}

/// The places of a season that end by themselves up to an instant.
pub(in crate::roster) async fn ending(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    up_to: DateTime<Utc>,
) -> Result<Vec<Ending>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query_as!(
        Ending,
        r#"select assignment_id, troop_id, person_id, lead, until_at as "until_at!", ended_because is not null as "leaves!"
           from assignment
           where unit_id = $1 and season_id = $2 and confirmed_at is not null and ended_at is null and declined_at is null
             and until_at > $3 and until_at <= $4
           order by until_at, assignment_id limit 1000"#,
        unit.0,
        season.0,
        now,
        up_to
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
