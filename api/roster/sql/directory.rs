//! The query of the people of every troop, for files.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;

/// Somebody in a troop, with contact details: to be masked by the caller.
pub(in crate::roster) struct PlacedRow {
    pub troop_id: Uuid,
    pub place: String,
    pub from_at: DateTime<Utc>,
    pub first_name: String,
    pub last_name: String,
    pub email: Option<String>,
    pub phone: Option<String>,
}

/// The confirmed coordinators of these troops whose assignment goes on or begins later, the lead first, and then their
/// contacts; each by name. With `only_who_counts`, of a season that is over and gives nobody a reach any more no coordinator.
pub(in crate::roster) async fn people(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
    troops: &[Uuid],
    only_who_counts: bool,
) -> Result<Vec<PlacedRow>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query_as!(
        PlacedRow,
        r#"select held.troop_id as "troop_id!", held.place as "place!", held.from_at as "from_at!", p.first_name, p.last_name,
               c.email as "email?", c.phone as "phone?"
           from (
               select troop_id, person_id, case when lead then 'lead_coordinator' else 'co_coordinator' end as place,
                   case when lead then 0 else 1 end as rank, from_at
               from assignment
               where unit_id = $1 and season_id = $2 and troop_id = any ($3) and confirmed_at is not null
                 and ended_at is null and declined_at is null and (until_at is null or until_at > $4)
                 and (not $5 or exists (select from season s where s.unit_id = $1 and s.season_id = $2
                     and season_gives_reach(s.is_current, s.closed_at, s.ends_on, s.time_zone, $4)))
               union all
               select troop_id, person_id, duty, case duty when 'leader' then 2 when 'treasurer' then 3 else 4 end, from_at
               from troop_contact
               where unit_id = $1 and troop_id = any ($3) and (ended_at is null or ended_at > $4)
           ) held
           join person p on p.unit_id = $1 and p.person_id = held.person_id
           left join person_contact c on c.unit_id = $1 and c.person_id = held.person_id
           order by held.troop_id, held.rank, p.last_name, p.first_name, p.person_id"#,
        unit.0,
        season.0,
        troops,
        now,
        only_who_counts
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
