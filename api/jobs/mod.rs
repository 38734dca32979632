//! Background work: a ticker that goes through the units once a minute and lets every feature notice what time has
//! changed, and forgets what need not be kept.

pub mod mail;

use std::time::Duration;

use chrono::TimeDelta;

use crate::auth::System;
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::webhooks::Worker;

/// Runs until it is dropped.
pub async fn run(system: System, webhooks: Worker, ticker: bool) {
    if !ticker {
        return;
    }
    tokio::join!(every_minute(system.clone()), crate::events::watch(system), webhooks.run());
}

async fn every_minute(system: System) {
    let mut minute = tokio::time::interval(Duration::from_mins(1));
    minute.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    loop {
        minute.tick().await;
        if let Err(error) = tick(&system).await {
            tracing::warn!(%error, "a tick was not finished; the next one tries again");
        }
    }
}

/// One round: every unit, every feature.
///
/// # Errors
/// Database faults.
pub async fn tick(system: &System) -> Result<(), ApiError> {
    let mut tx = system.open(None, "forget_mail").await?;
    crate::accounts::forget_link_requests(&mut tx).await?;
    crate::mail::account::forget(&mut tx).await?;
    tx.commit_unlogged().await?;
    for unit in units(system).await? {
        for feature in crate::FEATURES {
            if let Some(tick) = feature.tick {
                tick(system.clone(), unit).await?;
            }
        }
        let mut tx = system.open(Some(unit), "forget_safe_retries").await?;
        let before = tx.real_now() - TimeDelta::hours(72);
        crate::auth::forget_safe_retries(tx.db(), before).await?;
        tx.commit_unlogged().await?;
    }
    Ok(())
}

async fn units(system: &System) -> Result<Vec<UnitId>, ApiError> {
    let mut tx = system.open(None, "tick").await?;
    crate::units::all(&mut tx).await
}
