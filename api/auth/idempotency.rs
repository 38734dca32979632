//! Safe retries (R30): the same key and body get the first answer again, stored in the transaction of the effect.

use actix_web::http::StatusCode;
use actix_web::web::Bytes;
use chrono::{DateTime, Utc};
use sqlx::postgres::PgConnection;

use crate::common::answer::Reply;
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code};

/// A request that may be repeated: who, what, and the key.
#[derive(Clone, Debug)]
pub(super) struct SafeRetry {
    pub unit: Option<UnitId>,
    pub principal: String,
    pub method: String,
    pub path: String,
    pub key: String,
    /// Digests of the body by each of the server's keys (a body may hold a password); the first is stored.
    pub body_digests: Vec<Vec<u8>>,
}

/// What was stored; a body of null bytes stands for a secret that is shown once.
struct Stored {
    body_sha256: Vec<u8>,
    status: i16,
    headers: String,
    body: Vec<u8>,
}

/// Marks an answer whose secret was not kept.
const SECRET: i16 = 0;

pub(super) async fn replay(db: &mut PgConnection, retry: &SafeRetry) -> Result<(), ApiError> {
    let name = format!("{} {} {} {}", retry.principal, retry.method, retry.path, retry.key);
    // A try-lock, so that a second request answers at once instead of waiting in a transaction.
    let first = sqlx::query_scalar!(r#"select pg_try_advisory_xact_lock(hashtextextended($1, 0)) as "locked!""#, name)
        .fetch_one(&mut *db)
        .await?;
    if !first {
        return Err(ApiError::new(Code::AlreadyRunning).retry_after(1));
    }
    let Some(stored) = find(db, retry).await? else { return Ok(()) };
    if !retry.body_digests.contains(&stored.body_sha256) {
        return Err(Code::IdempotencyKeyReused.into());
    }
    let headers: Vec<(String, String)> =
        serde_json::from_str(&stored.headers).map_err(|error| ApiError::internal(&error))?;
    if stored.status == SECRET {
        let location = headers.into_iter().find(|(name, _)| name == "location").map(|(_, value)| value);
        return Err(match location {
            Some(address) => ApiError::new(Code::AlreadyCreated).header("location", address),
            None => Code::AlreadyCreated.into(),
        });
    }
    let status = u16::try_from(stored.status).ok().and_then(|status| StatusCode::from_u16(status).ok());
    let Some(status) = status else { return Err(ApiError::broken("a stored answer without a status")) };
    let content_type = "application/json".to_owned();
    Err(ApiError::Replayed(Box::new(Reply {
        status,
        headers,
        content_type,
        body: Bytes::from(stored.body),
        untagged: Vec::new(),
    })))
}

async fn find(db: &mut PgConnection, retry: &SafeRetry) -> Result<Option<Stored>, ApiError> {
    let SafeRetry { principal, method, path, key, .. } = retry;
    let found = match retry.unit {
        Some(unit) => {
            sqlx::query_as!(
                Stored,
                "select body_sha256, status, headers, body from idempotency
                 where unit_id = $1 and principal = $2 and method = $3 and path = $4 and key = $5",
                unit.0,
                principal,
                method,
                path,
                key
            )
            .fetch_optional(db)
            .await?
        }
        None => {
            sqlx::query_as!(
                Stored,
                "select body_sha256, status, headers, body from server_idempotency
                 where principal = $1 and method = $2 and path = $3 and key = $4",
                principal,
                method,
                path,
                key
            )
            .fetch_optional(db)
            .await?
        }
    };
    Ok(found)
}

pub(super) async fn store(
    db: &mut PgConnection,
    retry: &SafeRetry,
    reply: &Reply,
    at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let status = i16::try_from(reply.status.as_u16()).unwrap_or(SECRET);
    insert(db, retry, status, &reply.headers, &reply.body, at).await
}

pub(super) async fn store_without_secret(
    db: &mut PgConnection,
    retry: &SafeRetry,
    reply: &Reply,
    at: DateTime<Utc>,
) -> Result<(), ApiError> {
    insert(db, retry, SECRET, &reply.headers, &[], at).await
}

async fn insert(
    db: &mut PgConnection,
    retry: &SafeRetry,
    status: i16,
    headers: &[(String, String)],
    body: &[u8],
    at: DateTime<Utc>,
) -> Result<(), ApiError> {
    let headers = serde_json::to_string(headers).map_err(|error| ApiError::internal(&error))?;
    let SafeRetry { principal, method, path, key, body_digests, .. } = retry;
    let body_sha256 = body_digests.first().ok_or_else(|| ApiError::broken("a body without a digest"))?;
    if let Some(unit) = retry.unit {
        sqlx::query!(
            "insert into idempotency (unit_id, principal, method, path, key, body_sha256, status, headers, body, at)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
            unit.0,
            principal,
            method,
            path,
            key,
            body_sha256,
            status,
            headers,
            body,
            at
        )
        .execute(db)
        .await?;
    } else {
        sqlx::query!(
            "insert into server_idempotency (principal, method, path, key, body_sha256, status, headers, body, at)
             values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
            principal,
            method,
            path,
            key,
            body_sha256,
            status,
            headers,
            body,
            at
        )
        .execute(db)
        .await?;
    }
    Ok(())
}

/// Forgets keys older than 72 hours; the ticker calls it per unit.
///
/// # Errors
/// Database faults.
pub async fn forget_safe_retries(db: &mut PgConnection, before: DateTime<Utc>) -> Result<(), ApiError> {
    sqlx::query!("delete from idempotency where at < $1", before).execute(&mut *db).await?;
    sqlx::query!("delete from server_idempotency where at < $1", before).execute(db).await?;
    Ok(())
}

/// Empties stored answers of a unit that name one of these people by id or by words (in small letters). The keys stay: a
/// repeated request is still not done twice, and learns that it was done before (but where the address itself said more than
/// which thing is meant: that goes too).
///
/// # Errors
/// Database faults.
pub async fn forget_answers(
    tx: &mut crate::auth::Tx,
    unit: UnitId,
    people: &[uuid::Uuid],
    words: &[String],
) -> Result<(), ApiError> {
    let mut texts: Vec<String> = people.iter().map(ToString::to_string).collect();
    texts.extend(words.iter().cloned());
    sqlx::query!(
        "update idempotency set status = $3, headers = '[]', body = '',
             path = case when position('?' in path) > 0 then split_part(path, '?', 1) || '?' || gen_random_uuid() else path end
         where unit_id = $1 and exists (select from unnest($2::text[]) as word
             where position(convert_to(word, 'UTF8') in body) > 0
                or position(word in lower(encode(body, 'escape'))) > 0 or position(word in path || headers) > 0)",
        unit.0,
        &texts,
        SECRET
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The value of an `Idempotency-Key` header, if it is one.
///
/// # Errors
/// 400 if it is too short, too long or not plain text.
pub(super) fn key_of(header: Option<&str>) -> Result<Option<String>, ApiError> {
    let Some(key) = header else { return Ok(None) };
    let plain = key.bytes().all(|byte| byte.is_ascii_graphic());
    if plain && (8..=100).contains(&key.len()) {
        Ok(Some(key.to_owned()))
    } else {
        let detail = "8 to 100 letters, digits or signs, no spaces";
        Err(ApiError::new(Code::BadHeader).errors(vec![crate::error::FieldError::parameter(
            "Idempotency-Key",
            "not_valid",
            detail,
        )]))
    }
}
