//! Why a whole file was refused, in words that say what to do next.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A file that cannot be read as a list.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema, thiserror::Error)]
#[error("{detail}")]
pub struct ParseFault {
    /// What is wrong, as a stable code.
    pub code: FaultCode,
    /// The row where it was seen, as a spreadsheet shows it.
    #[schema(required = true)]
    pub row_number: Option<u32>,
    /// The column where it was seen, as a spreadsheet letters it.
    #[schema(required = true, max_length = 3)]
    pub column: Option<String>,
    /// What was read and what to do next.
    #[schema(max_length = 1000)]
    pub detail: String,
    /// Sheets that could each be the list, where that is what has to be said.
    #[serde(default)]
    #[schema(max_items = 100, value_type = Vec<crate::common::short_text::ShortText>)]
    pub sheets: Vec<String>,
}

/// Why a file was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FaultCode {
    /// Nothing is in the file.
    Empty,
    /// It is not a list: a picture, a web page, a document.
    NotAList,
    /// The format is not read yet.
    UnsupportedFormat,
    /// A workbook under a password, or of the format before 2007.
    LockedOrOldWorkbook,
    /// The workbook carries macros.
    Macros,
    /// A packed file lies inside the packed file.
    NestedArchive,
    /// Unpacked it would be far larger than it looks.
    UnpacksTooLarge,
    /// It has too many parts.
    TooManyParts,
    /// The file is larger than 5 MiB.
    FileTooLarge,
    /// It reaches over more cells than a list can have.
    TooManyCells,
    /// It has more rows than a list can have.
    TooManyRows,
    /// It has more columns than a list can have.
    TooManyColumns,
    /// A cell holds more text than a list can have.
    CellTooLong,
    /// A part of the workbook is built in a way that no spreadsheet program builds it.
    Malformed,
    /// A zero byte stands in the text.
    ZeroByte,
    /// A quotation mark is never closed.
    UnclosedQuote,
    /// Several sheets could each be the list.
    WhichSheet,
    /// No row of headings was found.
    NoHeadings,
    /// There are headings and nothing below them.
    NoRows,
    /// Reading took too long.
    TookTooLong,
    /// Reading needed too much memory.
    TooMuchMemory,
    /// The reader is not there or broke; not the file's fault.
    ReaderFailed,
}

impl ParseFault {
    /// A fault of the whole file.
    #[must_use]
    pub fn whole(code: FaultCode, detail: impl Into<String>) -> Self {
        Self { code, row_number: None, column: None, detail: detail.into(), sheets: Vec::new() }
    }

    /// A workbook that a library gave up on. What it says may hold a piece of the file: only its beginning is told, and no
    /// sign that the database cannot keep.
    pub(super) fn of_library(what: &str, cause: &dyn std::fmt::Display) -> Self {
        let said: String = super::table::tidy(&cause.to_string()).chars().take(200).collect();
        Self::whole(FaultCode::Malformed, format!("{what} ({said}); save it anew or as CSV"))
    }

    /// A fault at a row and column.
    #[must_use]
    pub fn at(code: FaultCode, row_number: u32, column: usize, detail: impl Into<String>) -> Self {
        Self { row_number: Some(row_number), column: Some(super::table::letter(column)), ..Self::whole(code, detail) }
    }

    /// A fault of a whole row.
    #[must_use]
    pub fn at_row(code: FaultCode, row_number: Option<u32>, detail: impl Into<String>) -> Self {
        Self { row_number, ..Self::whole(code, detail) }
    }

    /// Several sheets could each be the list.
    #[must_use]
    pub fn which_sheet(sheets: Vec<String>) -> Self {
        let detail = format!("several sheets could be the list: {}; say which is meant", sheets.join(", "));
        Self { sheets, ..Self::whole(FaultCode::WhichSheet, detail.chars().take(900).collect::<String>()) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_library_says_is_told_short_and_without_signs_that_cannot_be_kept() {
        let fault = ParseFault::of_library("the workbook cannot be read", &format!("found\0 {}", "x".repeat(5_000)));
        let told = format!("the workbook cannot be read (found {}); save it anew or as CSV", "x".repeat(194));
        assert_eq!((fault.code, fault.detail), (FaultCode::Malformed, told));
    }
}
