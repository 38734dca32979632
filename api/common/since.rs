//! `updated_since`: what is new in a list, for scripts that pull.
//!
//! Every change has a number in the unit's log, and a row carries that of its last change. An answer says how far the log had
//! come **before** its rows were read, so that whoever asks again from there may get a row twice and never misses one.

use garde::Validate;
use serde::{Deserialize, Serialize};

/// A number of the unit's log, after which something changed. The parameter's description is written in
/// `server/finish.rs`, once for every list.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, Validate)]
#[serde(transparent)]
#[garde(transparent)]
pub struct Since(#[garde(range(min = 0))] i64);

impl Since {
    /// The number.
    #[must_use]
    pub const fn seq(self) -> i64 {
        self.0
    }
}

/// Whether a change with this number is asked for.
#[must_use]
pub fn asked(since: Option<Since>, log_seq: i64) -> bool {
    since.is_none_or(|since| log_seq > since.0)
}

#[cfg(test)]
mod tests {
    use super::{Since, asked};

    #[test]
    fn only_what_came_after_the_number_is_asked_for() {
        assert!(asked(None, 0));
        for (since, log_seq, expected) in [(0, 0, false), (0, 1, true), (7, 7, false), (7, 8, true)] {
            assert_eq!(asked(Some(Since(since)), log_seq), expected, "{since} {log_seq}");
        }
    }
}
