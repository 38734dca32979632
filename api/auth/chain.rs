//! The logs: one per unit and one for the server, gap-free, in commit order, each row chained to the one before by
//! SHA-256 (R40). Edits, deletions, insertions, swaps and a cut tail each show, with the row's number.

use chrono::{DateTime, Utc};
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use sqlx::postgres::PgConnection;

use super::tx::Cause;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// The head of a log, locked.
#[derive(Clone, Debug)]
pub(super) struct Head {
    unit: Option<UnitId>,
    seq: i64,
    hash: Vec<u8>,
    at: DateTime<Utc>,
}

impl Head {
    pub(super) fn next_seq(&self) -> i64 {
        self.seq.saturating_add(1)
    }

    /// Log times never run backwards, whatever the clock does.
    pub(super) fn at(&self, now: DateTime<Utc>) -> DateTime<Utc> {
        now.max(self.at)
    }
}

/// A row as the hash covers it.
#[derive(Serialize)]
struct Covered<'a> {
    log: String,
    seq: i64,
    at_micros: i64,
    actor: &'a str,
    action: &'a str,
    subjects: &'a str,
    request_id: &'a str,
}

fn hash(previous: &[u8], row: &Covered<'_>) -> Result<Vec<u8>, ApiError> {
    let text = serde_json::to_vec(row).map_err(|error| ApiError::internal(&error))?;
    let mut digest = Sha256::new();
    digest.update(previous);
    digest.update(&text);
    Ok(digest.finalize().to_vec())
}

fn log_name(unit: Option<UnitId>) -> String {
    unit.map_or_else(|| "server".to_owned(), |unit| unit.to_string())
}

pub(super) async fn lock_head(db: &mut PgConnection, unit: Option<UnitId>) -> Result<Head, ApiError> {
    if let Some(id) = unit {
        let row = sqlx::query!("select seq, hash, at from unit_log_head where unit_id = $1 for update", id.0)
            .fetch_one(db)
            .await?;
        Ok(Head { unit, seq: row.seq, hash: row.hash, at: row.at })
    } else {
        let row = sqlx::query!("select seq, hash, at from server_log_head for update").fetch_one(db).await?;
        Ok(Head { unit, seq: row.seq, hash: row.hash, at: row.at })
    }
}

pub(super) async fn head_seq(db: &mut PgConnection, unit: UnitId) -> Result<i64, ApiError> {
    let seq = sqlx::query_scalar!("select seq from unit_log_head where unit_id = $1", unit.0);
    Ok(seq.fetch_one(db).await?)
}

pub(super) async fn append(db: &mut PgConnection, head: &Head, cause: &Cause, subjects: &str) -> Result<(), ApiError> {
    let (seq, at) = (head.next_seq(), head.at(cause.now));
    let (actor, action, request) = (cause.actor.as_str(), cause.action.as_str(), cause.request_id.as_str());
    let covered = Covered {
        log: log_name(head.unit),
        seq,
        at_micros: at.timestamp_micros(),
        actor,
        action,
        subjects,
        request_id: request,
    };
    let hash = hash(&head.hash, &covered)?;
    if let Some(unit) = head.unit {
        sqlx::query!(
            "with row as (
                 insert into unit_log (unit_id, seq, at, actor, action, subjects, request_id, previous_hash, hash)
                 values ($1, $2, $3, $4, $5, $6, $7, $8, $9))
             update unit_log_head set seq = $2, hash = $9, at = $3 where unit_id = $1",
            unit.0,
            seq,
            at,
            actor,
            action,
            subjects,
            request,
            head.hash,
            hash
        )
        .execute(db)
        .await?;
    } else {
        sqlx::query!(
            "with row as (
                 insert into server_log (seq, at, actor, action, subjects, request_id, previous_hash, hash)
                 values ($1, $2, $3, $4, $5, $6, $7, $8))
             update server_log_head set seq = $1, hash = $8, at = $2",
            seq,
            at,
            actor,
            action,
            subjects,
            request,
            head.hash,
            hash
        )
        .execute(db)
        .await?;
    }
    Ok(())
}

/// Where a log does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("log {log}: row {seq}: {what}")]
pub struct LogFault {
    /// The unit's id, or `server`.
    pub log: String,
    /// The first row that does not fit.
    pub seq: i64,
    /// How it does not fit.
    pub what: &'static str,
}

