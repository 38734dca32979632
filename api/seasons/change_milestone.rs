//! Date, move or rename a milestone.

use actix_web::patch;
use chrono::{NaiveDate, NaiveTime};
use garde::Validate;
use serde::Deserialize;
use utoipa::{IntoParams, ToSchema};

use super::kind::MilestoneKind;
use super::list_milestones::Milestone;
use super::sql::milestones::{self, MilestoneRow};
use super::{load, rules};
use crate::auth::permission::{Permission as _, SeasonsChange};
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::common::ids::{MilestoneId, SeasonId, UnitId};
use crate::common::text::{self, not_null};
use crate::error::{ApiError, Code, Problems};

/// Which milestone.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct MilestonePath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The season.
    #[param(value_type = uuid::Uuid)]
    pub(super) season_id: SeasonId,
    /// The milestone.
    #[param(value_type = uuid::Uuid)]
    pub(super) milestone_id: MilestoneId,
}

/// What to change of a milestone; a field that is left out stays, null takes a date away.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"on_day": "2027-01-16", "at_local_time": null}))]
pub struct MilestoneChange {
    /// What people call it.
    #[garde(inner(length(chars, min = 1, max = 120), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 120)]
    title: Patch<String>,
    /// What it is: whether its day counts to its end or from its beginning, and how it stands to head office's.
    #[garde(skip)]
    #[serde(default)]
    #[schema(value_type = MilestoneKind, required = false)]
    kind: Patch<MilestoneKind>,
    /// Our day; null means not fixed yet, and takes the time of day with it.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = Option<NaiveDate>)]
    on_day: Patch<NaiveDate>,
    /// Our local time of day; null means the end of the day, of an opening its beginning.
    #[garde(inner(custom(text::time_of_day)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    at_local_time: Patch<String>,
    /// Head office's own day; null means that it does not differ, and takes the time of day with it.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = Option<NaiveDate>)]
    head_office_on_day: Patch<NaiveDate>,
    /// Head office's local time of day; null means the end of the day, of an opening its beginning.
    #[garde(inner(custom(text::time_of_day)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 5, max_length = 5, pattern = "^([01][0-9]|2[0-3]):[0-5][0-9]$")]
    head_office_at_local_time: Patch<String>,
    /// The last day up to which it comes back every week from our day on; null means that it comes once.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = Option<NaiveDate>)]
    repeats_until_on: Patch<NaiveDate>,
}

impl MilestoneChange {
    fn apply(&self, row: &mut MilestoneRow) {
        if let Some(title) = self.title.value() {
            title.trim().clone_into(&mut row.title);
        }
        if let Some(kind) = self.kind.value() {
            kind.name().clone_into(&mut row.kind);
        }
        row.at_local_time = time_after(&self.on_day, &self.at_local_time, row.at_local_time);
        row.on_day = self.on_day.apply(row.on_day);
        row.head_office_at_local_time =
            time_after(&self.head_office_on_day, &self.head_office_at_local_time, row.head_office_at_local_time);
        row.head_office_on_day = self.head_office_on_day.apply(row.head_office_on_day);
        row.repeats_until_on = match (&self.on_day, &self.repeats_until_on) {
            (Patch::Clear, Patch::Leave) => None,
            (_, sent) => sent.apply(row.repeats_until_on),
        };
    }

    /// Whether a day is sent.
    fn moves(&self) -> bool {
        let days = [&self.on_day, &self.head_office_on_day, &self.repeats_until_on];
        days.into_iter().any(|day| day.value().is_some())
    }

    /// Whether anything of a date, or of what it means, is sent.
    fn dates(&self) -> bool {
        self.fields().any(|field| field != "title")
    }

