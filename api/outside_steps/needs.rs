//! Steps that nobody has ticked yet, each kind of them as one item.

use std::collections::BTreeMap;

use serde_json::json;

use super::rules::Due;
use super::sql;
use crate::auth::Tx;
use crate::auth::permission::OutsideStepsTick;
use crate::common::ids::TroopId;
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};

/// How many of one step a request names at most.
const AT_ONCE: usize = 200;

/// Looks at what is still to be repeated in head office's system.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let book = sql::book(tx, asked.unit, asked.season.season_id).await?;
    let due = book.due();
    let mut open: BTreeMap<&str, Vec<&Due<'_>>> = BTreeMap::new();
    for due in due.iter().filter(|due| due.done.is_none()) {
        open.entry(&due.step.code).or_default().push(due);
    }
    Ok(open.into_values().filter_map(|due| need(asked, &due)).collect())
}

fn need(asked: &Asked, due: &[&Due<'_>]) -> Option<Need> {
    let first = due.first()?;
    let times = if due.len() == 1 { String::new() } else { format!(" ({} times)", due.len()) };
    let steps: Vec<_> =
        due.iter().take(AT_ONCE).map(|due| json!({"step": due.step.code, "event_id": due.after.event_id})).collect();
    let mut troops: Vec<TroopId> = due.iter().filter_map(|due| due.after.troop_id.map(TroopId)).collect();
    troops.sort_unstable();
    troops.dedup();
    let about = if troops.is_empty() { String::new() } else { " For {troops}.".to_owned() };
    Some(Need {
        kind: NeedKind::OutsideStep,
        key: first.step.code.clone(),
        what: format!("{}{times}, and tick it.", first.step.title.trim_end_matches('.')),
        why: format!("The policy wants it repeated in head office's system, and nobody has said that it was.{about}"),
        since_at: Some(first.after.at),
        by_at: None,
        stake: Stake::Nobody,
        troops,
        person: None,
        look: Some(asked.path("outside-steps?done=false")),
        settle: vec![Request::post::<OutsideStepsTick>(
            asked.path("outside-steps/tick"),
            json!({"steps": steps, "done": true}),
        )],
    })
}
