//! Date several milestones of a season in one act.

use actix_web::post;
use chrono::NaiveDate;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::find_season::SeasonPath;
use super::list_milestones::Milestone;
use super::sql::milestones::{self, MilestoneRow};
use super::{load, rules};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::etag;
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};

/// The dates of several milestones.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"milestones": [{"code": "web_sale_opens", "on_day": "2027-01-08", "etag": "\"v2\""}, {"code": "items_due", "on_day": "2027-04-05", "at_local_time": "18:00", "etag": "\"v2\""}]}))]
pub struct MilestoneDates {
    /// One for each milestone.
    #[garde(length(min = 1, max = 100), dive)]
    #[schema(min_items = 1, max_items = 100)]
    milestones: Vec<MilestoneDate>,
}

/// The date of one milestone, ours and head office's, as they are to be.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = MilestoneDate)]
pub struct MilestoneDate {
    /// Its code.
    #[garde(length(min = 1, max = 40))]
    #[schema(min_length = 1, max_length = 40)]
    code: String,
    /// Our day.
    #[garde(custom(text::day))]
    on_day: NaiveDate,
    /// Our local time of day; left out, it means the end of the day, of an opening its beginning.
    #[garde(inner(custom(text::time_of_day)))]
    #[schema(min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    at_local_time: Option<String>,
    /// Head office's own day, where it differs.
    #[garde(inner(custom(text::day)))]
    head_office_on_day: Option<NaiveDate>,
    /// Head office's local time of day.
    #[garde(inner(custom(text::time_of_day)))]
    #[schema(min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    head_office_at_local_time: Option<String>,
    /// The `etag` that was read, for a milestone that has a date already: nobody's date is overwritten unseen.
    #[garde(length(min = 4, max = 30))]
    #[schema(min_length = 4, max_length = 30)]
    etag: Option<String>,
}

impl MilestoneDate {
    /// The row with these dates. What comes every week stays so.
    fn apply(&self, row: &mut MilestoneRow) {
        let time = |sent: &Option<String>| sent.as_deref().and_then(text::local_time);
        row.on_day = Some(self.on_day);
        row.at_local_time = time(&self.at_local_time);
        row.head_office_on_day = self.head_office_on_day;
        row.head_office_at_local_time = time(&self.head_office_at_local_time);
    }
}

/// The milestones that were dated.
#[derive(Debug, Serialize, ToSchema)]
pub struct DatedMilestones {
    /// As they are now, in the order in which they were sent.
    #[schema(max_items = 100)]
    pub milestones: Vec<Milestone>,
}

/// Date several milestones of a season in one act: all of them, or none if one cannot be.
///
/// A milestone that has a date already takes its `etag` along. Gates and deadlines follow, so every troop's standing is
/// computed anew.
#[utoipa::path(tag = "seasons", params(SeasonPath), request_body = MilestoneDates, extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 200, description = "The milestones as they are now.", body = DatedMilestones), Problems))]
#[post("/v1/units/{unit_id}/seasons/{season_id}/milestones/dates")]
pub async fn date_milestones(
    permit: Permit<SeasonsChange>,
    path: Path<SeasonPath>,
    body: Json<MilestoneDates>,
) -> Result<Answer<DatedMilestones>, ApiError> {
    let sent = body.0.milestones;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    // Every change of a milestone holds its season first, so nobody else changes one meanwhile.
    let season = load::hold(&mut tx, unit, path.season_id).await?;
    tx.replay().await?;
    load::open(season.closed_at)?;
    let mut rows = milestones::all(&mut tx, unit, path.season_id).await?;
    let faults = apply(&sent, &mut rows, (season.starts_on, season.ends_on));
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let touched = Touched::season(path.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    let log_seq = tx.seq().await?;
    let mut dated = Vec::new();
    for one in &sent {
        if let Some(row) = rows.iter_mut().find(|row| row.code == one.code) {
            milestones::update(&mut tx, &permit, row, log_seq).await?;
            row.version += 1;
            tx.about("milestone", row.milestone_id);
            dated.push(row.clone());
        }
    }
    tx.about("field", "on_day");
    let calendar = load::calendar_of(&mut tx, unit, &season).await?;
    change::refresh(&mut tx, unit, &touched).await?;
    let now = permit.now();
    let milestones = dated.into_iter().map(|row| Milestone::new(row, &calendar, now)).collect();
    tx.commit_with(Answer::new(&DatedMilestones { milestones })?).await
}

/// Puts the dates into the rows; answers with everything that is wrong with them.
fn apply(sent: &[MilestoneDate], rows: &mut [MilestoneRow], season: (NaiveDate, NaiveDate)) -> Vec<FieldError> {
    let mut faults = Vec::new();
    for (n, one) in sent.iter().enumerate() {
        let fault =
            |field: &str, code: &str, detail: String| FieldError::at(format!("/milestones/{n}/{field}"), code, detail);
        if sent.iter().take(n).any(|before| before.code == one.code) {
            faults.push(fault("code", "twice", "each milestone once".to_owned()));
            continue;
        }
        let known = rows.iter().map(|row| row.code.as_str()).collect::<Vec<_>>().join(", ");
        let Some(row) = rows.iter_mut().find(|row| row.code == one.code) else {
            faults.push(fault("code", "unknown", format!("the code of a milestone of this season: {known}")));
            continue;
        };
        let dated = row.on_day.is_some() || row.head_office_on_day.is_some();
        match &one.etag {
            Some(read) if *read != etag(row.version) => {
                let detail = format!("{}: it has changed since you read it; look at its date again", etag(row.version));
                faults.push(fault("etag", "stale", detail));
            }
            None if dated => {
                let detail = "its etag (list_milestones), since it has a date already".to_owned();
                faults.push(fault("etag", "missing", detail));
            }
            _ => {}
        }
        one.apply(row);
    }
    for (n, one) in sent.iter().enumerate() {
        let first = !sent.iter().take(n).any(|before| before.code == one.code);
        let Some(row) = rows.iter().find(|row| row.code == one.code && first) else { continue };
        let mut own = row.date_faults();
        own.extend(rules::far_faults(season, row.days()));
        let days: Vec<_> = rows.iter().map(|row| (&*row.code, &*row.title, row.on_day)).collect();
        own.extend(rules::order_fault(&row.code, row.on_day, &days));
        faults.extend(own.into_iter().map(|fault| FieldError {
            pointer: fault.pointer.map(|field| format!("/milestones/{n}{field}")),
            ..fault
        }));
    }
    faults
}
