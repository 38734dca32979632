//! The milestones of a season.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, NaiveDate, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::calendar::Calendar;
use super::find_season::SeasonPath;
use super::kind::MilestoneKind;
use super::sql::milestones::{self, MilestoneRow};
use super::{load, rules, sql};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::MilestoneId;
use crate::common::since::{Since, asked};
use crate::common::{page, text};
use crate::error::{ApiError, Code, Problems};

/// A dated point of a season: a day, which as a deadline means its end and as an opening its beginning, or a day and an
/// hour; all are local.
#[derive(Debug, Serialize, ToSchema)]
pub struct Milestone {
    /// Which one.
    pub milestone_id: MilestoneId,
    /// The lasting name by which a policy refers to it.
    #[schema(max_length = 40, example = "return_due")]
    pub code: String,
    /// What people call it.
    #[schema(max_length = 120, example = "Season return due")]
    pub title: String,
    /// What it is: whether its day counts to its end or from its beginning, and how it stands to head office's.
    pub kind: MilestoneKind,
    /// Our day; null while it is not fixed.
    #[schema(required = true)]
    pub on_day: Option<NaiveDate>,
    /// Our local time of day; null means the end of the day, of an opening its beginning.
    #[schema(required = true, max_length = 5, example = "17:30")]
    pub at_local_time: Option<String>,
    /// Head office's own day, where it differs.
    #[schema(required = true)]
    pub head_office_on_day: Option<NaiveDate>,
    /// Head office's local time of day; null means the end of the day, of an opening its beginning.
    #[schema(required = true, max_length = 5)]
    pub head_office_at_local_time: Option<String>,
    /// The instant that counts: ours, else head office's; null while neither is dated.
    #[schema(required = true)]
    pub falls_at: Option<DateTime<Utc>>,
    /// Head office's own instant; null where it has no day of its own.
    #[schema(required = true)]
    pub head_office_falls_at: Option<DateTime<Utc>>,
    /// The last day up to which it comes back every week, on the same weekday at the same local time; null when it comes
    /// once.
    #[schema(required = true)]
    pub repeats_until_on: Option<NaiveDate>,
    /// When it comes next, from now on; null when that is over, or it has no day.
    #[schema(required = true)]
    pub falls_next_at: Option<DateTime<Utc>>,
    /// The version of these fields.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl Milestone {
    pub(super) fn new(row: MilestoneRow, calendar: &Calendar, now: DateTime<Utc>) -> Self {
        let meant = load::milestone(row.clone());
        let falls_next_at = meant.ours.or(meant.head_office).and_then(|first| {
            let each = rules::weekly(first.day(), row.repeats_until_on).map(|day| calendar.resolve(first.on(day)));
            each.into_iter().find(|instant| *instant >= now)
        });
        let kind = row.kind();
        Self {
            milestone_id: MilestoneId(row.milestone_id),
            code: row.code,
            kind,
            title: row.title,
            on_day: row.on_day,
            at_local_time: row.at_local_time.map(text::time_text),
            head_office_on_day: row.head_office_on_day,
            head_office_at_local_time: row.head_office_at_local_time.map(text::time_text),
            falls_at: meant.ours.or(meant.head_office).map(|when| calendar.resolve(when)),
            head_office_falls_at: meant.head_office.map(|when| calendar.resolve(when)),
            repeats_until_on: row.repeats_until_on,
            falls_next_at,
            etag: etag(row.version),
        }
    }

    /// Where it stands in the list: dated ones first, in order.
    fn place(&self) -> (bool, Option<DateTime<Utc>>, String) {
        (self.falls_at.is_none(), self.falls_at, self.code.clone())
    }
}

/// Which page of milestones.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct MilestonesQuery {
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// Milestones, the earliest first, undated ones last.
    MilestonePage of Milestone, since
);

/// List a season's milestones, the earliest first, undated ones last.
#[utoipa::path(tag = "seasons", params(SeasonPath, MilestonesQuery), extensions(("x-permission" = json!(SeasonsRead::NAME))), responses((status = 200, description = "The milestones.", body = MilestonePage), Problems))]
#[get("/v1/units/{unit_id}/seasons/{season_id}/milestones")]
pub async fn list_milestones(
    permit: Permit<SeasonsRead>,
    request: HttpRequest,
    path: Path<SeasonPath>,
    query: Query<MilestonesQuery>,
) -> Result<Answer<MilestonePage>, ApiError> {
    let MilestonesQuery { updated_since, limit, cursor } = query.0;
    let filters = ("milestones", path.season_id, updated_since);
    let after: Option<(bool, Option<DateTime<Utc>>, String)> = page::decode(cursor.as_deref(), &filters)?;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let row = sql::find(&mut tx, unit, path.season_id).await?.ok_or(Code::NotFound)?;
    let calendar = load::calendar_of(&mut tx, unit, &row.try_into()?).await?;
    let rows = milestones::all(&mut tx, unit, path.season_id).await?;
    let rows = rows.into_iter().filter(|row| asked(updated_since, row.log_seq));
    let mut items: Vec<Milestone> = rows.map(|row| Milestone::new(row, &calendar, tx.now())).collect();
    items.sort_by_key(Milestone::place);
    items.retain(|milestone| after.as_ref().is_none_or(|after| milestone.place() > *after));
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|last| page::encode(&last.place(), &filters)).transpose()?;
    let page = MilestonePage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
