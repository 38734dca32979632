//! What a line of text from outside must be, beside its length.

use std::fmt::Write as _;

use chrono::{DateTime, Datelike, NaiveDate, NaiveTime, Utc};

use super::body::Patch;
use crate::error::FieldError;

/// A name or title: not only spaces, and on one line, so that it can stand in a list, a log or a subject.
///
/// # Errors
/// What would be right.
pub fn line(text: &str, _: &()) -> garde::Result {
    if text.trim().is_empty() {
        return Err(garde::Error::new("not only spaces"));
    }
    one_line(text, &())
}

/// A line that may be empty, such as the last name of somebody who has one name.
///
/// # Errors
/// What would be right.
pub fn one_line(text: &str, _: &()) -> garde::Result {
    if text.chars().any(char::is_control) {
        return Err(garde::Error::new("one line of text, without line breaks or other control characters"));
    }
    Ok(())
}

/// Bytes in hexadecimal digits.
#[must_use]
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::with_capacity(bytes.len().saturating_mul(2)), |mut text, byte| {
        let _ = write!(text, "{byte:02x}");
        text
    })
}

/// The years that a day of a season can lie in; a day beyond them is a slip of the finger.
const YEARS: std::ops::RangeInclusive<i32> = 2000..=2199;

/// A day in reach of a volunteer's calendar.
///
/// # Errors
/// What would be right.
pub fn day(day: &NaiveDate, _: &()) -> garde::Result {
    if YEARS.contains(&day.year()) { Ok(()) } else { Err(garde::Error::new("a day between the years 2000 and 2199")) }
}

/// An instant in reach of a volunteer's calendar.
///
/// # Errors
/// What would be right.
pub fn instant(at: &DateTime<Utc>, _: &()) -> garde::Result {
    day(&at.date_naive(), &())
}

/// A lasting code: small letters, digits and underscores, a letter first.
///
/// # Errors
/// What would be right.
pub fn code(text: &str, _: &()) -> garde::Result {
    let begins = text.chars().next().is_some_and(|first| first.is_ascii_lowercase());
    let plain = text.chars().all(|one| one.is_ascii_lowercase() || one.is_ascii_digit() || one == '_');
    if begins && plain {
        Ok(())
    } else {
        Err(garde::Error::new("small letters, digits and underscores, a letter first"))
    }
}

/// A time of day as a volunteer writes it: hours and minutes, `17:30`.
#[must_use]
pub fn local_time(text: &str) -> Option<NaiveTime> {
    NaiveTime::parse_from_str(text, "%H:%M").ok().filter(|_| text.len() == 5)
}

/// A time of day as [`local_time`] reads it.
#[must_use]
pub fn time_text(time: NaiveTime) -> String {
    time.format("%H:%M").to_string()
}

/// A time of day that can be read.
///
/// # Errors
/// What would be right.
pub fn time_of_day(text: &str, _: &()) -> garde::Result {
    local_time(text).map(|_| ()).ok_or_else(|| garde::Error::new("a time of day such as 17:30"))
}

/// A field that can be changed but not taken away: null is refused.
#[must_use]
pub fn not_null<T>(pointer: &str, field: &Patch<T>) -> Option<FieldError> {
    matches!(field, Patch::Clear)
        .then(|| FieldError::at(pointer, "not_null", "a value; leave the field out to keep it"))
}

/// `garde` looks into a patch as it looks into an `Option`: `inner(..)` checks the value that was sent.
impl<T> garde::rules::inner::Inner<T> for Patch<T> {
    type Key = garde::error::NoKey;

    fn validate_inner<F: FnMut(&T, &Self::Key)>(&self, mut check: F) {
        if let Self::Set(value) = self {
            check(value, &Self::Key::default());
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::NaiveTime;

    use super::{code, day, line, local_time, one_line, time_text};

    #[test]
    fn a_line_says_something_on_one_line() {
        for good in ["Tove", "O’Brien-Núñez", "李 小龍", " x "] {
            assert!(line(good, &()).is_ok(), "{good:?}");
        }
        for bad in ["", "  ", "\u{a0}", "a\nb", "a\r\nBcc: b", "a\u{1b}[31m", "tab\there"] {
            assert!(line(bad, &()).is_err(), "{bad:?}");
        }
        assert!(one_line("", &()).is_ok());
    }

    #[test]
    fn days_out_of_reach_are_refused() {
        for (text, good) in [
            ("1999-12-31", false),
            ("2000-01-01", true),
            ("2199-12-31", true),
            ("2200-01-01", false),
            ("0001-01-01", false),
        ] {
            assert_eq!(day(&text.parse().unwrap(), &()).is_ok(), good, "{text}");
        }
    }

    #[test]
    fn times_of_day_are_hours_and_minutes() {
        assert_eq!(local_time("17:30"), NaiveTime::from_hms_opt(17, 30, 0));
        assert_eq!(local_time("17:30").map(time_text), Some("17:30".to_owned()));
        for bad in ["", "5:30", "24:00", "17:30:00", "5 pm", "17.30", "17:3"] {
            assert_eq!(local_time(bad), None, "{bad}");
        }
    }

    #[test]
    fn codes_are_plain_and_begin_with_a_letter() {
        for (text, good) in
            [("return_due", true), ("x2", true), ("2x", false), ("Return", false), ("a-b", false), ("", false)]
        {
            assert_eq!(code(text, &()).is_ok(), good, "{text}");
        }
    }
}
