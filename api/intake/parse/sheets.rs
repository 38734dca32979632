//! A checked workbook into rows of cells: values of formulas, days, merged cells, and the sheet that holds the list.

use super::fault::{FaultCode, ParseFault};
use super::records::{MAX_CELL_CHARS, MAX_COLUMNS, MAX_ROWS};
use super::table::{Cell, CellKind, CellProblem, Source, letter, tidy};
use super::{Grid, layout};
use crate::intake::kinds::ListKind;
use calamine::{Data, DataRef, ExcelDateTime, Ods, Reader, SheetType, SheetVisible, Xlsx};
use std::collections::BTreeMap;
use std::io::Cursor;

/// The most sheets that a workbook can have, and the most signs of a sheet's name: people choose among them by name.
const MAX_SHEETS: usize = 100;
const MAX_NAME_CHARS: usize = 80;

/// A workbook of either format.
enum Book<'a> {
    Xlsx(Box<Xlsx<Cursor<&'a [u8]>>>),
    Ods(Box<Ods<Cursor<&'a [u8]>>>),
}

impl<'a> Book<'a> {
    fn open(bytes: &'a [u8]) -> Result<Self, ParseFault> {
        // An OpenDocument file begins with its own type, unpacked (OpenDocument 1.3, part 2, section 3.3).
        let open_document = bytes.get(30..38) == Some(b"mimetype");
        if open_document {
            Ok(Self::Ods(Box::new(Ods::new(Cursor::new(bytes)).map_err(|cause| unreadable(&cause))?)))
        } else {
            Ok(Self::Xlsx(Box::new(Xlsx::new(Cursor::new(bytes)).map_err(|cause| unreadable(&cause))?)))
        }
    }

    const fn format(&self) -> &'static str {
        match self {
            Self::Xlsx(_) => "xlsx",
            Self::Ods(_) => "ods",
        }
    }

    /// The names of its sheets, each with whether people see it.
    fn names(&self) -> Vec<(String, bool)> {
        let sheets = match self {
            Self::Xlsx(book) => book.sheets_metadata(),
            Self::Ods(book) => book.sheets_metadata(),
        };
        let open =
            |sheet: &calamine::Sheet| sheet.typ == SheetType::WorkSheet && sheet.visible == SheetVisible::Visible;
        sheets.iter().map(|sheet| (sheet.name.clone(), open(sheet))).collect()
    }

    fn grid(&mut self, name: &str) -> Result<Grid, ParseFault> {
        match self {
            Self::Xlsx(book) => xlsx_sheet(book, name),
            Self::Ods(book) => ods_sheet(book, name),
        }
    }
}

/// The sheet that was asked for; else the one whose headings fit the kind best. Where several could each be the list, a
/// person says which.
pub(super) fn read(bytes: &[u8], kind: ListKind, wanted: Option<&str>) -> Result<Grid, ParseFault> {
    let mut book = Book::open(bytes)?;
    let mut passed_over = Vec::new();
    let mut best: Option<(Grid, usize)> = None;
    let mut lists = Vec::new();
    let names = book.names();
    refuse_unshowable(&names)?;
    for (name, open) in names {
        let shown = tidy(&name);
        if wanted.map_or(!open, |wanted| wanted != shown) {
            passed_over.push(shown);
            continue;
        }
        let mut grid = book.grid(&name)?;
        let fit = layout::fit(&grid, kind);
        if layout::could_be_the_list(&grid, kind) {
            lists.push(shown.clone());
        }
        let better = best
            .as_ref()
            .is_none_or(|(so_far, score)| fit > *score || (so_far.rows.is_empty() && !grid.rows.is_empty()));
        grid.source = Source { format: book.format().into(), sheet: Some(shown.clone()), ..Source::default() };
        if !better {
            passed_over.push(shown);
        } else if let Some((former, _)) = best.replace((grid, fit)) {
            passed_over.extend(former.source.sheet);
        }
    }
    if lists.len() > 1 {
        return Err(ParseFault::which_sheet(lists));
    }
    let (mut grid, _) = best.filter(|(grid, _)| !grid.rows.is_empty()).ok_or_else(|| {
        ParseFault::whole(
            FaultCode::Empty,
            "no visible sheet of the workbook holds anything; send the list as CSV or XLSX",
        )
    })?;
    passed_over.sort();
    grid.source.other_sheets = passed_over;
    Ok(grid)
}

/// Refuses sheets that nobody could be asked about.
fn refuse_unshowable(names: &[(String, bool)]) -> Result<(), ParseFault> {
    if names.len() > MAX_SHEETS {
        let detail = format!("the workbook has more than {MAX_SHEETS} sheets; copy only the list into a new workbook");
        return Err(ParseFault::whole(FaultCode::TooManyParts, detail));
    }
    let Some((long, _)) = names.iter().find(|(name, _)| tidy(name).chars().count() > MAX_NAME_CHARS) else {
        return Ok(());
    };
    let begins: String = tidy(long).chars().take(30).collect();
    let detail =
        format!("the sheet \"{begins}...\" has a name of more than {MAX_NAME_CHARS} signs; give it a shorter one");
    Err(ParseFault::whole(FaultCode::Malformed, detail))
}

