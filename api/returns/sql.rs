//! Every query of what became of a filed return: that it was sent, and what came back.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::{PeopleErase, ReturnsFile};
use crate::auth::{Permit, Tx};
use crate::common::ids::{ReturnId, UnitId};
use crate::error::ApiError;

/// That a return was sent.
#[derive(Clone, Debug)]
pub(super) struct SendingRow {
    pub sending_id: Uuid,
    pub document_id: Uuid,
    pub sent_at: DateTime<Utc>,
    pub sent_to: String,
    pub way: String,
    pub noted_at: DateTime<Utc>,
    pub noted_by: String,
    pub answer: Option<String>,
    pub answer_reason: Option<String>,
    pub answered_at: Option<DateTime<Utc>>,
    pub answer_by: Option<String>,
}

pub(super) async fn insert(
    tx: &mut Tx,
    by: &Permit<ReturnsFile>,
    row: &SendingRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into return_sending (unit_id, sending_id, document_id, sent_at, sent_to, way, noted_at, noted_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
        by.unit()?.0,
        row.sending_id,
        row.document_id,
        row.sent_at,
        row.sent_to,
        row.way,
        row.noted_at,
        row.noted_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Locks every sending of a return, so that two answers at once follow one another.
pub(super) async fn lock(tx: &mut Tx, by: &Permit<ReturnsFile>, document: ReturnId) -> Result<(), ApiError> {
    sqlx::query_scalar!(
        "select sending_id from return_sending where unit_id = $1 and document_id = $2 order by sending_id for no key update",
        by.unit()?.0,
        document.0
    )
    .fetch_all(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn answer(
    tx: &mut Tx,
    by: &Permit<ReturnsFile>,
    row: &SendingRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update return_sending set answer = $3, answer_reason = $4, answered_at = $5, answer_by = $6, log_seq = $7
         where unit_id = $1 and sending_id = $2 and answer is null",
        by.unit()?.0,
        row.sending_id,
        row.answer,
        row.answer_reason,
        row.answered_at,
        row.answer_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The sendings of a return, the newest first, from before one on.
pub(super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    document: ReturnId,
    before: Option<Uuid>,
    limit: i64,
) -> Result<Vec<SendingRow>, ApiError> {
    let rows = sqlx::query_as!(
        SendingRow,
        "select sending_id, document_id, sent_at, sent_to, way, noted_at, noted_by, answer, answer_reason, answered_at, answer_by
         from return_sending
         where unit_id = $1 and document_id = $2 and ($3::uuid is null or sending_id < $3)
         order by sending_id desc limit $4",
        unit.0,
        document.0,
        before,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// The newest sending of each of these returns.
pub(super) async fn newest(tx: &mut Tx, unit: UnitId, documents: &[Uuid]) -> Result<Vec<SendingRow>, ApiError> {
    let rows = sqlx::query_as!(
        SendingRow,
        "select distinct on (document_id) sending_id, document_id, sent_at, sent_to, way, noted_at, noted_by, answer,
                answer_reason, answered_at, answer_by
         from return_sending where unit_id = $1 and document_id = any ($2)
         order by document_id, sending_id desc",
        unit.0,
        documents
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// Takes away what was noted of a sending where it names a person by one of these words.
pub(super) async fn erase_words(tx: &mut Tx, by: &Permit<PeopleErase>, words: &[String]) -> Result<(), ApiError> {
    sqlx::query!(
        "update return_sending
         set sent_to = 'erased', answer_reason = case when answer_reason is not null then 'erased' end
         where unit_id = $1 and exists (select from unnest($2::text[]) as word
             where position(word in lower(concat_ws(' ', sent_to, answer_reason))) > 0)",
        by.unit()?.0,
        words
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