/// One row as it lies in the database.
#[derive(Clone, Debug)]
struct Stored {
    seq: i64,
    at: DateTime<Utc>,
    actor: String,
    action: String,
    subjects: String,
    request_id: String,
    previous_hash: Vec<u8>,
    hash: Vec<u8>,
}

fn verify(log: &str, rows: &[Stored], head_seq: i64, head_hash: &[u8]) -> Result<Option<LogFault>, ApiError> {
    let fault = |seq, what| Ok(Some(LogFault { log: log.to_owned(), seq, what }));
    let (mut seq, mut previous) = (0_i64, vec![0_u8; 32]);
    for row in rows {
        seq = seq.saturating_add(1);
        if row.seq != seq {
            return fault(seq, "missing");
        }
        let covered = Covered {
            log: log.to_owned(),
            seq,
            at_micros: row.at.timestamp_micros(),
            actor: &row.actor,
            action: &row.action,
            subjects: &row.subjects,
            request_id: &row.request_id,
        };
        if row.previous_hash != previous {
            return fault(seq, "does not follow the row before it");
        }
        if row.hash != hash(&previous, &covered)? {
            return fault(seq, "was changed");
        }
        previous.clone_from(&row.hash);
    }
    if head_seq != seq || head_hash != previous {
        return fault(seq.saturating_add(1), "missing: the head of the log is elsewhere");
    }
    Ok(None)
}

/// Checks a unit's log from its first row to its head; the context must be that unit's.
///
/// # Errors
/// Database faults. A log that does not hold is the `Some` of the answer.
pub async fn verify_unit_log(db: &mut PgConnection, unit: UnitId) -> Result<Option<LogFault>, ApiError> {
    let head =
        sqlx::query!("select seq, hash from unit_log_head where unit_id = $1", unit.0).fetch_one(&mut *db).await?;
    let rows = sqlx::query_as!(
        Stored,
        "select seq, at, actor, action, subjects, request_id, previous_hash, hash from unit_log where unit_id = $1 order by seq",
        unit.0
    )
    .fetch_all(db)
    .await?;
    verify(&unit.to_string(), &rows, head.seq, &head.hash)
}

/// Checks the server's log.
///
/// # Errors
/// As [`verify_unit_log`].
pub async fn verify_server_log(db: &mut PgConnection) -> Result<Option<LogFault>, ApiError> {
    let head = sqlx::query!("select seq, hash from server_log_head").fetch_one(&mut *db).await?;
    let rows = sqlx::query_as!(
        Stored,
        "select seq, at, actor, action, subjects, request_id, previous_hash, hash from server_log order by seq"
    )
    .fetch_all(db)
    .await?;
    verify("server", &rows, head.seq, &head.hash)
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::{Covered, Stored, hash, verify};

    fn rows(n: i64) -> Vec<Stored> {
        let mut previous = vec![0_u8; 32];
        let made = (1..=n).map(|seq| {
            let covered = Covered {
                log: "l".into(),
                seq,
                at_micros: seq,
                actor: "a",
                action: "x",
                subjects: "[]",
                request_id: "r",
            };
            let hash = hash(&previous, &covered).unwrap();
            Stored {
                seq,
                at: DateTime::from_timestamp_micros(seq).unwrap(),
                actor: "a".into(),
                action: "x".into(),
                subjects: "[]".into(),
                request_id: "r".into(),
                previous_hash: std::mem::replace(&mut previous, hash.clone()),
                hash,
            }
        });
        made.collect()
    }

    #[test]
    fn every_kind_of_tampering_shows_with_its_row() {
        let good = rows(5);
        let head = good.last().unwrap().hash.clone();
        let found = |rows: &[Stored]| verify("l", rows, 5, &head).unwrap().map(|fault| fault.seq);
        assert_eq!(found(&good), None);
        let mut edited = good.clone();
        edited[2].actor = "b".into();
        assert_eq!(found(&edited), Some(3));
        let mut deleted = good.clone();
        deleted.remove(1);
        assert_eq!(found(&deleted), Some(2));
        let mut swapped = good.clone();
        swapped.swap(2, 3);
        assert_eq!(found(&swapped), Some(3));
        let mut inserted = good.clone();
        inserted.insert(3, good[2].clone());
        assert_eq!(found(&inserted), Some(4));
        assert_eq!(found(&good[..4]), Some(5));
    }
}