/// The cells of a sheet, gathered one by one.
#[derive(Default)]
struct Gathered {
    rows: BTreeMap<u32, BTreeMap<usize, Cell>>,
    problems: Vec<CellProblem>,
}

impl Gathered {
    fn take(
        &mut self,
        (row, column): (u32, u32),
        value: &DataRef<'_>,
        formula: Option<&str>,
    ) -> Result<(), ParseFault> {
        let place = usize::try_from(column).unwrap_or(usize::MAX);
        let (cell, problem) = cell(value, formula);
        if let Some((code, expected)) = problem {
            self.problems.push(CellProblem {
                row_number: row.saturating_add(1),
                column: Some(letter(place)),
                heading: None,
                code: code.into(),
                read: cell.text.clone(),
                expected: expected.into(),
            });
        }
        if cell.is_empty() && cell.kind != CellKind::Unreadable {
            return Ok(());
        }
        refuse_outsize(row, place, &cell, self.rows.len())?;
        self.rows.entry(row).or_default().insert(place, cell);
        Ok(())
    }

    fn grid(self) -> Grid {
        let rows = self.rows.into_iter().map(|(row, cells)| (row.saturating_add(1), widen(cells))).collect();
        Grid { rows, problems: self.problems, source: Source::default() }
    }
}

