//! Words around a message: days in its language, and a message as full as one can be, on which wordings are tried.

use chrono::{DateTime, Datelike as _, NaiveDate, Timelike as _};
use chrono_tz::Tz;
use serde_json::{Map, Value, json};

use super::Kind;

const ENGLISH_DAYS: [&str; 7] = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"];
const ENGLISH_MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];
const SPANISH_DAYS: [&str; 7] = ["lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"];
const SPANISH_MONTHS: [&str; 12] = [
    "enero",
    "febrero",
    "marzo",
    "abril",
    "mayo",
    "junio",
    "julio",
    "agosto",
    "septiembre",
    "octubre",
    "noviembre",
    "diciembre",
];

/// A day as it is said in this language; by numbers (ISO 8601) in one that has no words here.
#[must_use]
pub fn day(on: NaiveDate, language: &str) -> String {
    let weekday = usize::try_from(on.weekday().num_days_from_monday()).unwrap_or_default();
    let month = usize::try_from(on.month0()).unwrap_or_default();
    let named = |days: [&'static str; 7], months: [&'static str; 12]| Some((*days.get(weekday)?, *months.get(month)?));
    let said = match language {
        "en" => {
            named(ENGLISH_DAYS, ENGLISH_MONTHS).map(|(day, month)| format!("{day} {} {month} {}", on.day(), on.year()))
        }
        "es" => named(SPANISH_DAYS, SPANISH_MONTHS)
            .map(|(day, month)| format!("{day} {} de {month} de {}", on.day(), on.year())),
        _ => None,
    };
    said.unwrap_or_else(|| on.to_string())
}

/// A day and an hour as they are said in this language.
#[must_use]
pub fn instant(at: DateTime<Tz>, language: &str) -> String {
    format!("{}, {:02}:{:02}", day(at.date_naive(), language), at.hour(), at.minute())
}

/// The fields of a message with long names and a list of forty.
pub(super) fn sample(kind: Kind) -> Map<String, Value> {
    let long = "W".repeat(120);
    let fields = kind.fields().iter().map(|field| ((*field).to_owned(), json!(long)));
    let lists = kind.lists().iter().map(|(list, fields)| {
        let item: Map<String, Value> = fields.iter().map(|field| ((*field).to_owned(), json!(long))).collect();
        ((*list).to_owned(), json!(vec![item; 40]))
    });
    fields.chain(lists).collect()
}

#[cfg(test)]
mod tests {
    use chrono::TimeZone as _;

    use super::*;

    #[test]
    fn days_are_said_in_the_language_of_the_message() {
        let on = NaiveDate::from_ymd_opt(2026, 11, 14).unwrap();
        assert_eq!(day(on, "en"), "Saturday 14 November 2026");
        assert_eq!(day(on, "es"), "sábado 14 de noviembre de 2026");
        assert_eq!(day(on, "uk"), "2026-11-14");
        let at = chrono_tz::America::Chicago.with_ymd_and_hms(2026, 11, 14, 7, 5, 0).unwrap();
        assert_eq!(instant(at, "en"), "Saturday 14 November 2026, 07:05");
    }
}
