//! One message as it reads.

use std::fmt::Write as _;

use actix_web::get;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::compose;
use super::list_messages::MessageLine;
use super::sql::{self, MessageRow};
use super::write::LINK;
use crate::auth::Permit;
use crate::auth::permission::{MessagesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::ids::{MessageId, UnitId};
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// Which message.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct MessagePath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The message.
    #[param(value_type = uuid::Uuid)]
    pub(super) message_id: MessageId,
}

/// A message with its text.
#[derive(Debug, Serialize, ToSchema)]
pub struct WholeMessage {
    /// To whom, about what, how far.
    pub message: MessageLine,
    /// The text. Where a secret link goes out, it says so and does not show it.
    #[schema(max_length = 40000)]
    pub text: String,
    /// The same as HTML, as a mail program shows it.
    #[schema(max_length = 200_000)]
    pub html: String,
    /// A link that opens it in your own mail program (RFC 6068), for a draft to somebody with an address; null otherwise, and for
    /// a text with a secret link.
    #[schema(required = true, max_length = 200_000)]
    pub mailto: Option<String>,
}

/// What stands in a text where a secret goes out.
const HIDDEN: &str = "(here the message has a link that only its reader sees)";

pub(super) fn shown(row: MessageRow, own_address: &str) -> Result<WholeMessage, ApiError> {
    let secret = row.body.contains(LINK);
    let text = row.body.replace(LINK, HIDDEN);
    let html = compose::html(&row.subject, &text, own_address, &row.language);
    let mailto = row.to_address.as_deref().filter(|_| row.state == "draft" && !secret);
    let mailto = mailto.map(|address| mailto_link(address, &row.subject, &text));
    Ok(WholeMessage { message: row.try_into()?, text, html, mailto })
}

/// A `mailto:` address (RFC 6068): every byte that is not plain is given by its number, line ends as CRLF.
fn mailto_link(address: &str, subject: &str, text: &str) -> String {
    let body = text.replace('\n', "\r\n");
    format!("mailto:{}?subject={}&body={}", percent(address), percent(subject), percent(&body))
}

fn percent(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for byte in text.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~@".contains(&byte) {
            out.push(char::from(byte));
        } else {
            // A `String` takes every text: writing to it cannot fail.
            let _ = write!(out, "%{byte:02X}");
        }
    }
    out
}

/// Show a message with its text.
#[utoipa::path(tag = "mail", params(MessagePath), extensions(("x-permission" = json!(MessagesRead::NAME))), responses((status = 200, description = "The message.", body = WholeMessage), Problems))]
#[get("/v1/units/{unit_id}/messages/{message_id}")]
pub async fn find_message(
    permit: Permit<MessagesRead>,
    around: Around,
    path: Path<MessagePath>,
) -> Result<Answer<WholeMessage>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::find(&mut tx, unit, path.message_id).await?.ok_or(Code::NotFound)?;
    let version = row.version;
    Ok(Answer::new(&shown(row, &around.public_url)?)?.version(version))
}

#[cfg(test)]
mod tests {
    use super::mailto_link;

    #[test]
    fn a_mailto_link_carries_every_sign() {
        // RFC 6068 section 5 and 6: percent-encoding, CRLF as %0D%0A, UTF-8 by its bytes.
        assert_eq!(
            mailto_link("ann+x@example.org", "Troop 7: still open?", "Café & tea\n100 %"),
            "mailto:ann%2Bx@example.org?subject=Troop%207%3A%20still%20open%3F&body=Caf%C3%A9%20%26%20tea%0D%0A100%20%25"
        );
    }
}
