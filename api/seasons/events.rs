//! The milestones of a season as entries of a calendar.

use chrono::{DateTime, NaiveDate, Utc};

use super::calendar::{Calendar, When};
use super::kind::MilestoneKind;
use super::load::{self, ThisSeason};
use super::rules;
use super::sql::events::{self, EventRow};
use crate::auth::Tx;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// An entry of a calendar.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DatedEvent {
    /// Stays the same as long as it is the same event; an event that comes every week has one for each week.
    pub uid: String,
    /// What people call it.
    pub title: String,
    /// When it is.
    pub starts: Starts,
    /// What else is to be known about its date; empty where nothing is.
    pub note: String,
    /// How often it was changed.
    pub sequence: u32,
    /// When it was last changed.
    pub changed_at: DateTime<Utc>,
    /// Whether it does not take place any more.
    pub cancelled: bool,
}

/// When an entry of a calendar begins.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Starts {
    /// On this day, as it is there where the season is.
    Day(NaiveDate),
    /// At this instant.
    At(DateTime<Utc>),
}

/// The dated milestones of a season, and those that had a day and have it no more; by their ids.
///
/// # Errors
/// Database faults.
pub async fn events(tx: &mut Tx, unit: UnitId, season: &ThisSeason) -> Result<Vec<DatedEvent>, ApiError> {
    let calendar = load::calendar_of(tx, unit, season).await?;
    let rows = events::rows(tx, unit, season.season_id).await?;
    Ok(rows.into_iter().flat_map(|row| of_milestone(row, &calendar)).collect())
}

fn of_milestone(row: EventRow, calendar: &Calendar) -> Vec<DatedEvent> {
    let EventRow { gone, changed_at, .. } = row;
    let row = row.milestone();
    let (kind, until, version, id) = (row.kind(), row.repeats_until_on, row.version, row.milestone_id);
    let meant = load::milestone(row);
    let Some(first) = meant.ours.or(meant.head_office) else { return Vec::new() };
    let note = note(kind, meant.ours, meant.head_office);
    let days = rules::weekly(first.day(), until);
    let event = |day: NaiveDate| DatedEvent {
        uid: if until.is_some() { format!("{id}-{day}") } else { id.to_string() },
        title: meant.title.clone(),
        starts: match first.on(day) {
            When::Day(day) | When::Begin(day) => Starts::Day(day),
            hour @ When::Hour(_) => Starts::At(calendar.resolve(hour)),
        },
        note: note.clone(),
        sequence: u32::try_from(version - 1).unwrap_or(u32::MAX),
        changed_at,
        cancelled: gone,
    };
    days.into_iter().map(event).collect()
}

/// What a volunteer should know of a date besides the date.
fn note(kind: MilestoneKind, ours: Option<When>, head_office: Option<When>) -> String {
    let first = ours.or(head_office);
    let mut said = Vec::new();
    match (kind, first) {
        (MilestoneKind::Deadline, Some(When::Day(_))) => said.push("Counts to the end of the day.".to_owned()),
        (MilestoneKind::Opening, Some(When::Begin(_))) => said.push("From the beginning of the day.".to_owned()),
        _ => {}
    }
    let written = |when: When| match when {
        When::Day(day) | When::Begin(day) => day.to_string(),
        When::Hour(local) => local.format("%Y-%m-%d, %H:%M").to_string(),
    };
    match (ours, head_office) {
        (Some(_), Some(theirs)) => said.push(format!("Head office's own date: {}.", written(theirs))),
        (None, Some(_)) => said.push("Head office's date; your unit has set none of its own.".to_owned()),
        _ => {}
    }
    said.join(" ")
}
