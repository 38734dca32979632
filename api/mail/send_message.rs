//! Send a draft, or try again what was given up.

use actix_web::post;

use super::find_message::{MessagePath, WholeMessage, shown};
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{MessagesSend, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// Send a message that waits as a draft, or once more one that was given up.
///
/// It goes to the address that it was written to, also while the unit sends nothing by itself. With another address, write
/// it anew. A link in it must still open something.
#[utoipa::path(tag = "mail", params(MessagePath), extensions(("x-permission" = json!(MessagesSend::NAME))), responses((status = 200, description = "It waits for the mail server.", body = WholeMessage), Problems))]
#[post("/v1/units/{unit_id}/messages/{message_id}/send")]
pub async fn send_message(
    permit: Permit<MessagesSend>,
    around: Around,
    path: Path<MessagePath>,
) -> Result<Answer<WholeMessage>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::lock(&mut tx, &permit, path.message_id).await?;
    tx.replay_required().await?;
    if !matches!(row.state.as_str(), "draft" | "given_up") {
        return Err(
            ApiError::new(Code::WrongState).detail("Only a draft, or a message that was given up, can be sent.")
        );
    }
    if around.mail.of_unit(unit).is_none() {
        return Err(ApiError::new(Code::WrongState).detail("This server has no mail server to hand messages to. Send it from your own mail program (`mailto` opens it there) and say so (mark_message_sent)."));
    }
    let Some(address) = row.to_address.as_deref() else { return Err(Code::EmailMissing.into()) };
    if row.body.contains(super::write::LINK) && sql::sealed_link(&mut tx, unit, path.message_id).await?.is_none() {
        return Err(ApiError::new(Code::WrongState)
            .detail("The link in it was used up or has run out: make a new one (invite_person)."));
    }
    let log_seq = tx.seq().await?;
    sql::queue(&mut tx, &permit, path.message_id, (address, log_seq)).await?;
    finish(tx, unit, path.message_id, &around.public_url).await
}

/// Answers with the message as it is now.
pub(super) async fn finish(
    mut tx: crate::auth::Tx,
    unit: crate::common::ids::UnitId,
    message: crate::common::ids::MessageId,
    own_address: &str,
) -> Result<Answer<WholeMessage>, ApiError> {
    let row = sql::find(&mut tx, unit, message).await?.ok_or(Code::NotFound)?;
    let version = row.version;
    tx.about("message", message);
    tx.commit_with(Answer::new(&shown(row, own_address)?)?.version(version)).await
}
