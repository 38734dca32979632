//! A checked workbook into rows of cells: values of formulas, days, merged cells, and the sheet that holds the list.

use super::fault::{FaultCode, ParseFault};
use super::records::{MAX_CELL_CHARS, MAX_COLUMNS, MAX_ROWS};
use super::table::{Cell, CellKind, CellProblem, Source, letter, tidy};
use super::{Grid, layout};
use crate::intake::kinds::ListKind;
use calamine::{DataRef, ExcelDateTime, Reader, SheetType, SheetVisible, Xlsx};
use std::collections::BTreeMap;
use std::io::Cursor;

type Book<'a> = Xlsx<Cursor<&'a [u8]>>;

/// The sheet whose headings fit the kind best, and how many headings of it did.
pub(super) fn read(bytes: &[u8], kind: ListKind) -> Result<(Grid, usize), ParseFault> {
    let mut book = Book::new(Cursor::new(bytes)).map_err(|cause| unreadable(&cause))?;
    let (mut names, mut passed_over) = (Vec::new(), Vec::new());
    for sheet in book.sheets_metadata() {
        let open = sheet.typ == SheetType::WorkSheet && sheet.visible == SheetVisible::Visible;
        if open { names.push(sheet.name.clone()) } else { passed_over.push(tidy(&sheet.name)) }
    }
    let mut best: Option<(Grid, usize)> = None;
    for name in names {
        let mut grid = sheet(&mut book, &name)?;
        let fit = layout::fit(&grid, kind);
        let better = best
            .as_ref()
            .is_none_or(|(so_far, score)| fit > *score || (so_far.rows.is_empty() && !grid.rows.is_empty()));
        grid.source = Source { format: "xlsx".into(), sheet: Some(tidy(&name)), ..Source::default() };
        if !better {
            passed_over.push(tidy(&name));
        } else if let Some((former, _)) = best.replace((grid, fit)) {
            passed_over.extend(former.source.sheet);
        }
    }
    let (mut grid, fit) = best.filter(|(grid, _)| !grid.rows.is_empty()).ok_or_else(|| {
        ParseFault::whole(
            FaultCode::Empty,
            "no visible sheet of the workbook holds anything; send the list as CSV or XLSX",
        )
    })?;
    passed_over.sort();
    grid.source.other_sheets = passed_over;
    Ok((grid, fit))
}

fn sheet(book: &mut Book<'_>, name: &str) -> Result<Grid, ParseFault> {
    let merged = book.merge_cells_by_sheet_name(name).map_err(|cause| unreadable(&cause))?;
    let mut rows: BTreeMap<u32, BTreeMap<usize, Cell>> = BTreeMap::new();
    let mut problems = Vec::new();
    let mut reader = book.worksheet_cells_reader(name).map_err(|cause| unreadable(&cause))?;
    while let Some(found) = reader.next_cell_with_formula().map_err(|cause| unreadable(&cause))? {
        let (row, column) = found.pos;
        let place = usize::try_from(column).unwrap_or(usize::MAX);
        let (cell, problem) = cell(&found.value, found.formula.as_deref());
        if let Some((code, expected)) = problem {
            problems.push(CellProblem {
                row_number: row.saturating_add(1),
                column: Some(letter(place)),
                heading: None,
                code: code.into(),
                read: cell.text.clone(),
                expected: expected.into(),
            });
        }
        if cell.is_empty() && cell.kind != CellKind::Unreadable {
            continue;
        }
        refuse_outsize(row, place, &cell, rows.len())?;
        rows.entry(row).or_default().insert(place, cell);
    }
    for region in merged {
        fill_down(&mut rows, region.start, region.end);
    }
    let rows = rows.into_iter().map(|(row, cells)| (row.saturating_add(1), widen(cells))).collect();
    Ok(Grid { rows, problems, source: Source::default() })
}

fn refuse_outsize(row: u32, place: usize, cell: &Cell, rows_so_far: usize) -> Result<(), ParseFault> {
    let number = row.saturating_add(1);
    if cell.text.contains('\0') {
        let detail = format!("row {number}, column {} holds a zero byte, which no text has", letter(place));
        return Err(ParseFault::at(FaultCode::ZeroByte, number, place, detail));
    }
    if cell.text.chars().count() > MAX_CELL_CHARS {
        let detail = format!("row {number}, column {} holds more than {MAX_CELL_CHARS} signs", letter(place));
        return Err(ParseFault::at(FaultCode::CellTooLong, number, place, detail));
    }
    if place >= MAX_COLUMNS {
        let detail = format!("row {number} has more than {MAX_COLUMNS} columns; leave only the list in the file");
        return Err(ParseFault::at(FaultCode::TooManyColumns, number, place, detail));
    }
    if rows_so_far > MAX_ROWS {
        let detail = format!("the list has more than {MAX_ROWS} rows; leave only this unit's rows in the file");
        return Err(ParseFault { code: FaultCode::TooManyRows, row_number: Some(number), column: None, detail });
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
    ParseFault::whole(FaultCode::Malformed, format!("the workbook cannot be read ({cause}); save it anew or as CSV"))
}
