//! How many requests a principal may send (R37): 600 a minute by default, counted in this process. What must hold across
//! processes, the delays of sign-in, is in the database.

use std::num::NonZeroU32;
use std::sync::Arc;

use governor::clock::{Clock as _, DefaultClock};
use governor::middleware::StateInformationMiddleware;
use governor::state::keyed::DefaultKeyedStateStore;
use governor::{Quota, RateLimiter};

type Limiter = RateLimiter<String, DefaultKeyedStateStore<String>, DefaultClock, StateInformationMiddleware>;

/// The counter of all principals.
#[derive(Clone)]
pub struct Rate {
    limiter: Arc<Limiter>,
    per_minute: NonZeroU32,
}

impl std::fmt::Debug for Rate {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Rate({} a minute)", self.per_minute)
    }
}

/// What became of one request.
#[derive(Clone, Copy, Debug)]
pub enum Counted {
    /// It may pass; this many more may follow at once.
    Passes(u32),
    /// It may not; wait this many seconds.
    Waits(u32),
}

impl Rate {
    /// So many requests a minute, all of which may come at once.
    #[must_use]
    pub fn per_minute(per_minute: NonZeroU32) -> Self {
        let limiter = RateLimiter::keyed(Quota::per_minute(per_minute)).with_middleware::<StateInformationMiddleware>();
        Self { limiter: Arc::new(limiter), per_minute }
    }

    /// Counts one request of this principal.
    #[must_use]
    pub fn count(&self, principal: &str) -> Counted {
        match self.limiter.check_key(&principal.to_owned()) {
            Ok(state) => Counted::Passes(state.remaining_burst_capacity()),
            Err(not_until) => {
                let wait = not_until.wait_time_from(self.limiter.clock().now());
                Counted::Waits(u32::try_from(wait.as_secs()).unwrap_or(60).saturating_add(1))
            }
        }
    }

    /// The value of `RateLimit-Policy`.
    #[must_use]
    pub fn policy(&self) -> String {
        format!("\"default\";q={};w=60", self.per_minute)
    }

    /// Forgets principals that have not been seen for a while.
    pub fn tidy(&self) {
        self.limiter.retain_recent();
        self.limiter.shrink_to_fit();
    }
}
