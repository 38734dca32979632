//! Bytes of a foreign file into a table: CSV, XLSX and ODS, refused early where a file would take more than a list needs.
//!
//! Everything here is pure and runs in a child process that first limits itself (`child`); the server only speaks to that
//! child (`parent`). A workbook is inflated once under count before the spreadsheet reader sees it (`preflight`), because
//! that reader trusts what the file says of itself: 1.4 KiB can make it ask for 512 GiB (reliability.md finding 6).

pub mod child;
pub mod fault;
mod layout;
mod ods_reach;
pub mod parent;
mod preflight;
pub(crate) mod records;
mod sheets;
pub mod table;
mod text;
mod xml_scan;
mod xml_tag;

pub use child::run_child;
pub use fault::{FaultCode, ParseFault};
pub use parent::{parse_in_child, parse_over, parse_sheet_over};
pub use records::split as split_csv;
pub use table::ParsedTable;

use super::kinds::ListKind;
use table::{Cell, CellProblem, Source};

/// The largest file that is taken (R22).
pub const MAX_FILE_BYTES: usize = 5 * 1024 * 1024;

/// Rows of a file before anybody knows which of them are headings; blank ones are left out, numbers are the file's.
struct Grid {
    rows: Vec<(u32, Vec<Cell>)>,
    problems: Vec<CellProblem>,
    source: Source,
}

/// Reads a whole file as a list of this kind.
///
/// # Errors
/// Whatever makes the file unusable as a whole, with row and column where one can be named. A cell that cannot be read
/// is no fault of the whole: it is among the table's problems.
pub fn parse(bytes: &[u8], kind: ListKind) -> Result<ParsedTable, ParseFault> {
    parse_sheet(bytes, kind, None)
}

/// As [`parse`], of one sheet of a workbook; without a sheet the one that fits is found, and where several could be the
/// list the fault names them.
///
/// # Errors
/// As [`parse`].
pub fn parse_sheet(bytes: &[u8], kind: ListKind, sheet: Option<&str>) -> Result<ParsedTable, ParseFault> {
    if bytes.is_empty() {
        return Err(ParseFault::whole(FaultCode::Empty, "nothing is in the file; send the list as CSV or XLSX"));
    }
    if bytes.len() > MAX_FILE_BYTES {
        return Err(ParseFault::whole(
            FaultCode::FileTooLarge,
            "the file is larger than 5 MiB; leave only this unit's rows in it",
        ));
    }
    if bytes.starts_with(b"PK\x03\x04") || bytes.starts_with(b"PK\x05\x06") {
        preflight::check(bytes)?;
        return layout::lay_out(sheets::read(bytes, kind, sheet)?, kind);
    }
    refuse_other_formats(bytes)?;
    let split = text::read(bytes, kind)?;
    let rows = split
        .records
        .into_iter()
        .map(|record| (record.row_number, record.fields.iter().map(|field| Cell::text(field)).collect::<Vec<_>>()))
        .filter(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()))
        .collect();
    let source = Source {
        format: "csv".into(),
        encoding: Some(split.encoding.into()),
        delimiter: Some(split.delimiter.into()),
        ..Source::default()
    };
    layout::lay_out(Grid { rows, problems: Vec::new(), source }, kind)
}

/// Formats known by their first bytes that are no list at all.
fn refuse_other_formats(bytes: &[u8]) -> Result<(), ParseFault> {
    if bytes.starts_with(b"\xD0\xCF\x11\xE0\xA1\xB1\x1A\xE1") {
        return Err(ParseFault::whole(
            FaultCode::LockedOrOldWorkbook,
            "the workbook is under a password or in the format before 2007; save it as XLSX without a password, or as CSV",
        ));
    }
    let start = String::from_utf8_lossy(bytes.get(..256).unwrap_or(bytes)).trim_start().to_lowercase();
    let what = if bytes.starts_with(b"%PDF") {
        "a PDF"
    } else if start.starts_with("<!doctype html") || start.starts_with("<html") || start.starts_with("<table") {
        "a web page, even if its name ends in .xls"
    } else if start.starts_with("<?xml") || start.starts_with('{') {
        "a data file of another kind"
    } else if [&b"\x89PNG"[..], b"\xFF\xD8\xFF", b"GIF8", b"\x1F\x8B", b"Rar!", b"7z\xBC\xAF"]
        .iter()
        .any(|magic| bytes.starts_with(magic))
    {
        "a picture or a packed file"
    } else {
        return Ok(());
    };
    Err(ParseFault::whole(
        FaultCode::NotAList,
        format!("the file is {what}; open it in a spreadsheet program and save it as CSV or XLSX"),
    ))
}
