//! Mark a filed return as sent, and note what came back.

use actix_web::post;
use chrono::{DateTime, SubsecRound as _, Utc};
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;
use uuid::Uuid;

use super::find::{ReturnPath, find};
use super::now;
use super::sending::{ReturnAnswer, ReturnSending, SendingWay};
use super::sql::{self, SendingRow};
use crate::auth::permission::{Permission as _, ReturnsFile};
use crate::auth::{Permit, Tx};
use crate::common::answer::{Answer, Created};
use crate::common::body::{Json, Path};
use crate::common::ids::ReturnId;
use crate::common::text;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::seasons;

/// That a return was sent.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"sent_to": "Head office, season desk", "way": "mail"}))]
pub struct NewSending {
    /// To whom: an office or a role rather than a person.
    #[garde(length(chars, min = 1, max = 200), custom(text::line))]
    #[schema(min_length = 1, max_length = 200)]
    sent_to: String,
    /// How.
    #[garde(skip)]
    way: SendingWay,
    /// When; leave it out for now. Not before it was filed, and not in the future.
    #[garde(skip)]
    sent_at: Option<DateTime<Utc>>,
    /// Whether it was sent once more, after it was marked as sent before.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    again: bool,
}

/// What came back.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"answer": "received"}))]
pub struct NewReturnAnswer {
    /// What head office said.
    #[garde(skip)]
    answer: ReturnAnswer,
    /// Why, which must be said of a return that was sent back.
    #[garde(length(chars, min = 1, max = 1000), inner(custom(text::line)))]
    #[schema(min_length = 1, max_length = 1000)]
    reason: Option<String>,
    /// When it came; leave it out for now. Not before it was sent, and not in the future.
    #[garde(skip)]
    answered_at: Option<DateTime<Utc>>,
}

/// Note that a filed return was sent: to whom, how and when.
///
/// It may be sent more than once, and each time is noted by itself; so that nobody notes the same twice, the later ones say
/// `"again": true`.
#[utoipa::path(tag = "returns", params(ReturnPath), request_body = NewSending, extensions(("x-permission" = json!(ReturnsFile::NAME))), responses((status = 201, description = "The note.", body = ReturnSending), Problems))]
#[post("/v1/units/{unit_id}/returns/{return_id}/sendings")]
pub async fn mark_return_sent(
    permit: Permit<ReturnsFile>,
    path: Path<ReturnPath>,
    body: Json<NewSending>,
) -> Result<Created<ReturnSending>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let frozen = find(&mut tx, unit, path.return_id).await?;
    tx.replay_required().await?;
    seasons::guard_open(&mut tx, unit, frozen.season).await?;
    // Under the log's head: two who mark it at once follow one another.
    let log_seq = tx.seq().await?;
    if !body.0.again && !sql::newest(&mut tx, unit, &[frozen.document_id]).await?.is_empty() {
        return Err(Code::SentBefore.into());
    }
    let at = tx.logged_at();
    let sent_at = when("/sent_at", body.0.sent_at, (frozen.made_at, at))?;
    let row = SendingRow {
        sending_id: Uuid::now_v7(),
        document_id: frozen.document_id,
        sent_at,
        sent_to: body.0.sent_to,
        way: body.0.way.name().to_owned(),
        noted_at: at,
        noted_by: tx.actor().to_owned(),
        answer: None,
        answer_reason: None,
        answered_at: None,
        answer_by: None,
    };
    sql::insert(&mut tx, &permit, &row, log_seq).await?;
    tx.about("return", frozen.document_id);
    let location = format!("/v1/units/{unit}/returns/{}/sendings", frozen.document_id);
    tx.commit_with(Created::new(&ReturnSending::try_from(row)?)?.location(location)).await
}

/// Note what came back for a return that was sent: received, or sent back with the reason.
///
/// It is noted once for the newest sending; what was noted wrongly is put right by marking the return as sent again and noting
/// what is true. A return that was sent back says that a new one is owed.
#[utoipa::path(tag = "returns", params(ReturnPath), request_body = NewReturnAnswer, extensions(("x-permission" = json!(ReturnsFile::NAME))), responses((status = 200, description = "The sending with its answer.", body = ReturnSending), Problems))]
#[post("/v1/units/{unit_id}/returns/{return_id}/answer")]
pub async fn note_return_answer(
    permit: Permit<ReturnsFile>,
    path: Path<ReturnPath>,
    body: Json<NewReturnAnswer>,
) -> Result<Answer<ReturnSending>, ApiError> {
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    let frozen = find(&mut tx, unit, path.return_id).await?;
    tx.replay_required().await?;
    seasons::guard_open(&mut tx, unit, frozen.season).await?;
    sql::lock(&mut tx, &permit, path.return_id).await?;
    let NewReturnAnswer { answer, reason, answered_at } = body.0;
    if answer == ReturnAnswer::SentBack && reason.is_none() {
        let fault = FieldError::at("/reason", "missing", "what head office said it was sent back for");
        return Err(ApiError::new(Code::Invalid).errors(vec![fault]));
    }
    let mut row = waiting(&mut tx, &permit, path.return_id).await?;
    let log_seq = tx.seq().await?;
    let at = tx.logged_at();
    row.answered_at = Some(when("/answered_at", answered_at, (row.sent_at, at))?);
    row.answer = Some(answer.name().to_owned());
    row.answer_reason = reason;
    row.answer_by = Some(tx.actor().to_owned());
    sql::answer(&mut tx, &permit, &row, log_seq).await?;
    tx.about("return", frozen.document_id);
    tx.commit_with(Answer::new(&ReturnSending::try_from(row)?)?).await
}

/// The newest sending, which waits for an answer.
async fn waiting(tx: &mut Tx, permit: &Permit<ReturnsFile>, of: ReturnId) -> Result<SendingRow, ApiError> {
    let newest = sql::newest(tx, permit.unit()?, &[of.0]).await?.pop();
    let refused = |detail: &'static str| ApiError::new(Code::WrongState).detail(detail);
    let newest = newest.ok_or_else(|| {
        refused("This return is not marked as sent yet. Mark it as sent (mark_return_sent), then note what came back.")
    })?;
    if newest.answer.is_some() {
        let told = "What came back for the newest sending is noted already. If it was sent again, mark that first.";
        return Err(refused(told));
    }
    Ok(newest)
}

/// When something happened: as it is said, or now; within what is possible.
fn when(
    pointer: &str,
    said: Option<DateTime<Utc>>,
    (from, to): (DateTime<Utc>, DateTime<Utc>),
) -> Result<DateTime<Utc>, ApiError> {
    let at = said.map_or(to, |said| said.trunc_subsecs(6));
    if (from..=to).contains(&at) {
        return Ok(at);
    }
    let expected = format!("an instant from {} to now", from.format("%Y-%m-%dT%H:%M:%SZ"));
    Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at(pointer, "out_of_order", expected)]))
}
