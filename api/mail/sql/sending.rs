//! What the worker reads and writes of a unit's messages. Due times follow the real clock.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::mail::outcome::{Claimed, Kept, Outcome};

/// What the unit is called.
pub(in crate::mail) async fn unit_name(tx: &mut Tx, unit: UnitId) -> Result<String, ApiError> {
    let name = sqlx::query_scalar!("select name from unit where unit_id = $1", unit.0);
    Ok(name.fetch_optional(tx.db()).await?.unwrap_or_default())
}

/// Takes the next one that is due, or that a worker took and did not finish within its time. What another worker has in hand
/// is passed over.
pub(in crate::mail) async fn claim(
    tx: &mut Tx,
    unit: UnitId,
    (now, taken_before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Option<Claimed>, ApiError> {
    let row = sqlx::query!(
        r#"update message set state = 'sending', claimed_at = $2, due_at = $2, attempts = attempts + 1
           where unit_id = $1 and message_id = (
               select message_id from message
               where unit_id = $1 and ((state = 'waiting' and due_at <= $2) or (state = 'sending' and claimed_at < $3))
               order by due_at, message_id limit 1 for update skip locked)
           returning message_id, to_address as "to_address!", subject, body, language, link_sealed, queued_at as "queued_at!", useless_at,
                     attempts"#,
        unit.0,
        now,
        taken_before
    );
    let row = row.fetch_optional(tx.db()).await?;
    Ok(row.map(|row| Claimed {
        id: row.message_id,
        to: row.to_address,
        subject: row.subject,
        body: row.body,
        language: row.language,
        link_sealed: row.link_sealed,
        queued_at: row.queued_at,
        useless_at: row.useless_at,
        attempts: row.attempts,
    }))
}

/// Writes down what became of a message that this worker took. One that was taken from it meanwhile is left alone.
pub(in crate::mail) async fn settle(
    tx: &mut Tx,
    unit: UnitId,
    message: Uuid,
    (claimed_at, now): (DateTime<Utc>, DateTime<Utc>),
    outcome: &Outcome,
) -> Result<bool, ApiError> {
    let Kept { state, due_at, answer, untried } = outcome.kept();
    let ended_at = due_at.is_none().then_some(now);
    let log_seq = if due_at.is_none() { Some(tx.seq().await?) } else { None };
    let settled = sqlx::query!(
        "update message set state = $4, due_at = $5, claimed_at = null, ended_at = $6, last_answer = $7,
                link_sealed = case when $6::timestamptz is null then link_sealed end,
                log_seq = coalesce($8, log_seq), version = version + 1, attempts = attempts - $9
         where unit_id = $1 and message_id = $2 and state = 'sending' and claimed_at = $3",
        unit.0,
        message,
        claimed_at,
        state,
        due_at,
        ended_at,
        answer,
        log_seq,
        untried
    );
    Ok(settled.execute(tx.db()).await?.rows_affected() == 1)
}

/// Invitations on their way to somebody who can sign in by now, or whose link has run out, held until the transaction ends.
pub(in crate::mail) async fn useless(tx: &mut Tx, unit: UnitId) -> Result<Vec<Uuid>, ApiError> {
    let now = tx.real_now();
    let ids = sqlx::query_scalar!(
        "select message_id from message
         where unit_id = $1 and kind = 'invitation' and state in ('draft', 'waiting') and (useless_at <= $2
             or exists (select from membership m where m.unit_id = message.unit_id and m.person_id = message.person_id))
         order by message_id limit 500 for no key update skip locked",
        unit.0,
        now
    );
    Ok(ids.fetch_all(tx.db()).await?)
}

/// Discards messages that are held.
pub(in crate::mail) async fn discard(
    tx: &mut Tx,
    unit: UnitId,
    messages: &[Uuid],
    log_seq: i64,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update message set state = 'discarded', due_at = null, claimed_at = null, ended_at = $3, link_sealed = null,
                version = version + 1, log_seq = $4
         where unit_id = $1 and message_id = any ($2)",
        unit.0,
        messages,
        now,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
