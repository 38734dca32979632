//! `caselot log verify`: is every log whole, from its first row to its head?

use std::process::ExitCode;

use sqlx::{Connection, PgConnection};

use super::run::{addresses, block_on};
use crate::auth::{LogFault, verify_server_log, verify_unit_log};
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::postgres::{self, unit_ids};
use crate::settings::Settings;
use crate::start::StartError;

/// Checks the server's log and every unit's, as the backup role, over one snapshot.
pub(super) fn verify(settings: &Settings) -> Result<ExitCode, StartError> {
    let backup =
        addresses(settings)?.backup.ok_or_else(|| StartError::configuration("database.backup_url_file is not set"))?;
    let (units, faults) = block_on(async {
        let doing = "reading the logs";
        let mut connection = postgres::connect(&backup).await?;
        let mut snapshot = connection
            .begin_with("begin isolation level repeatable read read only")
            .await
            .map_err(StartError::sql(doing))?;
        faults(&mut snapshot).await.map_err(|error| StartError::Failed(format!("{doing}: {error}")))
    })?;
    for fault in &faults {
        println!("{fault}");
    }
    if faults.is_empty() {
        println!("the server's log and those of {units} units are whole");
        return Ok(ExitCode::SUCCESS);
    }
    Ok(ExitCode::from(1))
}

async fn faults(db: &mut PgConnection) -> Result<(usize, Vec<LogFault>), ApiError> {
    let mut found: Vec<LogFault> = verify_server_log(db).await?.into_iter().collect();
    let units = unit_ids(db).await?;
    for unit in &units {
        found.extend(verify_unit_log(db, UnitId(*unit)).await?);
    }
    Ok((units.len(), found))
}
