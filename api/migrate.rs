//! Bringing a database up to this release: forward only, by the owner role, one at a time under an advisory lock.
//!
//! Each migration runs in a transaction of its own, so a kill in the middle leaves the last whole step. A database that is
//! newer than this program is left as it is: the release before may go on working while the new one starts.

use secrecy::SecretString;
use sqlx::migrate::{Migrate, Migrator};
use sqlx::{Connection, Executor};

use crate::postgres::connect;
use crate::start::StartError;

/// The migrations that are built into this program.
pub static MIGRATOR: Migrator = sqlx::migrate!("./migrations");

/// What [`run`] did.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Migrated {
    /// Migrations in this program.
    pub known: usize,
    /// How many of them ran just now.
    pub applied_now: usize,
}

/// Version and checksum of every migration built into this program.
#[must_use]
pub fn known() -> Vec<(i64, Vec<u8>)> {
    MIGRATOR.iter().map(|migration| (migration.version, migration.checksum.to_vec())).collect()
}

/// Runs what has not run yet.
///
/// # Errors
/// [`StartError::Database`] if a migration that ran was a different one, or fails; nothing of the failing one is kept.
pub async fn run(owner: &SecretString) -> Result<Migrated, StartError> {
    let mut connection = connect(owner).await?;
    let doing = StartError::sql("preparing to migrate");
    // A migration may wait for a running request, but not for ever; two servers starting at once wait for each other.
    connection.execute("set lock_timeout = '60s'; set statement_timeout = 0").await.map_err(doing)?;
    let refused = |error: sqlx::migrate::MigrateError| StartError::Database(vec![format!("migrating: {error}")]);
    connection.ensure_migrations_table(&MIGRATOR.table_name).await.map_err(refused)?;
    let before = connection.list_applied_migrations(&MIGRATOR.table_name).await.map_err(refused)?.len();
    let mut migrator = sqlx::migrate!("./migrations");
    migrator.set_ignore_missing(true);
    migrator.run(&mut connection).await.map_err(refused)?;
    let after = connection.list_applied_migrations(&MIGRATOR.table_name).await.map_err(refused)?.len();
    // The runtime role compares this list with its own at start, and only reads it.
    connection
        .execute("grant select on _sqlx_migrations to caselot_runtime")
        .await
        .map_err(StartError::sql("letting the runtime role read the list of migrations"))?;
    connection.close().await.map_err(StartError::sql("closing after migrating"))?;
    Ok(Migrated { known: MIGRATOR.iter().count(), applied_now: after.saturating_sub(before) })
}
