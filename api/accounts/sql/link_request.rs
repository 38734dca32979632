//! Every query of links that were asked for.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::Tx;
use crate::error::ApiError;

/// What was asked for.
#[derive(Clone, Debug)]
pub(in crate::accounts) struct Taken {
    pub kind: String,
    pub email_key: String,
}

/// Counts one after another for a sender: two at once must not both be the tenth.
pub(in crate::accounts) async fn hold_sender(tx: &mut Tx, sender: &str) -> Result<(), ApiError> {
    sqlx::query!("select pg_advisory_xact_lock(hashtextextended($1, 4))", sender).execute(tx.db()).await?;
    Ok(())
}

pub(in crate::accounts) async fn asked_by(tx: &mut Tx, sender: &str, since: DateTime<Utc>) -> Result<i64, ApiError> {
    let count = sqlx::query_scalar!(
        r#"select count(*) as "count!" from link_request where sender = $1 and asked_at > $2"#,
        sender,
        since
    );
    Ok(count.fetch_one(tx.db()).await?)
}

/// How often an address was asked for and looked at, the one in hand too.
pub(in crate::accounts) async fn answered_to(
    tx: &mut Tx,
    asked: &Taken,
    since: DateTime<Utc>,
) -> Result<i64, ApiError> {
    let count = sqlx::query_scalar!(
        r#"select count(*) as "count!" from link_request where email_key = $1 and asked_at > $2 and kind = $3 and looked_at_at is not null"#,
        asked.email_key,
        since,
        asked.kind
    );
    Ok(count.fetch_one(tx.db()).await?)
}

pub(in crate::accounts) async fn insert(
    tx: &mut Tx,
    kind: &str,
    email_key: &str,
    sender: &str,
    at: DateTime<Utc>,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into link_request (link_request_id, kind, email_key, sender, asked_at) values ($1, $2, $3, $4, $5)",
        Uuid::now_v7(),
        kind,
        email_key,
        sender,
        at
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Takes the oldest that nobody has looked at.
pub(in crate::accounts) async fn take(tx: &mut Tx) -> Result<Option<Taken>, ApiError> {
    let now = tx.real_now();
    let row = sqlx::query_as!(
        Taken,
        "update link_request set looked_at_at = $1
         where link_request_id = (select link_request_id from link_request where looked_at_at is null
                                  order by asked_at limit 1 for update skip locked)
         returning kind, email_key",
        now
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

pub(in crate::accounts) async fn forget(tx: &mut Tx, before: DateTime<Utc>) -> Result<(), ApiError> {
    sqlx::query!("delete from link_request where asked_at < $1", before).execute(tx.db()).await?;
    Ok(())
}
