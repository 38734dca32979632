//! Days as lists write them, and the order of day and month decided per column, never per cell.
//!
//! `03/04/2026` is two different days. One cell of a column that can only be read one way (`25/04/2026`) decides for the
//! column; a column without such a cell is asked of a person. Year-first days, month names and spreadsheet day numbers
//! need no order. Day numbers count from 1899-12-30 (the 1900 date system of ECMA-376 for days after 1900-02-28).

use crate::intake::parse::table::{Cell, CellKind};
use chrono::{Datelike, Days, NaiveDate};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// In which order day and month stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum DateOrder {
    /// `2026-01-31`, month names, or day numbers: nothing to decide.
    YearFirst,
    /// `31/01/2026`.
    DayFirst,
    /// `01/31/2026`.
    MonthFirst,
}

/// What the cells of a column say about their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OrderFound {
    /// Every reading that is possible agrees.
    Decided(DateOrder),
    /// No cell can tell, or cells contradict each other: a person is asked.
    Undecidable,
}

/// The earliest and latest year that a list of this trade can mean; outside it the cell is a mistake.
const YEARS: std::ops::RangeInclusive<i32> = 1990..=2100;

/// The order of a column: decided by the cells that can be read only one way.
#[must_use]
pub fn order_of<'a>(cells: impl Iterator<Item = &'a Cell>) -> OrderFound {
    let (mut day_first, mut month_first, mut unsure) = (0_usize, 0_usize, 0_usize);
    for cell in cells {
        let as_day_first = read(cell, DateOrder::DayFirst);
        let as_month_first = read(cell, DateOrder::MonthFirst);
        match (as_day_first, as_month_first) {
            (Some(one), Some(other)) if one != other => unsure += 1,
            (Some(_), None) => day_first += 1,
            (None, Some(_)) => month_first += 1,
            _ => {}
        }
    }
    match (day_first > 0, month_first > 0, unsure > 0) {
        (true, true, _) | (false, false, true) => OrderFound::Undecidable,
        (true, false, _) => OrderFound::Decided(DateOrder::DayFirst),
        (false, true, _) => OrderFound::Decided(DateOrder::MonthFirst),
        (false, false, false) => OrderFound::Decided(DateOrder::YearFirst),
    }
}

/// The day in a cell, read in this order. None when there is none; a time of day beside it is left out.
#[must_use]
pub fn read(cell: &Cell, order: DateOrder) -> Option<NaiveDate> {
    let day = match cell.kind {
        CellKind::Number => day_number(&cell.text),
        CellKind::Unreadable | CellKind::Boolean => None,
        CellKind::Text | CellKind::Date => year_first(&cell.text)
            .or_else(|| month_by_name(&cell.text))
            .or_else(|| three_numbers(&cell.text, order))
            .or_else(|| day_number(&cell.text)),
    };
    day.filter(|day| YEARS.contains(&day.year()))
}

/// The parts of a day, with a time of day after it cut off.
fn parts(text: &str) -> Vec<&str> {
    let day = text.split(" at ").next().unwrap_or(text);
    let day = match day.find(':') {
        Some(colon) => day.get(..colon).and_then(|head| head.rsplit_once([' ', 'T'])).map_or(day, |(head, _)| head),
        None => day,
    };
    day.split(['-', '/', '.', ' ', ',']).filter(|part| !part.is_empty()).collect()
}

fn year_first(text: &str) -> Option<NaiveDate> {
    let parts = parts(text);
    let [year, month, day] = *parts.as_slice() else { return None };
    let day = day.split(['T', 'Z']).next().unwrap_or(day);
    (year.len() == 4).then(|| NaiveDate::from_ymd_opt(year.parse().ok()?, month.parse().ok()?, day.parse().ok()?))?
}

fn three_numbers(text: &str, order: DateOrder) -> Option<NaiveDate> {
    let parts = parts(text);
    let [first, second, year] = *parts.as_slice() else { return None };
    if first.len() > 2 || second.len() > 2 {
        return None;
    }
    let (first, second): (u32, u32) = (first.parse().ok()?, second.parse().ok()?);
    let (day, month) = match order {
        DateOrder::DayFirst => (first, second),
        DateOrder::MonthFirst => (second, first),
        DateOrder::YearFirst if first == second => (first, second),
        DateOrder::YearFirst => return None,
    };
    NaiveDate::from_ymd_opt(full_year(year)?, month, day)
}

/// `3 Jan 2026`, `January 3, 2026`, `03-Jan-26`, `Mon 3 Jan 2026`: the month by name, so no order is needed.
fn month_by_name(text: &str) -> Option<NaiveDate> {
    let all = parts(text);
    let parts: Vec<&str> = match all.as_slice() {
        [weekday, rest @ ..] if rest.len() == 3 && weekday.chars().all(char::is_alphabetic) => rest.to_vec(),
        _ => all,
    };
    let [first, second, year] = *parts.as_slice() else { return None };
    let (day, month) = match (month_number(first), month_number(second)) {
        (None, Some(month)) => (first, month),
        (Some(month), None) => (second, month),
        _ => return None,
    };
    let day: String = day.chars().take_while(char::is_ascii_digit).collect(); // 1st, 2nd, 3rd
    NaiveDate::from_ymd_opt(full_year(year)?, month, day.parse().ok()?)
}

