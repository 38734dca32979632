//! Which kinds of list are older than they usually become, and which lists wait for somebody.

use actix_web::get;
use chrono::{DateTime, Days, NaiveDate, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::find::IntakesPath;
use super::kinds::ListKind;
use super::shown::{IntakeState, state_of};
use super::sql::lists::{self, KindRow};
use super::work;
use crate::auth::permission::{IntakesRead, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{IntakeId, UnitId};
use crate::error::{ApiError, Problems};
use crate::seasons::{self, ThisSeason};

/// How the lists of one kind stand in the current season.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WatchedKind {
    /// The kind.
    pub kind: ListKind,
    /// How many lists of it were applied this season.
    pub applied: u32,
    /// The newest of them, by the day for which it speaks.
    #[schema(required = true)]
    pub newest_intake_id: Option<IntakeId>,
    /// That day.
    #[schema(required = true)]
    pub newest_listed_on: Option<NaiveDate>,
    /// How many days old it is.
    #[schema(required = true)]
    pub days_old: Option<u32>,
    /// How many days usually lie between two of them: the middle one of the gaps so far; null before the second list.
    #[schema(required = true)]
    pub usual_days: Option<u32>,
    /// Whether it is older than usual: by more than half of the usual days again.
    pub older_than_usual: bool,
    /// Lists that wait for somebody, the oldest first.
    #[schema(max_items = 1000)]
    pub waiting: Vec<WaitingList>,
}

/// A list that waits for somebody.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WaitingList {
    /// Which one.
    pub intake_id: IntakeId,
    /// The name of its file.
    #[schema(max_length = 200)]
    pub file_name: String,
    /// The day for which it speaks.
    pub listed_on: NaiveDate,
    /// When it was uploaded.
    pub uploaded_at: DateTime<Utc>,
    /// What it waits for.
    pub state: IntakeState,
    /// Rows about which a person must decide.
    pub waiting_rows: u32,
}

/// The kinds of list and how they stand.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct WatchedKinds {
    /// Every kind, in a fixed order.
    #[schema(max_items = 20)]
    pub items: Vec<WatchedKind>,
}

/// List the kinds of list: the newest of each, whether it is older than usual, and which lists wait for somebody.
#[utoipa::path(tag = "intake", params(IntakesPath), extensions(("x-permission" = json!(IntakesRead::NAME))), responses((status = 200, description = "The kinds.", body = WatchedKinds), Problems))]
#[get("/v1/units/{unit_id}/list-kinds")]
pub async fn list_list_kinds(
    permit: Permit<IntakesRead>,
    _path: Path<IntakesPath>,
) -> Result<Answer<WatchedKinds>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    let season = seasons::current(&mut tx, unit).await?;
    let items = watched(&mut tx, unit, &season).await?;
    Answer::new(&WatchedKinds { items })
}

/// How the lists of each kind stand in a season, today: for the work queue.
///
/// # Errors
/// Database faults.
pub async fn watched(tx: &mut Tx, unit: UnitId, season: &ThisSeason) -> Result<Vec<WatchedKind>, ApiError> {
    let rows = lists::of_season(tx, unit, season.season_id).await?;
    let today = work::today(tx, season);
    ListKind::ALL.iter().map(|kind| of_kind(*kind, &rows, today)).collect()
}

fn of_kind(kind: ListKind, rows: &[KindRow], today: NaiveDate) -> Result<WatchedKind, ApiError> {
    let (applied, waiting): (Vec<&KindRow>, Vec<&KindRow>) =
        rows.iter().filter(|row| row.kind == kind.name()).partition(|row| row.state == "applied");
    let newest = applied.last();
    let days_old = newest.map(|newest| days_between(newest.listed_on, today));
    let days: Vec<NaiveDate> = applied.iter().map(|row| row.listed_on).collect();
    let usual_days = usual_days(&days);
    let waiting = waiting.into_iter().map(|row| {
        Ok(WaitingList {
            intake_id: IntakeId(row.intake_id),
            file_name: row.file_name.clone(),
            listed_on: row.listed_on,
            uploaded_at: row.uploaded_at,
            state: state_of(&row.state)?,
            waiting_rows: u32::try_from(row.waiting_rows).unwrap_or(u32::MAX),
        })
    });
    Ok(WatchedKind {
        kind,
        applied: u32::try_from(applied.len()).unwrap_or(u32::MAX),
        newest_intake_id: newest.map(|newest| IntakeId(newest.intake_id)),
        newest_listed_on: newest.map(|newest| newest.listed_on),
        days_old,
        usual_days,
        older_than_usual: newest
            .zip(usual_days)
            .is_some_and(|(newest, usual)| old_from(newest.listed_on, usual).is_some_and(|from| today >= from)),
        waiting: waiting.collect::<Result<_, ApiError>>()?,
    })
}

fn days_between(from: NaiveDate, to: NaiveDate) -> u32 {
    u32::try_from((to - from).num_days()).unwrap_or(0)
}

/// The middle one of the gaps between the days of lists; of an even number of gaps the shorter middle one. Two lists of
/// one day are no gap.
pub(super) fn usual_days(days: &[NaiveDate]) -> Option<u32> {
    let pairs = days.iter().zip(days.iter().skip(1));
    let mut gaps: Vec<u32> = pairs.map(|(one, next)| days_between(*one, *next)).filter(|gap| *gap > 0).collect();
    gaps.sort_unstable();
    gaps.get(gaps.len().checked_sub(1)? / 2).copied()
}

/// The first day on which the newest list is older than one and a half times the usual: common practice, no source.
pub(super) fn old_from(newest: NaiveDate, usual_days: u32) -> Option<NaiveDate> {
    newest.checked_add_days(Days::new(u64::from(usual_days) * 3 / 2 + 1))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_interval_is_the_middle_gap() {
        let day = |text: &str| text.parse::<NaiveDate>().unwrap();
        for (days, want) in [
            (vec![], None),
            (vec!["2026-01-05"], None),
            (vec!["2026-01-05", "2026-01-05"], None),
            (vec!["2026-01-05", "2026-01-12"], Some(7)),
            (vec!["2026-01-05", "2026-01-12", "2026-01-12", "2026-01-26"], Some(7)),
            (vec!["2026-01-05", "2026-01-12", "2026-01-19", "2026-03-19"], Some(7)),
            (vec!["2026-01-05", "2026-01-12", "2026-01-22", "2026-03-19"], Some(10)),
        ] {
            assert_eq!(usual_days(&days.iter().map(|text| day(text)).collect::<Vec<_>>()), want, "{days:?}");
        }
    }

    #[test]
    fn a_list_is_old_after_one_and_a_half_times_the_usual_days() {
        let newest: NaiveDate = "2026-01-05".parse().unwrap();
        for (old, usual, want) in
            [(7, 7, false), (10, 7, false), (11, 7, true), (1, 1, false), (2, 1, true), (0, 7, false)]
        {
            let today = newest + Days::new(old);
            assert_eq!(old_from(newest, usual).is_some_and(|from| today >= from), want, "{old} days, usually {usual}");
        }
    }
}
