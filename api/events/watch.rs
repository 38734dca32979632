//! Looking for what other processes did: the own one says by itself when a log has grown.

use std::collections::HashMap;
use std::time::Duration;

use crate::auth::{System, wake};
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// Looks once a second at the logs to which somebody listens, until it is dropped.
pub async fn watch(system: System) {
    let mut known = HashMap::new();
    let mut second = tokio::time::interval(Duration::from_secs(1));
    second.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        second.tick().await;
        let listened = wake::listened_to();
        known.retain(|unit, _| listened.contains(unit));
        for unit in listened {
            if let Err(error) = look(&system, unit, &mut known).await {
                tracing::warn!(%error, "a log was not looked at; it is tried again");
            }
        }
    }
}

async fn look(system: &System, unit: UnitId, known: &mut HashMap<UnitId, i64>) -> Result<(), ApiError> {
    let mut tx = system.open(Some(unit), "watch_log").await?;
    let head = tx.log_seq().await?;
    drop(tx);
    if known.insert(unit, head) != Some(head) {
        wake::grown(unit);
    }
    Ok(())
}
