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
    let rows = sqlx::query_as!(
        Proposal,
        r#"select a.assignment_id, a.troop_id, a.person_id, a.lead, a.proposed_at,
                  exists (select from assignment o
                          where o.unit_id = a.unit_id and o.season_id = a.season_id and o.troop_id = a.troop_id and o.lead
                            and o.confirmed_at is not null and o.ended_at is null and o.declined_at is null) as "led!"
           from assignment a
           where a.unit_id = $1 and a.season_id = $2 and a.confirmed_at is null and a.declined_at is null and a.ended_at is null
           order by a.assignment_id limit 1000"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
