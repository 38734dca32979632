//! What a person says of a message: not needed, sent by hand, came back.

use actix_web::post;

use super::find_message::{MessagePath, WholeMessage};
use super::send_message::finish;
use super::sql;
use crate::auth::Permit;
use crate::auth::permission::{MessagesSend, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::Around;

/// Discard a message that has not left yet, or that was given up.
#[utoipa::path(tag = "mail", params(MessagePath), extensions(("x-permission" = json!(MessagesSend::NAME))), responses((status = 200, description = "It is discarded.", body = WholeMessage), Problems))]
#[post("/v1/units/{unit_id}/messages/{message_id}/discard")]
pub async fn discard_message(
    permit: Permit<MessagesSend>,
    around: Around,
    path: Path<MessagePath>,
) -> Result<Answer<WholeMessage>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::lock(&mut tx, &permit, path.message_id).await?;
    tx.replay_required().await?;
    if !matches!(row.state.as_str(), "draft" | "waiting" | "given_up") {
        return Err(ApiError::new(Code::WrongState)
            .detail("It has left already, is just being handed over, or was discarded: nothing is left to discard."));
    }
    let log_seq = tx.seq().await?;
    sql::end(&mut tx, &permit, path.message_id, ("discarded", false, log_seq)).await?;
    finish(tx, unit, path.message_id, &around.public_url).await
}

/// Say that you sent a draft by hand: from your own mail program, on paper, or by reading it out.
#[utoipa::path(tag = "mail", params(MessagePath), extensions(("x-permission" = json!(MessagesSend::NAME))), responses((status = 200, description = "It counts as sent.", body = WholeMessage), Problems))]
#[post("/v1/units/{unit_id}/messages/{message_id}/mark-sent")]
pub async fn mark_message_sent(
    permit: Permit<MessagesSend>,
    around: Around,
    path: Path<MessagePath>,
) -> Result<Answer<WholeMessage>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::lock(&mut tx, &permit, path.message_id).await?;
    tx.replay_required().await?;
    if !matches!(row.state.as_str(), "draft" | "given_up") {
        return Err(ApiError::new(Code::WrongState)
            .detail("Only a draft, or a message that was given up, can be sent by hand."));
    }
    let log_seq = tx.seq().await?;
    sql::end(&mut tx, &permit, path.message_id, ("sent", true, log_seq)).await?;
    finish(tx, unit, path.message_id, &around.public_url).await
}

/// Say that a message came back: nothing more goes to that address by itself until one is known to have arrived.
///
/// Mail servers tell the sender's mailbox, not this program; whoever reads that mailbox says so here.
#[utoipa::path(tag = "mail", params(MessagePath), extensions(("x-permission" = json!(MessagesSend::NAME))), responses((status = 200, description = "It came back.", body = WholeMessage), Problems))]
#[post("/v1/units/{unit_id}/messages/{message_id}/mark-bounced")]
pub async fn mark_message_bounced(
    permit: Permit<MessagesSend>,
    around: Around,
    path: Path<MessagePath>,
) -> Result<Answer<WholeMessage>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::lock(&mut tx, &permit, path.message_id).await?;
    tx.replay_required().await?;
    if row.state != "sent" || row.bounced_at.is_some() {
        return Err(ApiError::new(Code::WrongState)
            .detail("Only a message that was sent, and is not marked yet, can have come back."));
    }
    let log_seq = tx.seq().await?;
    sql::bounced(&mut tx, &permit, path.message_id, log_seq).await?;
    finish(tx, unit, path.message_id, &around.public_url).await
}
