//! CSV that a spreadsheet program cannot take for formulas, and the way back.
//!
//! A cell of text that begins with a sign from which spreadsheet programs start a formula gets an apostrophe in front
//! (reliability.md R21). Text that already begins with apostrophes and then such a sign gets one more, so that taking one
//! away on import gives back exactly what went out. Numbers and days are typed, hence never guarded: `-5` stays a number.

use chrono::NaiveDate;

/// What a cell of a CSV export holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum CsvCell<'a> {
    /// Text from people; guarded.
    Text(&'a str),
    /// A whole number.
    Whole(i64),
    /// A day, written year first.
    Day(NaiveDate),
    /// Nothing.
    Empty,
}

impl<'a> From<Option<&'a str>> for CsvCell<'a> {
    fn from(text: Option<&'a str>) -> Self {
        text.map_or(Self::Empty, Self::Text)
    }
}

impl From<Option<NaiveDate>> for CsvCell<'_> {
    fn from(day: Option<NaiveDate>) -> Self {
        day.map_or(Self::Empty, Self::Day)
    }
}

/// By this mark spreadsheet programs know that a file is UTF-8; without it accented names open garbled.
const MARK: &str = "\u{feff}";

/// The rows as CSV (RFC 4180: CRLF, quotation where needed; UTF-8 with its mark), headings first, every text guarded.
#[must_use]
pub fn to_csv<'a>(headings: &[&str], rows: impl IntoIterator<Item = Vec<CsvCell<'a>>>) -> Vec<u8> {
    let mut out = MARK.as_bytes().to_vec();
    write_row(&mut out, headings.iter().map(|heading| guard(heading)));
    for row in rows {
        write_row(&mut out, row.iter().map(written));
    }
    out
}

fn written(cell: &CsvCell<'_>) -> String {
    match cell {
        CsvCell::Text(text) => guard(text),
        CsvCell::Whole(number) => number.to_string(),
        CsvCell::Day(day) => day.format("%Y-%m-%d").to_string(),
        CsvCell::Empty => String::new(),
    }
}

fn write_row(out: &mut Vec<u8>, cells: impl Iterator<Item = String>) {
    let start = out.len();
    for (place, cell) in cells.enumerate() {
        if place > 0 {
            out.push(b',');
        }
        let quote = cell.contains([',', ';', '\t', '"', '\r', '\n']) || cell.trim() != cell;
        if quote {
            out.push(b'"');
            out.extend_from_slice(cell.replace('"', "\"\"").as_bytes());
            out.push(b'"');
        } else {
            out.extend_from_slice(cell.as_bytes());
        }
    }
    if out.len() == start {
        out.extend_from_slice(b"\"\""); // a row of one empty cell would read as a blank line
    }
    out.extend_from_slice(b"\r\n");
}

/// The text with an apostrophe in front where a spreadsheet program would otherwise compute it.
#[must_use]
pub fn guard(text: &str) -> String {
    if starts_a_formula(text.trim_start_matches('\'')) { format!("'{text}") } else { text.to_owned() }
}

/// The text as it was before [`guard`].
#[must_use]
pub fn unguard(text: &str) -> &str {
    match text.strip_prefix('\'') {
        Some(rest) if starts_a_formula(rest.trim_start_matches('\'')) => rest,
        _ => text,
    }
}

/// The signs of R21, the last four being the full-width forms.
fn starts_a_formula(text: &str) -> bool {
    text.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0', '\u{FF1D}', '\u{FF0B}', '\u{FF0D}', '\u{FF20}'])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_that_would_compute_is_guarded_and_numbers_are_not() {
        let csv = to_csv(
            &["name", "owed", "on"],
            [vec![CsvCell::Text("=1+1"), CsvCell::Whole(-5), NaiveDate::from_ymd_opt(2026, 1, 5).into()]],
        );
        assert_eq!(String::from_utf8(csv).unwrap(), "\u{feff}name,owed,on\r\n'=1+1,-5,2026-01-05\r\n");
    }

    #[test]
    fn every_sign_of_r21_is_guarded() {
        for text in ["=x", "+1 555", "-x", "@x", "\tx", "\rx", "\nx", "\0x", "＝x", "＋x", "－x", "＠x"] {
            assert!(guard(text).starts_with('\''), "{text:?}");
            assert_eq!(unguard(&guard(text)), text);
        }
        for text in ["x", "'quoted", "'", "", "O'Brien", "5-3"] {
            assert_eq!(guard(text), text);
        }
    }
}
