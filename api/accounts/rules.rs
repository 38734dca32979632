//! Delays of sign-in, refresh tokens, and what an e-mail address is: pure.

use chrono::{DateTime, TimeDelta, Utc};

/// How long the longest run of failures counts.
const WINDOW: TimeDelta = TimeDelta::hours(24);

/// Failures after which an account waits for the end of its window.
const LOCKED_AT: i32 = 100;

/// Failures that one address may make at once, and how long one of them takes to be forgotten.
const ADDRESS_BURST: i64 = 10;
const ADDRESS_SECONDS: i64 = 20;

/// What the database knows of earlier failures.
#[derive(Clone, Copy, Debug)]
pub(super) struct Failures {
    pub window_began_at: DateTime<Utc>,
    pub failures: i32,
    pub last_failed_at: DateTime<Utc>,
}

/// Seconds to wait before an account may be tried again (R04): 1, 3, 5, 10 seconds after the first, third, ninth and
/// twenty-fifth failure; after the hundredth until the window of 24 hours ends.
pub(super) fn account_wait(known: Option<Failures>, now: DateTime<Utc>) -> Option<u32> {
    let known = known.filter(|known| now.signed_duration_since(known.window_began_at) < WINDOW)?;
    let until = match known.failures {
        ..=0 => return None,
        1..3 => known.last_failed_at + TimeDelta::seconds(1),
        3..9 => known.last_failed_at + TimeDelta::seconds(3),
        9..25 => known.last_failed_at + TimeDelta::seconds(5),
        25..LOCKED_AT => known.last_failed_at + TimeDelta::seconds(10),
        _ => known.window_began_at + WINDOW,
    };
    seconds_until(until, now)
}

/// Seconds to wait before an address may try again: ten failures at once, then one every twenty seconds.
pub(super) fn address_wait(known: Option<Failures>, now: DateTime<Utc>) -> Option<u32> {
    let known = known?;
    let forgotten = now.signed_duration_since(known.window_began_at).num_seconds() / ADDRESS_SECONDS;
    let over = i64::from(known.failures) - forgotten - ADDRESS_BURST;
    if over < 0 {
        return None;
    }
    let until = known.window_began_at + TimeDelta::seconds((forgotten + over + 1) * ADDRESS_SECONDS);
    seconds_until(until, now)
}

/// The failures after one more: a new window if the old one is over.
pub(super) fn one_more(known: Option<Failures>, now: DateTime<Utc>, window: TimeDelta) -> Failures {
    match known.filter(|known| now.signed_duration_since(known.window_began_at) < window) {
        Some(known) => Failures { failures: known.failures.saturating_add(1), last_failed_at: now, ..known },
        None => Failures { window_began_at: now, failures: 1, last_failed_at: now },
    }
}

/// The window of an account's failures.
pub(super) const ACCOUNT_WINDOW: TimeDelta = WINDOW;

/// The window of an address's failures: as long as the bucket takes to drain.
pub(super) const ADDRESS_WINDOW: TimeDelta = TimeDelta::hours(1);

fn seconds_until(until: DateTime<Utc>, now: DateTime<Utc>) -> Option<u32> {
    let left = until.signed_duration_since(now);
    if left <= TimeDelta::zero() {
        return None;
    }
    u32::try_from(left.num_milliseconds().saturating_add(999) / 1_000).ok()
}

/// What the database knows of a refresh token that was handed in.
#[derive(Clone, Copy, Debug)]
pub(super) struct RefreshState {
    pub session_live: bool,
    pub expires_at: DateTime<Utc>,
    pub used_at: Option<DateTime<Utc>>,
    pub voided: bool,
    pub successor_used: bool,
}

/// What to do with it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum RefreshVerdict {
    /// Give a new one.
    Renew,
    /// The answer to its first use was lost: give a new one and void the one that nobody has seen.
    RenewAndVoidSuccessor,
    /// It was stolen, or the other one was: end the session.
    EndSession,
    /// It is over.
    Refuse,
}

/// R08: single use; used again within 30 seconds while its successor lies unused it counts as a lost answer, and
/// otherwise as theft.
pub(super) fn refresh(state: RefreshState, now: DateTime<Utc>) -> RefreshVerdict {
    if !state.session_live || state.expires_at <= now {
        return RefreshVerdict::Refuse;
    }
    if state.voided {
        return RefreshVerdict::EndSession;
    }
    match state.used_at {
        None => RefreshVerdict::Renew,
        Some(used) if !state.successor_used && now.signed_duration_since(used) <= TimeDelta::seconds(30) => {
            RefreshVerdict::RenewAndVoidSuccessor
        }
        Some(_) => RefreshVerdict::EndSession,
    }
}

