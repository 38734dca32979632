//! What a troop list says of a troop: its name and place, its age band, how many sell, whether it is new.

use super::fields::Reading;
use crate::common::fold;
use crate::intake::parse::table::{Cell, CellKind};

/// The most youths that a troop can have, as the roster has it.
const MOST_YOUTHS: u16 = 500;
/// The longest age band, as the roster has it.
const LONGEST_BAND: usize = 40;

/// A text of at most so many signs.
pub(super) fn text(cell: &Cell, longest: usize, reading: &mut Reading<'_>) -> Option<String> {
    if cell.text.chars().count() > longest {
        return reading.fail("too_long", &cell.text, &format!("at most {longest} signs"));
    }
    Some(cell.text.clone())
}

/// A band in any words. A spreadsheet makes a day of `4-5`, and nobody can tell afterwards which band it was.
pub(super) fn age_band(cell: &Cell, reading: &mut Reading<'_>) -> Option<String> {
    if cell.kind == CellKind::Date || is_day_of_a_range(&cell.text) {
        return reading.fail(
            "not_an_age_band",
            &cell.text,
            "the band itself: a spreadsheet has made a day of it; format the column as text and write it again",
        );
    }
    text(cell, LONGEST_BAND, reading)
}

/// `5-Apr` and `Jun-08`, as spreadsheets show 4-5 and 6-8.
fn is_day_of_a_range(text: &str) -> bool {
    const MONTHS: [&str; 12] = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"];
    let words = fold::words(text);
    let [one, other] = words.as_slice() else { return false };
    let is_month = |word: &str| MONTHS.contains(&word);
    let is_number = |word: &str| word.len() <= 2 && word.chars().all(|sign| sign.is_ascii_digit());
    (is_month(one) && is_number(other)) || (is_number(one) && is_month(other))
}

/// A whole number, in digits or in letters, with a word for youths after it or none. Common practice, no source.
pub(super) fn youths(cell: &Cell, reading: &mut Reading<'_>) -> Option<u16> {
    let expected = format!("a whole number from 0 to {MOST_YOUTHS}, such as 12");
    let mut fail = || reading.fail("not_a_count", &cell.text, &expected);
    if matches!(cell.kind, CellKind::Date | CellKind::Boolean) {
        return fail();
    }
    let (count, word) = cell.text.split_once(' ').unwrap_or((&cell.text, ""));
    let named = word.is_empty()
        || matches!(
            fold::key(word).as_str(),
            "girls"
                | "girl"
                | "boys"
                | "youths"
                | "youth"
                | "kids"
                | "children"
                | "members"
                | "sellers"
                | "selling"
                | "selling youths"
                | "participants"
        );
    let number = Some(count).filter(|_| named).and_then(|count| in_digits(count).or_else(|| in_letters(count)));
    number.filter(|number| *number <= MOST_YOUTHS).or_else(fail)
}

/// Digits, with a fraction of nothing after them or none.
fn in_digits(text: &str) -> Option<u16> {
    let (whole, fraction) = text.split_once(['.', ',']).unwrap_or((text, "0"));
    let digits = !whole.is_empty() && whole.chars().all(|sign| sign.is_ascii_digit());
    let nothing = !fraction.is_empty() && fraction.len() <= 2 && fraction.chars().all(|sign| sign == '0');
    if digits && nothing { whole.parse().ok() } else { None }
}

/// `twelve`, `thirty-one`: below a hundred.
fn in_letters(text: &str) -> Option<u16> {
    const SMALL: [&str; 20] = [
        "zero",
        "one",
        "two",
        "three",
        "four",
        "five",
        "six",
        "seven",
        "eight",
        "nine",
        "ten",
        "eleven",
        "twelve",
        "thirteen",
        "fourteen",
        "fifteen",
        "sixteen",
        "seventeen",
        "eighteen",
        "nineteen",
    ];
    const TENS: [&str; 8] = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];
    let place = |words: &[&str], word: &str| words.iter().position(|known| *known == word);
    let words = fold::words(text);
    let number = match words.as_slice() {
        [one] => place(&SMALL, one).or_else(|| place(&TENS, one).map(|tens| (tens + 2) * 10)),
        [tens, one] => place(&TENS, tens)
            .zip(place(&SMALL, one).filter(|one| (1..10).contains(one)))
            .map(|(tens, one)| (tens + 2) * 10 + one),
        _ => None,
    };
    number.and_then(|number| u16::try_from(number).ok())
}

/// The words that lists use for a first season and for a returning troop; common practice, no source.
pub(super) fn first_season(cell: &Cell, reading: &mut Reading<'_>) -> Option<bool> {
    match cell.text.as_str() {
        "✓" | "✔" | "☑" | "✅" => return Some(true),
        "✗" | "✘" | "☐" | "❌" => return Some(false),
        _ => {}
    }
    match fold::key(&cell.text).as_str() {
        "yes" | "y" | "x" | "true" | "1" | "new" | "first" | "first season" | "first year" | "1st" | "1st season"
        | "1st year" | "new troop" | "ja" | "oui" | "si" => Some(true),
        "no" | "n" | "false" | "0" | "returning" | "return" | "not new" | "old" | "nein" | "non" => Some(false),
        _ => reading.fail("not_yes_or_no", &cell.text, "yes for a first season, no for a returning troop"),
    }
}
