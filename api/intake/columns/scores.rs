//! Scores as lists write them.

use super::fields::Reading;
use super::plan::{self, PlannedColumn};
use crate::intake::parse::table::{Cell, ParsedTable};

/// A spreadsheet keeps 92 % as 0.92: a column in which nothing is above one holds fractions.
pub(super) fn all_fractions(table: &ParsedTable, planned: &PlannedColumn) -> bool {
    let mut numbers = plan::cells(table, planned.place).map(|cell| cell.text.parse::<f64>().ok()).peekable();
    numbers.peek().is_some() && numbers.all(|number| number.is_some_and(|number| (0.0..=1.0).contains(&number)))
}

/// `92`, `92 %`, `92,5`, `18/20`, or a spreadsheet's 0.92, in hundredths of a per cent, cut and never rounded up.
pub(super) fn score(cell: &Cell, fractions: bool, reading: &mut Reading<'_>) -> Option<u16> {
    let text = cell.text.replace([' ', '%'], "").replace(',', ".");
    let hundredths = match text.split_once('/') {
        Some((got, of)) => ratio(got, of),
        None => {
            decimal(&text).map(|thousands| if fractions { thousands * 100 } else { thousands }).map(|value| value / 100)
        }
    };
    // Among per cents, a part of one is most often a share that was written otherwise: nobody passes or fails by a guess.
    if !fractions && !text.contains('/') && decimal(&text).is_some_and(|value| (1..10_000).contains(&value)) {
        return reading.fail(
            "not_a_score",
            &cell.text,
            "a score from 0 to 100 per cent; if a share is meant, 85 for 0.85",
        );
    }
    match hundredths.and_then(|value| u16::try_from(value).ok()) {
        Some(value) if value <= 10_000 => Some(value),
        _ => reading.fail("not_a_score", &cell.text, "a score from 0 to 100 per cent, such as 92 or 18/20"),
    }
}

fn ratio(got: &str, of: &str) -> Option<u64> {
    let (got, of) = (decimal(got)?, decimal(of)?);
    (of > 0 && got <= of).then(|| got * 10_000 / of)
}

/// A decimal number in ten-thousandths.
fn decimal(text: &str) -> Option<u64> {
    let (whole, fraction) = text.split_once('.').unwrap_or((text, ""));
    let digits = |text: &str| text.chars().all(|sign| sign.is_ascii_digit());
    if (whole.is_empty() && fraction.is_empty()) || !digits(whole) || !digits(fraction) || whole.len() > 6 {
        return None;
    }
    let padded: String = fraction.chars().chain(std::iter::repeat('0')).take(4).collect();
    format!("{whole}{padded}").parse().ok()
}