/// An e-mail address in the form in which two are compared.
#[must_use]
pub fn email_key(email: &str) -> String {
    email.trim().to_lowercase()
}

/// What is wrong with an e-mail address, if anything: one @ with something on both sides, no spaces, at most 254 long.
#[must_use]
pub fn email_fault(email: &str) -> Option<&'static str> {
    let good = email.len() <= 254
        && email
            .split_once('@')
            .is_some_and(|(local, host)| !local.is_empty() && !host.is_empty() && !host.contains('@'))
        && !email.chars().any(|one| one.is_whitespace() || one.is_control());
    (!good).then_some("an e-mail address such as name@example.org")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_800_000_000 + seconds, 0).unwrap()
    }

    fn failed(failures: i32, last: i64) -> Failures {
        Failures { window_began_at: at(0), failures, last_failed_at: at(last) }
    }

    #[test]
    fn an_account_waits_longer_with_every_step_and_is_locked_at_a_hundred() {
        assert_eq!(account_wait(None, at(0)), None);
        for (failures, wait) in [(1, 1), (2, 1), (3, 3), (8, 3), (9, 5), (24, 5), (25, 10), (99, 10)] {
            assert_eq!(account_wait(Some(failed(failures, 50)), at(50)), Some(wait), "{failures} failures");
            assert_eq!(
                account_wait(Some(failed(failures, 50)), at(50 + i64::from(wait))),
                None,
                "{failures} failures, waited"
            );
        }
        assert_eq!(account_wait(Some(failed(100, 50)), at(50)), Some(86_350));
        assert_eq!(account_wait(Some(failed(100, 50)), at(86_400)), None);
    }

    #[test]
    fn an_address_has_ten_tries_and_then_one_every_twenty_seconds() {
        assert_eq!(address_wait(Some(failed(9, 0)), at(0)), None);
        assert_eq!(address_wait(Some(failed(10, 0)), at(0)), Some(20));
        assert_eq!(address_wait(Some(failed(10, 0)), at(20)), None);
        assert_eq!(address_wait(Some(failed(12, 0)), at(20)), Some(40));
    }

    #[test]
    fn a_new_window_begins_when_the_old_one_is_over() {
        assert_eq!(one_more(Some(failed(7, 3)), at(10), ACCOUNT_WINDOW).failures, 8);
        assert_eq!(one_more(Some(failed(7, 3)), at(86_400), ACCOUNT_WINDOW).failures, 1);
        assert_eq!(one_more(None, at(1), ACCOUNT_WINDOW).window_began_at, at(1));
    }

    #[test]
    fn a_refresh_token_works_once() {
        let fresh = RefreshState {
            session_live: true,
            expires_at: at(100),
            used_at: None,
            voided: false,
            successor_used: false,
        };
        let used = RefreshState { used_at: Some(at(10)), ..fresh };
        assert_eq!(refresh(fresh, at(0)), RefreshVerdict::Renew);
        assert_eq!(refresh(fresh, at(100)), RefreshVerdict::Refuse);
        assert_eq!(refresh(RefreshState { session_live: false, ..fresh }, at(0)), RefreshVerdict::Refuse);
        assert_eq!(refresh(used, at(40)), RefreshVerdict::RenewAndVoidSuccessor);
        assert_eq!(refresh(used, at(41)), RefreshVerdict::EndSession);
        assert_eq!(refresh(RefreshState { successor_used: true, ..used }, at(11)), RefreshVerdict::EndSession);
        assert_eq!(refresh(RefreshState { voided: true, ..fresh }, at(11)), RefreshVerdict::EndSession);
    }

    #[test]
    fn addresses_are_told_from_rubbish() {
        assert_eq!(email_fault("ana.okafor@example.org"), None);
        for bad in ["", "a", "@example.org", "a@", "a b@example.org", "a@b@c", "a@example.org\r\nBcc: x"] {
            assert!(email_fault(bad).is_some(), "{bad:?}");
        }
        assert_eq!(email_key(" Ana@Example.org "), "ana@example.org");
    }
}