fn xlsx_sheet(book: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<Grid, ParseFault> {
    let merged = book.merge_cells_by_sheet_name(name).map_err(|cause| unreadable(&cause))?;
    let mut gathered = Gathered::default();
    let mut reader = book.worksheet_cells_reader(name).map_err(|cause| unreadable(&cause))?;
    while let Some(found) = reader.next_cell_with_formula().map_err(|cause| unreadable(&cause))? {
        gathered.take(found.pos, &found.value, found.formula.as_deref())?;
    }
    for region in merged {
        fill_down(&mut gathered.rows, region.start, region.end);
    }
    Ok(gathered.grid())
}

/// How far a sheet reaches was looked at before (`ods_reach`), since this makes a cell of every repeat.
fn ods_sheet(book: &mut Ods<Cursor<&[u8]>>, name: &str) -> Result<Grid, ParseFault> {
    let range = book.worksheet_range(name).map_err(|cause| unreadable(&cause))?;
    let (first_row, first_column) = range.start().unwrap_or_default();
    let mut gathered = Gathered::default();
    for (row, column, value) in range.used_cells() {
        let at = |first: u32, more: usize| first.saturating_add(u32::try_from(more).unwrap_or(u32::MAX));
        let value = match value {
            Data::Int(number) => DataRef::Int(*number),
            Data::Float(number) => DataRef::Float(*number),
            Data::String(text) => DataRef::String(text.clone()),
            Data::Bool(yes) => DataRef::Bool(*yes),
            Data::DateTime(day) => DataRef::DateTime(*day),
            Data::DateTimeIso(text) => DataRef::DateTimeIso(text.clone()),
            Data::DurationIso(text) => DataRef::DurationIso(text.clone()),
            Data::Error(error) => DataRef::Error(error.clone()),
            Data::Empty => DataRef::Empty,
        };
        gathered.take((at(first_row, row), at(first_column, column)), &value, None)?;
    }
    Ok(gathered.grid())
}

fn refuse_outsize(row: u32, place: usize, cell: &Cell, rows_so_far: usize) -> Result<(), ParseFault> {
    let number = row.saturating_add(1);
    if place >= MAX_COLUMNS {
        let detail = format!("row {number} has more than {MAX_COLUMNS} columns; leave only the list in the file");
        return Err(ParseFault::at(FaultCode::TooManyColumns, number, MAX_COLUMNS, detail));
    }
    if cell.text.contains('\0') {
        let detail = format!("row {number}, column {} holds a zero byte, which no text has", letter(place));
        return Err(ParseFault::at(FaultCode::ZeroByte, number, place, detail));
    }
    if cell.text.chars().count() > MAX_CELL_CHARS {
        let detail = format!("row {number}, column {} holds more than {MAX_CELL_CHARS} signs", letter(place));
        return Err(ParseFault::at(FaultCode::CellTooLong, number, place, detail));
    }
    if rows_so_far > MAX_ROWS {
        let detail = format!("the list has more than {MAX_ROWS} rows; leave only this unit's rows in the file");
        return Err(ParseFault::at_row(FaultCode::TooManyRows, Some(number), detail));
    }
    Ok(())
}

/// A cell merged over several rows speaks for each of them; over several columns it stays where it begins.
fn fill_down(rows: &mut BTreeMap<u32, BTreeMap<usize, Cell>>, start: (u32, u32), end: (u32, u32)) {
    let place = usize::try_from(start.1).unwrap_or(usize::MAX);
    let Some(value) = rows.get(&start.0).and_then(|cells| cells.get(&place)).cloned() else { return };
    if end.0 <= start.0 {
        return;
    }
    for (_, cells) in rows.range_mut(start.0 + 1..=end.0) {
        cells.entry(place).or_insert_with(|| value.clone());
    }
}

fn widen(cells: BTreeMap<usize, Cell>) -> Vec<Cell> {
    let mut out = Vec::new();
    for (place, cell) in cells {
        out.resize(place, Cell::default());
        out.push(cell);
    }
    out
}

type Problem = (&'static str, &'static str);

/// The cell's text and kind; an error value or a formula without its value is a problem, never an empty cell.
fn cell(value: &DataRef<'_>, formula: Option<&str>) -> (Cell, Option<Problem>) {
    let plain = |kind: CellKind, text: String| (Cell { text, kind }, None);
    match value {
        DataRef::Int(number) => plain(CellKind::Number, number.to_string()),
        DataRef::Float(number) if number.abs() >= 1e15 => {
            let cell = Cell { text: format!("{number:.0}"), kind: CellKind::Unreadable };
            (
                cell,
                Some((
                    "number_cut",
                    "a number of at most 15 digits: a spreadsheet keeps no more; write longer ones as text",
                )),
            )
        }
        DataRef::Float(number) if number.fract() == 0.0 => plain(CellKind::Number, format!("{number:.0}")),
        DataRef::Float(number) => plain(CellKind::Number, number.to_string()),
        DataRef::String(text) => plain(CellKind::Text, keep_zero(text)),
        DataRef::SharedString(text) => plain(CellKind::Text, keep_zero(text)),
        DataRef::Bool(yes) => plain(CellKind::Boolean, if *yes { "yes".into() } else { "no".into() }),
        DataRef::DateTime(day) => plain(CellKind::Date, written_day(day)),
        DataRef::DateTimeIso(text) => plain(CellKind::Date, tidy(text)),
        DataRef::DurationIso(text) => plain(CellKind::Text, tidy(text)),
        DataRef::Error(error) => {
            let cell = Cell { text: error.to_string(), kind: CellKind::Unreadable };
            (cell, Some(("formula_error", "a value: the formula in this cell ends in an error")))
        }
        DataRef::Empty => match formula.filter(|formula| !formula.is_empty()) {
            Some(formula) => {
                let cell = Cell { text: format!("={}", tidy(formula)), kind: CellKind::Unreadable };
                let help = "a value: the file holds this formula without its result; open it in a spreadsheet program, save, send again";
                (cell, Some(("formula_without_value", help)))
            }
            None => plain(CellKind::Text, String::new()),
        },
    }
}

/// Tidied, but with zero bytes kept, so that they are refused and not healed in silence.
fn keep_zero(text: &str) -> String {
    if text.contains('\0') { text.to_owned() } else { tidy(text) }
}

fn written_day(day: &ExcelDateTime) -> String {
    match day.as_datetime() {
        Some(at) if !day.is_duration() && at.time() == chrono::NaiveTime::MIN => at.format("%Y-%m-%d").to_string(),
        Some(at) if !day.is_duration() => at.format("%Y-%m-%d %H:%M").to_string(),
        _ => day.as_f64().to_string(),
    }
}

fn unreadable(cause: &dyn std::fmt::Display) -> ParseFault {
    ParseFault::of_library("the workbook cannot be read", cause)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sheets_are_as_many_and_named_as_people_can_be_asked_about_them() {
        let named = |name: &str, times: usize| vec![(name.to_owned(), true); times];
        assert_eq!(refuse_unshowable(&named(&"é".repeat(80), 100)), Ok(()));
        assert_eq!(refuse_unshowable(&named("List", 101)).unwrap_err().code, FaultCode::TooManyParts);
        let fault = refuse_unshowable(&named(&"é".repeat(81), 1)).unwrap_err();
        assert_eq!(fault.code, FaultCode::Malformed);
        assert!(fault.detail.contains(&format!("\"{}...\"", "é".repeat(30))), "{}", fault.detail);
    }

    #[test]
    fn a_cell_beyond_the_last_column_is_named_by_the_first_one_too_many() {
        let fault = refuse_outsize(0, 20_000, &Cell::text("x"), 0).unwrap_err();
        assert_eq!((fault.code, fault.column.as_deref()), (FaultCode::TooManyColumns, Some("GS"))); // A is 1, GS is 201
    }
}
