//! Letting the connection go while something slow is done: checking a password takes a tenth of a second, and many at once
//! wait for each other. Meanwhile no transaction is open; what follows runs in another one, for the same cause.

use super::idempotency::SafeRetry;
use super::system::System;
use super::tx::{Cause, Tx};
use crate::error::ApiError;

/// Who asks and why, while no transaction is open.
#[derive(Debug)]
pub struct Pause {
    cause: Cause,
    retry: Option<SafeRetry>,
}

impl Tx {
    /// Commits what was counted so far, without a log row, and lets the connection go.
    ///
    /// # Errors
    /// Database faults; in a unit there is no such pause.
    pub async fn pause(self) -> Result<Pause, ApiError> {
        let (cause, retry) = self.outside_a_unit()?;
        let pause = Pause { cause, retry };
        self.commit_unlogged().await?;
        Ok(pause)
    }
}

impl Pause {
    /// Goes on in another transaction. What was read before the pause may have changed: lock and read it anew, and
    /// [`Tx::replay`] again.
    ///
    /// # Errors
    /// Database faults.
    pub async fn over(self, system: &System) -> Result<Tx, ApiError> {
        system.go_on(self.cause, self.retry).await
    }
}
