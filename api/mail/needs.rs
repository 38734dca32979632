//! What of mail needs a person: drafts that wait, and messages that did not arrive.

use serde_json::json;
use uuid::Uuid;

use super::sql;
use crate::auth::Tx;
use crate::auth::permission::MessagesSend;
use crate::common::ids::PersonId;
use crate::need::{Asked, Found, Need, NeedKind, Request, Stake};

/// Looks at the unit's messages.
pub(super) fn look<'a>(tx: &'a mut Tx, asked: &'a Asked) -> Found<'a> {
    Box::pin(async move {
        let (drafts, first, lost) = sql::waiting_for_somebody(tx, asked.unit).await?;
        let mut found: Vec<Need> = lost.into_iter().map(|row| lost_need(asked, row)).collect();
        if drafts > 0 {
            let what = if drafts == 1 {
                "Send or discard the message that waits.".to_owned()
            } else {
                format!("Send or discard the {drafts} messages that wait.")
            };
            found.push(Need {
                kind: NeedKind::SendDrafts,
                key: "drafts".to_owned(),
                what,
                why: "They were written and leave only when somebody says so, or sends them by hand.".to_owned(),
                since_at: first,
                by_at: None,
                stake: Stake::Nobody,
                troops: Vec::new(),
                person: None,
                look: Some(asked.path("messages?state=draft")),
                settle: Vec::new(),
            });
        }
        Ok(found)
    })
}

fn lost_need(asked: &Asked, (message, person, answer): (Uuid, Uuid, Option<String>)) -> Need {
    let path = asked.path(format_args!("messages/{message}"));
    let said = answer.map_or_else(String::new, |answer| {
        let plain: String = answer.chars().filter(|char| !matches!(char, '{' | '}')).take(160).collect();
        format!(" The mail server said: {plain}")
    });
    Need {
        kind: NeedKind::MendAddress,
        key: message.to_string(),
        what: "Reach {who} by another way, and mend the address.".to_owned(),
        why: format!("A message did not arrive.{said}"),
        since_at: None,
        by_at: None,
        stake: Stake::Nobody,
        troops: Vec::new(),
        person: Some(PersonId(person)),
        look: Some(path.clone()),
        settle: vec![Request::post::<MessagesSend>(format!("{path}/discard"), json!({}))],
    }
}
