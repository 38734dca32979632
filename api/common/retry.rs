//! When something that failed is tried again: pure.

use chrono::{DateTime, TimeDelta, Utc};
use rand::RngExt as _;

/// When to try again after so many failed tries; none when enough were made. `waits` are the seconds after the first try, the
/// second, and so on. `chance` is from -200 to 200: up to a fifth less or more, in thousandths, so that those who failed together
/// do not come together.
#[must_use]
pub fn next_try(waits: &[i64], tries: i32, now: DateTime<Utc>, chance: i64) -> Option<DateTime<Utc>> {
    let wait = usize::try_from(tries).ok()?.checked_sub(1).and_then(|place| waits.get(place))?;
    let wait = wait.saturating_mul(1_000).saturating_add(wait.saturating_mul(chance.clamp(-200, 200)));
    Some(now + TimeDelta::milliseconds(wait))
}

/// A chance for [`next_try`].
#[must_use]
pub fn chance() -> i64 {
    rand::rng().random_range(-200..=200)
}
