//! Frozen documents: what the unit has said to somebody outside, kept word for word.
//!
//! A document is numbered without gaps per unit and kind and never changes: the grants and triggers of the database see to
//! it. Its figures are one canonical text ([`canonical`], RFC 8785) with a SHA-256 digest that anybody can work out again.
//! Names of people stand apart, keyed by person: erasing one changes neither figures nor digest.
//!
//! A document is rendered as a workbook ([`xlsx()`]) or as a printed paper ([`pdf()`]) from a [`sheet::Sheet`] that its feature makes.
//!
//! Returns use it; consolidations, slips, statements and certificates will.

mod canonical;
mod pdf;
pub mod sheet;
mod sql;
mod xlsx;

pub use canonical::{NotCanonical, canonical, sha256_hex};
pub use pdf::pdf;
pub use xlsx::xlsx;

use chrono::{DateTime, Utc};
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use uuid::Uuid;

use crate::auth::permission::Permission;
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, SeasonId, UnitId};
use crate::error::ApiError;

/// The kinds of frozen documents; each has its own numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A season return.
    SeasonReturn,
}

impl Kind {
    const fn name(self) -> &'static str {
        match self {
            Self::SeasonReturn => "season_return",
        }
    }
}

/// A document to be frozen.
#[derive(Clone, Debug)]
pub struct NewDocument<'a, T> {
    /// Which one it will be.
    pub document_id: Uuid,
    /// What it is.
    pub kind: Kind,
    /// Its season.
    pub season: SeasonId,
    /// The instant at which its figures stand.
    pub stands_at: DateTime<Utc>,
    /// Everything but names.
    pub figures: &'a T,
    /// The names of the people in it.
    pub names: &'a [(PersonId, String)],
}

/// A frozen document, without its names.
#[derive(Clone, Debug)]
pub struct Frozen {
    /// Which one.
    pub document_id: Uuid,
    /// Its number: 1, 2, 3 within unit and kind.
    pub number: i64,
    /// Its season.
    pub season: SeasonId,
    /// The figures, as canonical JSON.
    pub figures: String,
    /// Their SHA-256 digest, in hexadecimal digits.
    pub sha256: String,
    /// The instant at which they stand.
    pub stands_at: DateTime<Utc>,
    /// When it was frozen.
    pub made_at: DateTime<Utc>,
    /// By whom, as the log names them.
    pub made_by: String,
}

/// Freezes a document: gives it the next number and its digest. Takes the head of the unit's log, the last lock, so that
/// numbers have no gaps.
///
/// # Errors
/// An internal error if the figures hold what canonical JSON cannot (fractions); database faults.
pub async fn freeze<P: Permission, T: Serialize + Sync>(
    tx: &mut Tx,
    by: &Permit<P>,
    new: &NewDocument<'_, T>,
) -> Result<Frozen, ApiError> {
    let value = serde_json::to_value(new.figures).map_err(|error| ApiError::internal(&error))?;
    let figures = canonical(&value).map_err(|error| ApiError::internal(&error))?;
    let log_seq = tx.seq().await?;
    let unit = by.unit()?;
    let row = sql::Row {
        document_id: new.document_id,
        number: sql::last_number(tx, unit, new.kind.name()).await?.saturating_add(1),
        season_id: new.season.0,
        sha256: Sha256::digest(&figures).to_vec(),
        figures,
        stands_at: new.stands_at,
        made_at: tx.logged_at(),
        made_by: tx.actor().to_owned(),
    };
    sql::insert(tx, by, new.kind.name(), &row, log_seq).await?;
    sql::insert_names(tx, by, new.document_id, new.names).await?;
    Frozen::try_from(row)
}

/// One document of a kind.
///
/// # Errors
/// Database faults, or a digest that does not fit.
pub async fn find(tx: &mut Tx, unit: UnitId, kind: Kind, document: Uuid) -> Result<Option<Frozen>, ApiError> {
    sql::find(tx, unit, kind.name(), document).await?.map(Frozen::try_from).transpose()
}

/// The documents of a kind and season, the newest first, from below a number on.
///
/// # Errors
/// Database faults, or a digest that does not fit.
pub async fn list(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (Kind, SeasonId),
    below: Option<i64>,
    limit: i64,
) -> Result<Vec<Frozen>, ApiError> {
    let rows = sql::list(tx, unit, (kind.name(), season.0), below, limit).await?;
    rows.into_iter().map(Frozen::try_from).collect()
}

/// The number of the newest document of a kind and season that was frozen after this place of the unit's log.
///
/// # Errors
/// Database faults.
pub async fn frozen_since(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (Kind, SeasonId),
    log_seq: i64,
) -> Result<Option<i64>, ApiError> {
    sql::newest_since(tx, unit, (kind.name(), season.0), log_seq).await
}

/// The number of the newest document of a kind and season that was frozen at an instant or later.
///
/// # Errors
/// Database faults.
pub async fn frozen_after(
    tx: &mut Tx,
    unit: UnitId,
    (kind, season): (Kind, SeasonId),
    at: DateTime<Utc>,
) -> Result<Option<i64>, ApiError> {
    sql::newest_after(tx, unit, (kind.name(), season.0), at).await
}

/// The names of the people in a document; none where one was erased.
///
/// # Errors
/// Database faults.
pub async fn names(tx: &mut Tx, unit: UnitId, document: Uuid) -> Result<Vec<(PersonId, Option<String>)>, ApiError> {
    sql::names(tx, unit, document).await
}

/// Erases a person's name in every document, and says in how many it stood. Figures, numbers and digests stay as they are:
/// no name is in them.
///
/// # Errors
/// Database faults.
pub async fn erase_names(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<u64, ApiError> {
    sql::erase_names(tx, unit, person).await
}

impl TryFrom<sql::Row> for Frozen {
    type Error = ApiError;

    /// What was frozen is looked at each time it is read: figures that do not fit their digest are not shown.
    fn try_from(row: sql::Row) -> Result<Self, ApiError> {
        if Sha256::digest(&row.figures).as_slice() != row.sha256 {
            return Err(ApiError::broken("a frozen document does not fit its digest"));
        }
        Ok(Self {
            document_id: row.document_id,
            number: row.number,
            season: SeasonId(row.season_id),
            sha256: sha256_hex(row.figures.as_bytes()),
            figures: row.figures,
            stands_at: row.stands_at,
            made_at: row.made_at,
            made_by: row.made_by,
        })
    }
}
