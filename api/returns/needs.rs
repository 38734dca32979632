//! What of the season return needs a person now: one that is due, or one that is owed since the last was filed.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::changes;
use super::now;
use crate::auth::Tx;
use crate::auth::permission::ReturnsFile;
use crate::error::ApiError;
use crate::frozen::{self, Kind};
use crate::need::{Asked, Need, NeedKind, Request, Stake};

/// Looks at the returns of a season.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let due_at = asked.calendar.instant("return_due");
    let last = frozen::list(tx, asked.unit, (Kind::SeasonReturn, asked.season.season_id), None, 1).await?.pop();
    let Some(last) = last else { return Ok(due(asked, due_at).into_iter().collect()) };
    let present = now::document(tx, asked.unit, &asked.season, None).await?;
    let changed = changes::since(&last, &present)?.len();
    Ok(owed(asked, due_at, (last.number, last.made_at), changed).into_iter().collect())
}

/// The first return, once its day is near or over.
fn due(asked: &Asked, due_at: Option<DateTime<Utc>>) -> Option<Need> {
    let due_at = due_at.filter(|due| *due <= asked.ahead_until)?;
    let over = if due_at <= asked.now { " Its day is over." } else { "" };
    let why = format!("No return of this season has been filed yet.{over}");
    Some(need(asked, "first", "File the season return.".to_owned(), why, (None, Some(due_at))))
}

/// A new return, once something has changed since the last one.
fn owed(
    asked: &Asked,
    due_at: Option<DateTime<Utc>>,
    (number, filed_at): (i64, DateTime<Utc>),
    changed: usize,
) -> Option<Need> {
    let things = if changed == 1 { "1 thing has".to_owned() } else { format!("{changed} things have") };
    let why = format!("{things} changed since return {number} was filed.");
    let what = "File a new season return.".to_owned();
    // A day that was met with the last return is met; before it, the new one is due on it too.
    let by_at = due_at.filter(|due| *due > asked.now);
    (changed > 0).then(|| need(asked, &number.to_string(), what, why, (Some(filed_at), by_at)))
}

fn need(
    asked: &Asked,
    key: &str,
    what: String,
    why: String,
    (since_at, by_at): (Option<DateTime<Utc>>, Option<DateTime<Utc>>),
) -> Need {
    Need {
        kind: NeedKind::FileReturn,
        key: key.to_owned(),
        what,
        why,
        since_at,
        by_at,
        stake: if by_at.is_some() { Stake::Date } else { Stake::Nobody },
        troops: Vec::new(),
        person: None,
        look: Some(asked.path("return-preview")),
        settle: vec![Request::post::<ReturnsFile>(asked.path("returns"), json!({})).fill_in("/stamp")],
    }
}
