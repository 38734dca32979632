//! Every query of the server's mail to its accounts.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::common::ids::AccountId;
use crate::error::ApiError;
use crate::mail::outcome::{Kept, Outcome};

/// A message of the server, taken by the worker.
#[derive(Clone, Debug)]
pub(in crate::mail) struct AccountClaimed {
    pub id: Uuid,
    pub kind: String,
    pub to: String,
    pub link_sealed: Option<Vec<u8>>,
    pub queued_at: DateTime<Utc>,
    pub useless_at: DateTime<Utc>,
    pub attempts: i32,
}

pub(in crate::mail) async fn insert(
    tx: &mut Tx,
    (id, account): (Uuid, AccountId),
    (kind, to): (&str, &str),
    link_sealed: Option<&[u8]>,
    useless_at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "insert into account_message (account_message_id, account_id, kind, to_address, link_sealed, state, queued_at, due_at, useless_at,
                                      attempts)
         values ($1, $2, $3, $4, $5, 'waiting', $6, $6, $7, 0)",
        id,
        account.0,
        kind,
        to,
        link_sealed,
        now,
        useless_at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// As `sending::claim`, for the server's.
pub(in crate::mail) async fn claim(
    tx: &mut Tx,
    (now, taken_before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Option<AccountClaimed>, ApiError> {
    let row = sqlx::query!(
        "update account_message set state = 'sending', claimed_at = $1, due_at = $1, attempts = attempts + 1
         where account_message_id = (
             select account_message_id from account_message
             where (state = 'waiting' and due_at <= $1) or (state = 'sending' and claimed_at < $2)
             order by due_at, account_message_id limit 1 for update skip locked)
         returning account_message_id, kind, to_address, link_sealed, queued_at, useless_at, attempts",
        now,
        taken_before
    );
    let row = row.fetch_optional(tx.db()).await?;
    Ok(row.map(|row| AccountClaimed {
        id: row.account_message_id,
        kind: row.kind,
        to: row.to_address,
        link_sealed: row.link_sealed,
        queued_at: row.queued_at,
        useless_at: row.useless_at,
        attempts: row.attempts,
    }))
}

/// As `sending::settle`, for the server's.
pub(in crate::mail) async fn settle(
    tx: &mut Tx,
    message: Uuid,
    (claimed_at, now): (DateTime<Utc>, DateTime<Utc>),
    outcome: &Outcome,
) -> Result<bool, ApiError> {
    let Kept { state, due_at, answer, untried } = outcome.kept();
    let ended_at = due_at.is_none().then_some(now);
    let settled = sqlx::query!(
        "update account_message set state = $3, due_at = $4, claimed_at = null, ended_at = $5, last_answer = $6,
                link_sealed = case when $5::timestamptz is null then link_sealed end, attempts = attempts - $7
         where account_message_id = $1 and state = 'sending' and claimed_at = $2",
        message,
        claimed_at,
        state,
        due_at,
        ended_at,
        answer,
        untried
    );
    Ok(settled.execute(tx.db()).await?.rows_affected() == 1)
}

/// Forgets what ended before an instant.
pub(in crate::mail) async fn forget(tx: &mut Tx, before: DateTime<Utc>) -> Result<(), ApiError> {
    sqlx::query!("delete from account_message where ended_at < $1", before).execute(tx.db()).await?;
    Ok(())
}
