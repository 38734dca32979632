//! Time, always an argument: this is the one place that reads the machine's clock.
//!
//! Two clocks exist. The **real** one governs token lifetimes and sign-in delays. The **season's** one is the real one
//! plus the cluster's offset (zero outside demo and test clusters) and governs everything of the trade.

use chrono::{DateTime, SubsecRound, TimeDelta, Utc};

/// The machine's clock, cut to the microseconds that the database keeps.
#[must_use]
pub fn real_now() -> DateTime<Utc> {
    #[expect(clippy::disallowed_methods, reason = "the one place that reads the clock")]
    let now = Utc::now();
    now.trunc_subsecs(6)
}

/// The season's clock for a cluster with this offset.
#[must_use]
pub fn season_now(real: DateTime<Utc>, offset_seconds: i64) -> DateTime<Utc> {
    TimeDelta::try_seconds(offset_seconds).and_then(|offset| real.checked_add_signed(offset)).unwrap_or(real)
}
