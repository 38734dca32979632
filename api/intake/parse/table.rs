//! What reading a file gives: a table whose every cell can be found again in the file by row and column.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A file that was read: headings, rows, what was passed over and what could not be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ParsedTable {
    /// How the file was read.
    pub source: Source,
    /// The row of headings.
    pub header: Header,
    /// The rows that hold data, in the file's order.
    pub rows: Vec<ParsedRow>,
    /// Rows with text that hold no data: titles, footers, repeated headings. Never silent.
    pub skipped: Vec<SkippedRow>,
    /// Cells that could not be read as they stand.
    pub problems: Vec<CellProblem>,
}

/// How a file was read, for the person who wonders why it looks odd.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Source {
    /// `csv`, `xlsx` or `ods`.
    #[schema(max_length = 10)]
    pub format: String,
    /// The encoding of a CSV file.
    #[schema(required = true, max_length = 40)]
    pub encoding: Option<String>,
    /// The sign between the cells of a CSV file: `comma`, `semicolon` or `tab`.
    #[schema(required = true, max_length = 20)]
    pub delimiter: Option<String>,
    /// The sheet of a workbook that was read.
    #[schema(required = true, max_length = 100)]
    pub sheet: Option<String>,
    /// Sheets that were passed over.
    #[schema(max_items = 100, value_type = Vec<crate::common::short_text::ShortText>)]
    pub other_sheets: Vec<String>,
}

/// The row of headings.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Header {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The headings; a column without one is empty.
    pub cells: Vec<String>,
}

/// One row of data; it has as many cells as the headings or more.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct ParsedRow {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The cells from column A on.
    pub cells: Vec<Cell>,
}

/// One cell: its text, and what the file said it is.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Cell {
    /// The text, without surrounding or doubled spaces; a day is written `2026-01-31`.
    pub text: String,
    /// What the file said the cell is; left out where it is text, as every cell of a CSV file is.
    #[serde(default, skip_serializing_if = "CellKind::is_text")]
    pub kind: CellKind,
}

/// What a file says a cell is. A CSV file knows only text.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CellKind {
    /// Text, as it stands (so that leading zeros stay).
    #[default]
    Text,
    /// A number of a workbook.
    Number,
    /// A day or instant of a workbook, written as a year-first day.
    Date,
    /// True or false.
    Boolean,
    /// An error value, or a formula whose result the file does not hold.
    Unreadable,
}

impl CellKind {
    #[expect(clippy::trivially_copy_pass_by_ref, reason = "serde hands over a reference")]
    const fn is_text(&self) -> bool {
        matches!(self, Self::Text)
    }
}

/// A row with text that holds no data, and why it was passed over.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct SkippedRow {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// Why it was passed over.
    pub reason: SkipReason,
    /// The beginning of its text.
    #[schema(max_length = 200)]
    pub text: String,
}

/// Why a row was passed over.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SkipReason {
    /// It stands above the headings.
    AboveTheHeadings,
    /// It is a total, a count or another closing line.
    Footer,
    /// It repeats the headings.
    HeadingsAgain,
}

/// A cell that could not be read: where it is, what was read, what was expected.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CellProblem {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The column's letter as a spreadsheet shows it; none when the whole row is meant.
    #[schema(required = true, max_length = 3)]
    pub column: Option<String>,
    /// The column's heading.
    #[schema(required = true, max_length = 2000)]
    pub heading: Option<String>,
    /// A stable code of what is wrong.
    #[schema(max_length = 40, example = "not_a_day")]
    pub code: String,
    /// What was read.
    #[schema(max_length = 2000)]
    pub read: String,
    /// What was expected, in plain words.
    #[schema(max_length = 400)]
    pub expected: String,
}

impl Cell {
    /// A cell of text as a file holds it: control signs dropped, white space folded to single spaces.
    #[must_use]
    pub fn text(raw: &str) -> Self {
        Self { text: tidy(raw), kind: CellKind::Text }
    }

    /// True when nothing is in the cell.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.text.is_empty()
    }
}

/// The text with every run of white space as one space, none at the ends, and without signs that nobody sees.
#[must_use]
pub fn tidy(raw: &str) -> String {
    let mut out = String::with_capacity(raw.len());
    let mut gap = false;
    for sign in raw.chars() {
        if sign.is_whitespace() {
            gap = !out.is_empty();
        } else if !sign.is_control() && !is_invisible(sign) {
            if gap {
                out.push(' ');
                gap = false;
            }
            out.push(sign);
        }
    }
    out
}

/// Signs that take no room and change the look of others: zero-width, direction marks, the byte order mark.
const fn is_invisible(sign: char) -> bool {
    matches!(sign, '\u{200B}'..='\u{200F}' | '\u{202A}'..='\u{202E}' | '\u{2060}'..='\u{2069}' | '\u{FEFF}' | '\u{00AD}')
}

/// The letters by which a spreadsheet names the column at this place, counted from 0: `A`, `Z`, `AA`.
#[must_use]
pub fn letter(index: usize) -> String {
    let mut rest = index;
    let mut letters = Vec::new();
    loop {
        letters.push(u8::try_from(rest % 26).map_or('?', |n| char::from(b'A' + n)));
        if rest < 26 {
            break;
        }
        rest = rest / 26 - 1;
    }
    letters.iter().rev().collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn columns_are_lettered_as_a_spreadsheet_letters_them() {
        // the last column of an XLSX sheet is XFD, the 16,384th (ECMA-376)
        for (index, want) in [
            (0, "A"),
            (25, "Z"),
            (26, "AA"),
            (27, "AB"),
            (51, "AZ"),
            (52, "BA"),
            (701, "ZZ"),
            (702, "AAA"),
            (16_383, "XFD"),
        ] {
            assert_eq!(letter(index), want);
        }
    }

    #[test]
    fn spaces_nobody_sees_go_and_the_others_fold() {
        for (raw, want) in [
            ("  Ada  ", "Ada"),
            ("Mary\u{a0}\u{a0}Ann", "Mary Ann"),
            ("Mary\nAnn", "Mary Ann"),
            ("\u{feff}Troop", "Troop"),
            ("Lee\u{200b}", "Lee"),
            ("0042", "0042"),
            ("   ", ""),
            ("bell\u{7}", "bell"),
        ] {
            assert_eq!(tidy(raw), want, "{raw:?}");
        }
    }
}
