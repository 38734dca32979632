//! Every query of milestones as entries of a calendar.

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use uuid::Uuid;

use super::milestones::MilestoneRow;
use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::ApiError;

/// A milestone, or one that is gone.
pub(in crate::seasons) struct EventRow {
    pub milestone_id: Uuid,
    pub title: String,
    pub kind: String,
    pub on_day: Option<NaiveDate>,
    pub at_local_time: Option<NaiveTime>,
    pub head_office_on_day: Option<NaiveDate>,
    pub head_office_at_local_time: Option<NaiveTime>,
    pub repeats_until_on: Option<NaiveDate>,
    pub version: i64,
    pub log_seq: i64,
    pub gone: bool,
    pub changed_at: DateTime<Utc>,
}

impl EventRow {
    pub fn milestone(self) -> MilestoneRow {
        MilestoneRow {
            milestone_id: self.milestone_id,
            code: String::new(),
            title: self.title,
            kind: self.kind,
            on_day: self.on_day,
            at_local_time: self.at_local_time,
            head_office_on_day: self.head_office_on_day,
            head_office_at_local_time: self.head_office_at_local_time,
            repeats_until_on: self.repeats_until_on,
            version: self.version,
            log_seq: self.log_seq,
        }
    }
}

/// The dated milestones of a season, and those that were dated; one that has a day again is not gone.
pub(in crate::seasons) async fn rows(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<EventRow>, ApiError> {
    let rows = sqlx::query_as!(
        EventRow,
        r#"select e.milestone_id as "milestone_id!", e.title as "title!", e.kind as "kind!", e.on_day, e.at_local_time,
                  e.head_office_on_day, e.head_office_at_local_time, e.repeats_until_on, e.version as "version!",
                  e.log_seq as "log_seq!", e.gone as "gone!", coalesce(l.at, to_timestamp(0)) as "changed_at!"
           from (
               select unit_id, milestone_id, title, kind, on_day, at_local_time, head_office_on_day,
                      head_office_at_local_time, repeats_until_on, version, log_seq, false as gone
               from milestone
               where unit_id = $1 and season_id = $2 and coalesce(on_day, head_office_on_day) is not null
               union all
               select g.unit_id, g.milestone_id, g.title, g.kind, g.on_day, g.at_local_time, g.head_office_on_day,
                      g.head_office_at_local_time, g.repeats_until_on, g.version, g.log_seq, true
               from milestone_gone g
               where g.unit_id = $1 and g.season_id = $2 and not exists (
                   select from milestone m where m.unit_id = g.unit_id and m.milestone_id = g.milestone_id
                     and coalesce(m.on_day, m.head_office_on_day) is not null)) e
           left join unit_log l on l.unit_id = e.unit_id and l.seq = e.log_seq
           order by e.milestone_id"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
