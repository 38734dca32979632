//! What of the season return needs a person now: one that is due, or one that is owed since the last was filed.

use chrono::{DateTime, Utc};
use serde_json::json;

use super::changes;
use super::now;
use super::sql::{self, SendingRow};
use crate::auth::Tx;
use crate::auth::permission::ReturnsFile;
use crate::error::ApiError;
use crate::frozen::{self, Frozen, Kind};
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
    let sending = sql::newest(tx, asked.unit, &[last.document_id]).await?.pop();
    let back = sending.as_ref().filter(|sending| sending.answer.as_deref() == Some("sent_back"));
    let found = match (back, &sending) {
        (Some(back), _) => Some(sent_back(asked, due_at, &last, back)),
        (None, None) if changed == 0 => {
            let met = sent_before(tx, asked, &last).await?;
            // A day that was met with an earlier return is met; before it, the newest is due on it too.
            Some(unsent(asked, due_at.filter(|due| !met || *due > asked.now), &last))
        }
        _ => owed(asked, due_at, &last, changed),
    };
    Ok(found.into_iter().collect())
}

/// Whether an earlier return of the season went out, and did not come back.
async fn sent_before(tx: &mut Tx, asked: &Asked, last: &Frozen) -> Result<bool, ApiError> {
    let kind = (Kind::SeasonReturn, asked.season.season_id);
    let earlier = frozen::list(tx, asked.unit, kind, Some(last.number), 100).await?;
    let ids: Vec<_> = earlier.iter().map(|one| one.document_id).collect();
    let sendings = sql::newest(tx, asked.unit, &ids).await?;
    Ok(sendings.iter().any(|sending| sending.answer.as_deref() != Some("sent_back")))
}

/// A filed return that nobody marked as sent.
fn unsent(asked: &Asked, by_at: Option<DateTime<Utc>>, last: &Frozen) -> Need {
    let path = asked.path(format_args!("returns/{}", last.document_id));
    let mark = Request::post::<ReturnsFile>(format!("{path}/sendings"), json!({}));
    Need {
        kind: NeedKind::SendReturn,
        key: last.number.to_string(),
        what: format!("Send season return {} to head office, and mark it as sent.", last.number),
        why: "It is filed, and nobody has said that it was sent.".to_owned(),
        since_at: Some(last.made_at),
        by_at,
        stake: if by_at.is_some() { Stake::Date } else { Stake::Nobody },
        troops: Vec::new(),
        person: None,
        look: Some(format!("{path}/file?format=pdf")),
        settle: vec![mark.fill_in("/sent_to").fill_in("/way")],
    }
}

/// A return that head office sent back.
fn sent_back(asked: &Asked, due_at: Option<DateTime<Utc>>, last: &Frozen, back: &SendingRow) -> Need {
    let said = back.answer_reason.as_deref().unwrap_or_default();
    let what = "Put right what head office sent back, and file a new season return.".to_owned();
    let why = format!("Return {} was sent back: {said}", last.number);
    need(asked, &last.number.to_string(), what, why, (back.answered_at, due_at))
}

/// The first return, once its day is near or over.
fn due(asked: &Asked, due_at: Option<DateTime<Utc>>) -> Option<Need> {
    let due_at = due_at.filter(|due| *due <= asked.ahead_until)?;
    let over = if due_at <= asked.now { " Its day is over." } else { "" };
    let why = format!("No return of this season has been filed yet.{over}");
    Some(need(asked, "first", "File the season return.".to_owned(), why, (None, Some(due_at))))
}

/// A new return, once something has changed since the last one.
fn owed(asked: &Asked, due_at: Option<DateTime<Utc>>, last: &Frozen, changed: usize) -> Option<Need> {
    let things = if changed == 1 { "1 thing has".to_owned() } else { format!("{changed} things have") };
    let why = format!("{things} changed since return {} was filed.", last.number);
    let what = "File a new season return.".to_owned();
    // A day that was met with the last return is met; before it, the new one is due on it too.
    let by_at = due_at.filter(|due| *due > asked.now);
    (changed > 0).then(|| need(asked, &last.number.to_string(), what, why, (Some(last.made_at), by_at)))
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