fn month_number(word: &str) -> Option<u32> {
    const NAMES: [(&str, u32); 12] = [
        ("january", 1),
        ("february", 2),
        ("march", 3),
        ("april", 4),
        ("may", 5),
        ("june", 6),
        ("july", 7),
        ("august", 8),
        ("september", 9),
        ("october", 10),
        ("november", 11),
        ("december", 12),
    ];
    let word = word.to_lowercase();
    NAMES
        .into_iter()
        .find(|(name, _)| word.len() >= 3 && name.starts_with(&word) || word == "sept" && *name == "september")
        .map(|(_, n)| n)
}

/// Two digits mean this century: no list of this trade is older.
fn full_year(text: &str) -> Option<i32> {
    if !text.chars().all(|sign| sign.is_ascii_digit()) {
        return None;
    }
    let year: i32 = text.parse().ok()?;
    match text.len() {
        2 => Some(2000 + year),
        4 => Some(year),
        _ => None,
    }
}

/// A day number of a spreadsheet: 1 is 1900-01-01, so 45 000 is in 2023. Five digits only, lest years read as days.
fn day_number(text: &str) -> Option<NaiveDate> {
    let whole = text.split('.').next().unwrap_or(text);
    if whole.len() != 5 || !text.chars().all(|sign| sign.is_ascii_digit() || sign == '.') {
        return None;
    }
    NaiveDate::from_ymd_opt(1899, 12, 30)?.checked_add_days(Days::new(whole.parse().ok()?))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cell(text: &str) -> Cell {
        Cell::text(text)
    }

    fn day(text: &str, order: DateOrder) -> Option<String> {
        read(&cell(text), order).map(|day| day.to_string())
    }

    #[test]
    fn days_that_need_no_order() {
        for text in [
            "2026-01-03",
            "2026/1/3",
            "2026.01.03",
            "2026-01-03T09:30:00Z",
            "2026-01-03 00:00",
            "3 Jan 2026",
            "January 3, 2026",
            "03-Jan-26",
            "Jan 3rd, 2026",
            "Sat 3 January 2026",
            "3-JAN-2026 14:05",
        ] {
            for order in [DateOrder::YearFirst, DateOrder::DayFirst, DateOrder::MonthFirst] {
                assert_eq!(day(text, order).as_deref(), Some("2026-01-03"), "{text}");
            }
        }
    }

    #[test]
    fn the_order_decides_between_two_days() {
        assert_eq!(day("03/04/2026", DateOrder::DayFirst).as_deref(), Some("2026-04-03"));
        assert_eq!(day("03/04/2026", DateOrder::MonthFirst).as_deref(), Some("2026-03-04"));
        assert_eq!(day("3.4.26", DateOrder::DayFirst).as_deref(), Some("2026-04-03"));
        assert_eq!(day("1/5/2026 1:22 PM", DateOrder::MonthFirst).as_deref(), Some("2026-01-05"));
        assert_eq!(day("03/04/2026", DateOrder::YearFirst), None);
    }

    #[test]
    fn what_is_no_day_is_not_guessed() {
        for text in [
            "",
            "yes",
            "2026",
            "31/02/2026",
            "2026-13-01",
            "00/00/0000",
            "12/2026",
            "1/2/3/2026",
            "1899-01-01",
            "9999-12-31",
            "123456",
            "03/04/202",
        ] {
            for order in [DateOrder::DayFirst, DateOrder::MonthFirst] {
                assert_eq!(day(text, order), None, "{text}");
            }
        }
    }

    #[test]
    fn spreadsheet_day_numbers_are_days() {
        // ECMA-376 Part 1, 18.17.4.1: in the 1900 date system 1900-01-01 is 1; 2008-01-01 is 39448, as its vendor documents
        assert_eq!(day("39448", DateOrder::DayFirst).as_deref(), Some("2008-01-01"));
        let number = Cell { text: "46025.5".into(), kind: CellKind::Number };
        assert_eq!(read(&number, DateOrder::YearFirst).unwrap().to_string(), "2026-01-03");
    }

    #[test]
    fn a_column_is_decided_by_the_cells_that_can_be_read_one_way() {
        for (column, want) in [
            (&["03/04/2026", "25/04/2026"][..], OrderFound::Decided(DateOrder::DayFirst)),
            (&["03/04/2026", "04/25/2026"], OrderFound::Decided(DateOrder::MonthFirst)),
            (&["03/04/2026", "05/06/2026"], OrderFound::Undecidable),
            (&["25/04/2026", "04/25/2026"], OrderFound::Undecidable),
            (&["2026-04-03", "3 Apr 2026"], OrderFound::Decided(DateOrder::YearFirst)),
            (&["05/05/2026"], OrderFound::Decided(DateOrder::YearFirst)),
            (&["n/a", "25.4.26", "1.2.26"], OrderFound::Decided(DateOrder::DayFirst)),
            (&[], OrderFound::Decided(DateOrder::YearFirst)),
        ] {
            let cells: Vec<Cell> = column.iter().map(|text| cell(text)).collect();
            assert_eq!(order_of(cells.iter()), want, "{column:?}");
        }
    }
}
