//! What a roster's fields must be, and when a proposal is open: pure.

use chrono::{DateTime, Months, NaiveDate, TimeDelta, Utc};

use crate::error::{ApiError, Code, FieldError};

/// A troop's number as two are compared: without spaces and leading zeros, in small letters. '0412' and ' 412 ' are one
/// troop; a number of zeros only is '0'.
#[must_use]
pub fn number_key(number: &str) -> String {
    let signs: String = number.chars().filter(|sign| !sign.is_whitespace()).flat_map(char::to_lowercase).collect();
    let bare = signs.trim_start_matches('0');
    if bare.is_empty() { signs.chars().take(1).collect() } else { bare.to_owned() }
}

/// What is wrong with a phone number, if anything: digits, and the signs that people write between them.
pub(super) fn phone_fault(phone: &str) -> Option<&'static str> {
    let phone = phone.trim();
    let digits = phone.chars().filter(char::is_ascii_digit).count();
    let plain = phone.chars().all(|sign| sign.is_ascii_digit() || " +-()./x".contains(sign));
    let good = plain && digits >= 3 && phone.len() <= 40;
    (!good).then_some("a phone number: digits, spaces and + - ( ) . / x, at most 40 signs")
}

/// What is wrong with an end that was given beforehand, if anything.
pub(super) fn until_fault(
    from_at: DateTime<Utc>,
    until_at: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> Option<FieldError> {
    let until_at = until_at?;
    (until_at <= from_at || until_at <= now)
        .then(|| FieldError::at("/until_at", "too_early", "an instant in the future, after the beginning; or null"))
}

/// What is wrong with the beginning of a role, if anything: it is not given backwards. The asker's clock may be a little slow.
pub(super) fn role_from_fault(from_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> Option<FieldError> {
    let passed = from_at.is_some_and(|from_at| from_at < now - TimeDelta::minutes(5));
    passed.then(|| FieldError::at("/from_at", "too_early", "an instant that has not passed; or leave it out, for now"))
}

/// What is wrong with the first day of an assignment, if anything: it belongs to its season.
pub(super) fn from_fault(
    from_at: DateTime<Utc>,
    season_begins_at: DateTime<Utc>,
    now: DateTime<Utc>,
) -> Option<FieldError> {
    let earliest = season_begins_at.min(now);
    (from_at < earliest).then(|| {
        let expected =
            format!("{} or later, when the season began; or leave it out, for now", earliest.format("%FT%TZ"));
        FieldError::at("/from_at", "too_early", expected)
    })
}

/// What is wrong with the day from which somebody is gone, if anything: more than a month ago it may be mistyped, and what it
/// ends is not easily begun again.
pub(super) fn left_fault(left_on: NaiveDate, today: NaiveDate, long_ago: bool) -> Option<FieldError> {
    let earliest = today.checked_sub_months(Months::new(1)).unwrap_or(today);
    (left_on < earliest && !long_ago).then(|| {
        let expected = format!(
            "{earliest} or later; look at the year. If the day is right, send it again with \"long_ago\": true: what this person has here ends now, not then"
        );
        FieldError::at("/left_on", "long_ago", expected)
    })
}

/// The one membership number of two rows that are one person: the only one, or the one that was chosen of two.
pub(super) fn one_number(
    (from, into): (Option<&str>, Option<&str>),
    chosen: Option<&str>,
) -> Result<Option<String>, ApiError> {
    let known: Vec<&str> = from.into_iter().chain(into).collect();
    let fault = |code: &'static str, wanted: &str| {
        Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/membership_number", code, wanted)]))
    };
    match chosen.map(str::trim) {
        Some(chosen) if known.contains(&chosen) => Ok(Some(chosen.to_owned())),
        Some(_) => fault("unknown", "one of the two membership numbers that the rows have"),
        None if from.is_some() && into.is_some() && from != into => fault(
            "choose",
            "the right one of the two: the rows have different membership numbers, so they may be two people",
        ),
        None => Ok(into.or(from).map(str::to_owned)),
    }
}

/// What has become of an assignment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Fate {
    /// A list proposes it; a person confirms or declines.
    Proposed,
    /// Confirmed: it counts from its beginning to its end.
    Confirmed,
    /// Declined.
    Declined,
    /// Over.
    Ended,
}

/// What has become of an assignment, from the instants that it carries.
pub(super) fn fate(
    confirmed_at: Option<DateTime<Utc>>,
    declined_at: Option<DateTime<Utc>>,
    ended_at: Option<DateTime<Utc>>,
) -> Fate {
    match (confirmed_at, declined_at, ended_at) {
        (_, _, Some(_)) => Fate::Ended,
        (_, Some(_), None) => Fate::Declined,
        (Some(_), None, None) => Fate::Confirmed,
        (None, None, None) => Fate::Proposed,
    }
}

/// Whether a grant is over: ended by somebody, or run out.
pub(super) fn grant_is_over(
    ended_at: Option<DateTime<Utc>>,
    until_at: Option<DateTime<Utc>>,
    now: DateTime<Utc>,
) -> bool {
    ended_at.is_some() || until_at.is_some_and(|until| until <= now)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_800_000_000 + seconds, 0).unwrap()
    }

    #[test]
    fn leading_zeros_and_spaces_do_not_tell_troops_apart() {
        for (number, key) in [
            ("0412", "412"),
            ("412", "412"),
            (" 412 ", "412"),
            ("04 12", "412"),
            ("4120", "4120"),
            ("000", "0"),
            ("0", "0"),
            ("A07", "a07"),
            ("0a07", "a07"),
            ("\u{a0}412", "412"),
        ] {
            assert_eq!(number_key(number), key, "{number:?}");
        }
    }

    #[test]
    fn phone_numbers_are_told_from_rubbish() {
        for good in ["+1 555 0101", "(555) 010-1234", "555.0101 x12", " 112 "] {
            assert_eq!(phone_fault(good), None, "{good:?}");
        }
        for bad in ["", "12", "call me", "555\n0101", "tel:5550101", &"5".repeat(41)] {
            assert!(phone_fault(bad).is_some(), "{bad:?}");
        }
    }

    #[test]
    fn an_end_lies_after_the_beginning_and_ahead() {
        assert!(until_fault(at(0), None, at(5)).is_none());
        assert!(until_fault(at(0), Some(at(10)), at(5)).is_none());
        for (from, until, now) in [(0, 0, -5), (0, 5, 5), (0, 3, 5), (10, 8, 5)] {
            assert!(until_fault(at(from), Some(at(until)), at(now)).is_some(), "{from} {until} {now}");
        }
    }

    #[test]
    fn an_assignment_has_one_fate() {
        let some = Some(at(0));
        assert_eq!(fate(None, None, None), Fate::Proposed);
        assert_eq!(fate(some, None, None), Fate::Confirmed);
        assert_eq!(fate(None, some, None), Fate::Declined);
        assert_eq!(fate(some, None, some), Fate::Ended);
        assert_eq!(fate(None, None, some), Fate::Ended);
    }

    #[test]
    fn a_grant_is_over_when_it_was_ended_or_has_run_out() {
        assert!(!grant_is_over(None, None, at(0)));
        assert!(!grant_is_over(None, Some(at(1)), at(0)));
        assert!(grant_is_over(None, Some(at(0)), at(0)));
        assert!(grant_is_over(Some(at(-5)), None, at(0)));
    }
}
