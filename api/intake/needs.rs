//! What of the lists needs a person now: those that wait on their way, and kinds of which no new list has come for longer
//! than usual.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde_json::json;

use super::kinds::ListKind;
use super::sql::needs::{self as sql, Waiting};
use super::watch::{old_from, usual_days};
use crate::auth::Tx;
use crate::auth::permission::{IntakesApply, IntakesUpload};
use crate::common::etag::etag;
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};

/// Looks at the lists of a season.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let waiting = sql::waiting(tx, asked.unit, asked.season.season_id).await?;
    let mut days: BTreeMap<String, Vec<NaiveDate>> = BTreeMap::new();
    for (kind, day) in sql::days(tx, asked.unit, asked.season.season_id).await? {
        days.entry(kind).or_default().push(day);
    }
    let mut found: Vec<Need> =
        waiting.iter().filter(|list| list.state != "reading").map(|list| waits(asked, list)).collect();
    // A list of the kind that is on its way already is the new one.
    days.retain(|kind, _| !waiting.iter().any(|list| list.kind == *kind && list.state != "unreadable"));
    found.extend(days.iter().filter_map(|(kind, days)| old(asked, kind, days)));
    Ok(found)
}

fn waits(asked: &Asked, list: &Waiting) -> Need {
    let at = |act: &str| asked.path(format_args!("intakes/{}{act}", list.intake_id));
    let name = &list.file_name;
    let discard = Request::bare::<IntakesUpload>(at("/discard"));
    let counts = &list.counts.0;
    let (kind, what, why, look, settle) = match list.state.as_str() {
        "unreadable" => (
            NeedKind::ReplaceList,
            format!("Put \"{name}\" away, and upload a file that can be read."),
            list.fault.as_ref().map_or_else(String::new, |fault| format!("It could not be read. {}", fault.0.detail)),
            at(""),
            vec![discard],
        ),
        "needs_sheet" => (
            NeedKind::ChooseSheet,
            format!("Say which sheet of \"{name}\" is the list."),
            "Several of its sheets could be; none of them is read before that.".to_owned(),
            at(""),
            vec![Request::post::<IntakesUpload>(at("/sheet"), json!({})).fill_in("/sheet")],
        ),
        "needs_columns" => (
            NeedKind::ChooseColumns,
            format!("Say which columns of \"{name}\" are meant."),
            "A column that is needed was not recognised, or the order of its days cannot be told.".to_owned(),
            at(""),
            vec![Request::post::<IntakesUpload>(at("/columns"), json!({})).fill_in("/columns").fill_in("/date_orders")],
        ),
        _ if counts.waiting > 0 => (
            NeedKind::ResolveRows,
            format!("Decide about {} in \"{name}\".", rows(counts.waiting)),
            "It cannot be told for sure whom or what they mean; nothing of the list counts before that.".to_owned(),
            at("/rows?needs_a_person=true"),
            list.first_row.map_or_else(Vec::new, |row| {
                let path = at(&format!("/rows/{row}/resolve"));
                vec![Request::post::<IntakesUpload>(path, json!({})).fill_in("/decision")]
            }),
        ),
        _ => (
            NeedKind::ApplyList,
            format!("Apply \"{name}\", or put it away."),
            format!(
                "Its preview stands: {} would change something. Nothing of it counts yet.",
                rows(counts.changing_rows)
            ),
            at(""),
            vec![Request::post::<IntakesApply>(at("/apply"), json!({"preview": etag(list.version)})), discard],
        ),
    };
    Need {
        kind,
        key: list.intake_id.to_string(),
        what,
        why,
        since_at: Some(list.uploaded_at),
        by_at: None,
        stake: Stake::Behind,
        troops: Vec::new(),
        person: None,
        look: Some(look),
        settle,
    }
}

fn rows(count: u32) -> String {
    if count == 1 { "1 row".to_owned() } else { format!("{count} rows") }
}

fn old(asked: &Asked, kind: &str, days: &[NaiveDate]) -> Option<Need> {
    let usual = usual_days(days)?;
    let last = *days.last()?;
    let since_at = asked.calendar.start_of_day(old_from(last, usual)?);
    let called = ListKind::from_name(kind).map_or("list", ListKind::called);
    (since_at <= asked.now).then(|| Need {
        kind: NeedKind::UploadList,
        key: kind.to_owned(),
        what: format!("Fetch the newest {called} and upload it."),
        why: format!("The last one speaks for {last}; such a list usually comes every {}.", days_between(usual)),
        since_at: Some(since_at),
        by_at: None,
        stake: Stake::Behind,
        troops: Vec::new(),
        person: None,
        look: Some(asked.path("intakes")),
        settle: vec![Request::upload::<IntakesUpload>(asked, kind)],
    })
}

/// `day`, `3 days`: what stands after `every`.
fn days_between(usual: u32) -> String {
    if usual == 1 { "day".to_owned() } else { format!("{usual} days") }
}

#[cfg(test)]
mod tests {
    use super::{days_between, rows};

    #[test]
    fn one_row_is_one_row() {
        assert_eq!((rows(1), rows(12)), ("1 row".to_owned(), "12 rows".to_owned()));
        assert_eq!((days_between(1), days_between(3)), ("day".to_owned(), "3 days".to_owned()));
    }
}