    /// The names of the fields that were sent, for the log.
    fn fields(&self) -> impl Iterator<Item = &'static str> {
        [
            (self.title != Patch::Leave, "title"),
            (self.kind != Patch::Leave, "kind"),
            (self.on_day != Patch::Leave, "on_day"),
            (self.at_local_time != Patch::Leave, "at_local_time"),
            (self.head_office_on_day != Patch::Leave, "head_office_on_day"),
            (self.head_office_at_local_time != Patch::Leave, "head_office_at_local_time"),
            (self.repeats_until_on != Patch::Leave, "repeats_until_on"),
        ]
        .into_iter()
        .filter_map(|(sent, name)| sent.then_some(name))
    }
}

/// The time of day after a change: a day that is taken away takes its time along, unless one was sent.
fn time_after(day: &Patch<NaiveDate>, time: &Patch<String>, present: Option<NaiveTime>) -> Option<NaiveTime> {
    match (day, time) {
        (Patch::Clear, Patch::Leave) | (_, Patch::Clear) => None,
        (_, Patch::Leave) => present,
        (_, Patch::Set(text)) => text::local_time(text),
    }
}

/// Date, move or rename a milestone.
///
/// Gates and deadlines follow it, so every troop's standing is computed anew.
#[utoipa::path(tag = "seasons", params(MilestonePath), request_body = MilestoneChange, extensions(("x-permission" = json!(SeasonsChange::NAME))), responses((status = 200, description = "The milestone as it is now.", body = Milestone), Problems))]
#[patch("/v1/units/{unit_id}/seasons/{season_id}/milestones/{milestone_id}")]
pub async fn change_milestone(
    permit: Permit<SeasonsChange>,
    path: Path<MilestonePath>,
    body: Json<MilestoneChange>,
    if_match: IfMatch,
) -> Result<Answer<Milestone>, ApiError> {
    let sent = body.0;
    let cleared: Vec<_> =
        [not_null("/title", &sent.title), not_null("/kind", &sent.kind)].into_iter().flatten().collect();
    if !cleared.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(cleared));
    }
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = load::hold(&mut tx, unit, path.season_id).await?;
    let mut row = milestones::lock(&mut tx, &permit, path.season_id, path.milestone_id).await?;
    if_match.require(row.version)?;
    load::open(season.closed_at)?;
    sent.apply(&mut row);
    let faults = if sent.dates() { row.date_faults() } else { Vec::new() };
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let others = milestones::all(&mut tx, unit, path.season_id).await?;
    let days: Vec<_> = others.iter().map(|one| (&*one.code, &*one.title, one.on_day)).collect();
    let mut faults =
        if sent.moves() { rules::far_faults((season.starts_on, season.ends_on), row.days()) } else { Vec::new() };
    faults.extend(rules::order_fault(&row.code, row.on_day, &days).filter(|_| sent.on_day != Patch::Leave));
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    if row.repeats_until_on.is_some() {
        no_gate_waits_for(&mut tx, unit, path.season_id, &row.code).await?;
    }
    let touched = Touched::season(path.season_id);
    change::hold(&mut tx, unit, &touched).await?;
    let log_seq = tx.seq().await?;
    milestones::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    let calendar = load::calendar_of(&mut tx, unit, &season).await?;
    tx.about("milestone", path.milestone_id);
    sent.fields().for_each(|field| tx.about("field", field));
    change::refresh(&mut tx, unit, &touched).await?;
    tx.commit_with(Answer::new(&Milestone::new(row, &calendar, permit.now()))?).await
}

/// A gate waits for one point in time: what the policy names cannot come back every week.
async fn no_gate_waits_for(tx: &mut Tx, unit: UnitId, season: SeasonId, code: &str) -> Result<(), ApiError> {
    let policy = load::policy_of(tx, unit, season).await?;
    let mut rules = policy.gates.iter().flat_map(|gate| &gate.rules);
    if rules.any(|rule| [&rule.from, &rule.until].into_iter().flatten().any(|named| named == code)) {
        let detail = "A gate of the policy waits for this milestone, so it must come once. Change the policy first, or add another milestone that repeats.";
        return Err(ApiError::new(Code::Conflict).detail(detail));
    }
    Ok(())
}
