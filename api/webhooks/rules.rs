//! When something is sent again, and when an address is given up: pure.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::common::retry;

/// How long to wait after each failed try, in seconds: 5 s, 5 min, 30 min, 2 h, 5 h, 10 h, 10 h.
const WAITS: [i64; 7] = [5, 300, 1_800, 7_200, 18_000, 36_000, 36_000];

/// No wait is longer than the longest of them and a fifth: what is due later was set by a clock that ran ahead.
pub(super) const LONGEST_WAIT: TimeDelta = TimeDelta::hours(12);

/// How long an address may fail.
const FAILS_FOR: TimeDelta = TimeDelta::days(5);

/// How often it must have been tried in that time, so that a clock that jumps ahead gives nobody up.
const FAILS_TIMES: i32 = 8;

/// How long both signatures are sent after a new secret was made.
pub(super) const BOTH_SECRETS: TimeDelta = TimeDelta::hours(24);

/// How long it is remembered what was sent.
pub(super) const KEPT: TimeDelta = TimeDelta::days(30);

/// Addresses of a unit at once.
pub(super) const MOST_WEBHOOKS: i64 = 20;

/// What became of one try. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AttemptOutcome {
    /// It was taken: any status from 200 to 299.
    Delivered,
    /// It was answered with another status.
    Refused,
    /// It was answered with 410: nobody is there any more.
    Gone,
    /// It was answered with another address, which is not followed.
    Redirected,
    /// The name stands for a private or special network, or the settings do not allow the address any more.
    AddressNotAllowed,
    /// The name stands for nothing.
    NotFound,
    /// No connection, or none that is safe, came about in three seconds.
    NoConnection,
    /// No answer came in ten seconds.
    NoAnswer,
}

impl AttemptOutcome {
    /// Of a status.
    pub(super) const fn of(status: u16) -> Self {
        match status {
            200..=299 => Self::Delivered,
            300..=399 => Self::Redirected,
            410 => Self::Gone,
            _ => Self::Refused,
        }
    }

    /// As the database has it.
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Delivered => "delivered",
            Self::Refused => "refused",
            Self::Gone => "gone",
            Self::Redirected => "redirected",
            Self::AddressNotAllowed => "address_not_allowed",
            Self::NotFound => "not_found",
            Self::NoConnection => "no_connection",
            Self::NoAnswer => "no_answer",
        }
    }

    /// From the database.
    pub(super) fn named(name: &str) -> Option<Self> {
        use AttemptOutcome::{
            AddressNotAllowed, Delivered, Gone, NoAnswer, NoConnection, NotFound, Redirected, Refused,
        };
        let all = [Delivered, Refused, Gone, Redirected, AddressNotAllowed, NotFound, NoConnection, NoAnswer];
        all.into_iter().find(|one| one.name() == name)
    }
}

/// When to try again after so many failed tries; none when enough were made.
pub(super) fn next_try(tries: i32, now: DateTime<Utc>, chance: i64) -> Option<DateTime<Utc>> {
    retry::next_try(&WAITS, tries, now, chance)
}

/// Why an address is told nothing more, after a try that failed.
pub(super) fn gives_up(
    outcome: AttemptOutcome,
    failures: i32,
    failing_since: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Option<&'static str> {
    if outcome == AttemptOutcome::Gone {
        return Some("gone");
    }
    let long = now.signed_duration_since(failing_since) >= FAILS_FOR;
    (long && failures >= FAILS_TIMES).then_some("failing")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(seconds, 0).unwrap()
    }

    #[test]
    fn waits_grow_and_end() {
        let wait = |tries, chance| next_try(tries, at(0), chance).map(|next| next.timestamp_millis());
        assert_eq!(
            (1..=7).map(|tries| wait(tries, 0).unwrap()).collect::<Vec<_>>(),
            [5_000, 300_000, 1_800_000, 7_200_000, 18_000_000, 36_000_000, 36_000_000]
        );
        assert_eq!((wait(8, 0), wait(0, 0), wait(-1, 0)), (None, None, None));
        assert_eq!((wait(1, -200), wait(1, 200)), (Some(4_000), Some(6_000)));
        assert_eq!((wait(7, -999), wait(7, 999)), (Some(28_800_000), Some(43_200_000)));
        assert_eq!(TimeDelta::milliseconds(43_200_000), LONGEST_WAIT);
    }

    #[test]
    fn an_address_is_given_up_when_nobody_is_there_or_after_five_days_of_trying() {
        let day = 86_400;
        let given_up = |outcome, failures, days: i64| gives_up(outcome, failures, at(0), at(days * day));
        assert_eq!(given_up(AttemptOutcome::Gone, 1, 0), Some("gone"));
        assert_eq!(given_up(AttemptOutcome::NoAnswer, 40, 4), None);
        assert_eq!(given_up(AttemptOutcome::NoAnswer, 40, 5), Some("failing"));
        assert_eq!(given_up(AttemptOutcome::NoAnswer, 2, 400), None, "a clock that jumped");
    }

    #[test]
    fn a_status_says_what_became_of_it() {
        use AttemptOutcome as O;
        let cases = [
            (200, O::Delivered),
            (204, O::Delivered),
            (301, O::Redirected),
            (410, O::Gone),
            (404, O::Refused),
            (500, O::Refused),
        ];
        for (status, outcome) in cases {
            assert_eq!(O::of(status), outcome);
            assert_eq!(O::named(outcome.name()), Some(outcome));
        }
    }
}
