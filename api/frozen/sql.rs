//! Every query of frozen documents.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;

pub(super) struct Row {
    pub document_id: Uuid,
    pub number: i64,
    pub season_id: Uuid,
    pub figures: String,
    pub sha256: Vec<u8>,
    pub stands_at: DateTime<Utc>,
    pub made_at: DateTime<Utc>,
    pub made_by: String,
}

/// The last number given; 0 before the first. Call it under the log's head.
pub(super) async fn last_number(tx: &mut Tx, unit: UnitId, kind: &str) -> Result<i64, ApiError> {
    let number = sqlx::query_scalar!(
        r#"select coalesce(max(number), 0) as "number!" from frozen_document where unit_id = $1 and kind = $2"#,
        unit.0,
        kind
    );
    Ok(number.fetch_one(tx.db()).await?)
}

pub(super) async fn insert<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    kind: &str,
    row: &Row,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into frozen_document (unit_id, document_id, kind, number, season_id, figures, sha256, stands_at, made_at, made_by, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11)",
        by.unit()?.0,
        row.document_id,
        kind,
        row.number,
        row.season_id,
        row.figures,
        row.sha256,
        row.stands_at,
        row.made_at,
        row.made_by,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn insert_names<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    document: Uuid,
    names: &[(PersonId, String)],
) -> Result<(), ApiError> {
    let people: Vec<Uuid> = names.iter().map(|(person, _)| person.0).collect();
    let names: Vec<String> = names.iter().map(|(_, name)| name.clone()).collect();
    sqlx::query!(
        "insert into frozen_name (unit_id, document_id, person_id, name)
         select $1, $2, new.person_id, new.name from unnest($3::uuid[], $4::text[]) as new (person_id, name)",
        by.unit()?.0,
        document,
        &people,
        &names
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, kind: &str, document: Uuid) -> Result<Option<Row>, ApiError> {
    let row = sqlx::query_as!(
        Row,
        "select document_id, number, season_id, figures, sha256, stands_at, made_at, made_by
         from frozen_document where unit_id = $1 and kind = $2 and document_id = $3",
        unit.0,
        kind,
        document
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

pub(super) async fn newest_since(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (&str, Uuid),
    log_seq: i64,
) -> Result<Option<i64>, ApiError> {
    let number = sqlx::query_scalar!(
        "select max(number) from frozen_document where unit_id = $1 and kind = $2 and season_id = $3 and log_seq > $4",
        unit.0,
        kind,
        season,
        log_seq
    );
    Ok(number.fetch_one(tx.db()).await?)
}

pub(super) async fn newest_after(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (&str, Uuid),
    at: DateTime<Utc>,
) -> Result<Option<i64>, ApiError> {
    let number = sqlx::query_scalar!(
        "select max(number) from frozen_document where unit_id = $1 and kind = $2 and season_id = $3 and made_at >= $4",
        unit.0,
        kind,
        season,
        at
    );
    Ok(number.fetch_one(tx.db()).await?)
}

pub(super) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (&str, Uuid),
    below: Option<i64>,
    limit: i64,
) -> Result<Vec<Row>, ApiError> {
    let rows = sqlx::query_as!(
        Row,
        "select document_id, number, season_id, figures, sha256, stands_at, made_at, made_by
         from frozen_document
         where unit_id = $1 and kind = $2 and season_id = $3 and ($4::bigint is null or number < $4)
         order by number desc limit $5",
        unit.0,
        kind,
        season,
        below,
        limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(super) async fn names(
    tx: &mut Tx,
    unit: UnitId,
    document: Uuid,
) -> Result<Vec<(PersonId, Option<String>)>, ApiError> {
    let rows = sqlx::query!(
        "select person_id, name from frozen_name where unit_id = $1 and document_id = $2 order by person_id",
        unit.0,
        document
    );
    Ok(rows.fetch_all(tx.db()).await?.into_iter().map(|row| (PersonId(row.person_id), row.name)).collect())
}

pub(super) async fn erase_names(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<u64, ApiError> {
    let erased = sqlx::query!(
        "update frozen_name set name = null where unit_id = $1 and person_id = $2 and name is not null",
        unit.0,
        person.0
    );
    Ok(erased.execute(tx.db()).await?.rows_affected())
}
