//! What time does to messages: an invitation that was taken up, or whose link has run out, is not sent any more.

use std::pin::Pin;

use super::sql;
use crate::auth::System;
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// One look at a unit.
pub(super) fn tick(system: System, unit: UnitId) -> Pin<Box<dyn Future<Output = Result<(), ApiError>> + Send>> {
    Box::pin(async move {
        let mut tx = system.open(Some(unit), "discard_message").await?;
        let useless = sql::sending::useless(&mut tx, unit).await?;
        if useless.is_empty() {
            return Ok(());
        }
        let log_seq = tx.seq().await?;
        sql::sending::discard(&mut tx, unit, &useless, log_seq).await?;
        for message in useless {
            tx.about("message", message);
        }
        tx.commit().await
    })
}
