//! What names a troop or a person: numbers with the damage that spreadsheets do to them, and names in one cell.

use super::fields::Reading;
use crate::common::fold;
use crate::intake::kinds::ListColumn as C;
use crate::intake::parse::table::{Cell, CellKind};

/// A number that names something. Zeros in front stay; `1.2E+11` is what a spreadsheet leaves of a long one.
pub(super) fn naming_number(cell: &Cell, reading: &mut Reading<'_>) -> Option<String> {
    let text = cell.text.trim_start_matches('#').trim();
    let text = without_empty_fraction(strip_word(text, "troop"));
    let in_part = reading.planned.column == C::TroopNumber && is_fraction(text);
    let shortened = text.contains(['e', 'E']) && text.contains('+') && text.parse::<f64>().is_ok();
    let broken = cell.kind == CellKind::Number && text.contains('.');
    if shortened || broken || in_part || cell.kind == CellKind::Date {
        return reading.fail(
            "number_shortened",
            &cell.text,
            "the whole number: a spreadsheet has changed it; format the column as text and send the list again",
        );
    }
    let longest = if reading.planned.column == C::TroopNumber { 20 } else { 40 };
    let wants_digit =
        reading.planned.column == C::MembershipNumber && !text.contains(|sign: char| sign.is_ascii_digit());
    if wants_digit || fold::number(text).is_empty() || text.chars().count() > longest {
        return reading.fail("not_a_number", &cell.text, "a number of digits, or of letters and digits");
    }
    Some(text.to_owned())
}

/// `Troop 104` in a column of troop numbers is 104.
fn strip_word<'a>(text: &'a str, word: &str) -> &'a str {
    match text.get(..word.len()) {
        Some(head) if head.eq_ignore_ascii_case(word) => {
            text.get(word.len()..).unwrap_or_default().trim_start_matches([' ', '#', '-', '.'])
        }
        _ => text,
    }
}

/// `101.0` is what is left of 101 where a spreadsheet took a number for an amount.
fn without_empty_fraction(text: &str) -> &str {
    match text.trim().split_once('.') {
        Some((whole, zeros)) if is_digits(whole) && !zeros.is_empty() && zeros.chars().all(|sign| sign == '0') => whole,
        _ => text,
    }
}

fn is_fraction(text: &str) -> bool {
    text.trim().split_once('.').is_some_and(|(whole, part)| is_digits(whole) && is_digits(part))
}

fn is_digits(text: &str) -> bool {
    !text.is_empty() && text.chars().all(|sign| sign.is_ascii_digit())
}

/// `Last, First`, else the last word (with the small words before it) is the family name.
pub(super) fn split_name(text: &str) -> (Option<String>, Option<String>) {
    let some = |text: &str| Some(text.trim().to_owned()).filter(|text| text.contains(char::is_alphabetic));
    if let Some((last, first)) = text.split_once(',') {
        return (some(first), some(last));
    }
    let words: Vec<&str> = text.split(' ').collect();
    let Some(last_word) = words.len().checked_sub(1).filter(|at| *at > 0) else { return (None, some(text)) };
    let is_small = |word: &str| {
        matches!(
            fold::fold(word).as_str(),
            "de" | "da"
                | "di"
                | "du"
                | "van"
                | "von"
                | "der"
                | "den"
                | "la"
                | "le"
                | "el"
                | "al"
                | "bin"
                | "ter"
                | "ten"
                | "dos"
                | "del"
                | "st"
                | "st."
        )
    };
    let mut start = last_word;
    while start > 1 && words.get(start - 1).is_some_and(|word| is_small(word)) {
        start -= 1;
    }
    (some(&words.get(..start).unwrap_or_default().join(" ")), some(&words.get(start..).unwrap_or_default().join(" ")))
}
