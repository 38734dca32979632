//! What the document promises of a list that was read, and of one that was refused, whatever the file is.

use caselot::intake::columns::fields::read_rows;
use caselot::intake::columns::plan::{ColumnChoices, plan};
use caselot::intake::kinds::ListKind;
use caselot::intake::parse::{ParseFault, ParsedTable, parse};
use serde_json::Value;

/// Reads the file as a list. It is refused in words, with a place that a spreadsheet has, or read, and what is read hangs
/// together: every row is there once, in order, and every problem names one of them.
pub fn list_holds(file: &[u8], kind: ListKind) -> Result<ParsedTable, ParseFault> {
    let read = parse(file, kind);
    match &read {
        Ok(table) => table_holds(table, kind),
        Err(fault) => fault_holds(fault),
    }
    read
}

fn fault_holds(fault: &ParseFault) {
    assert!((10..=1000).contains(&signs(&fault.detail)), "{fault:?}");
    assert!(fault.column.is_none() || fault.row_number.is_some(), "a column without its row: {fault:?}");
    assert!(fault.row_number.is_none_or(|row| (1..=1_048_576).contains(&row)), "{fault:?}");
    assert!(fault.column.as_deref().is_none_or(is_letter), "{fault:?}");
    assert!(fault.sheets.len() <= 100 && fault.sheets.iter().all(|sheet| signs(sheet) <= 80), "{fault:?}");
    assert!(is_storable(&serde_json::to_value(fault).expect("JSON")), "{fault:?}");
}

fn table_holds(table: &ParsedTable, kind: ListKind) {
    let rows: Vec<u32> = table.rows.iter().map(|row| row.row_number).collect();
    assert!(!rows.is_empty() && rows.len() <= 20_000, "{} rows", rows.len());
    assert!(rows.windows(2).all(|pair| pair[0] < pair[1]), "rows in the file's order");
    assert!(rows.iter().all(|row| *row > table.header.row_number), "rows stand below the headings");
    let skipped: Vec<u32> = table.skipped.iter().map(|row| row.row_number).collect();
    assert!(skipped.windows(2).all(|pair| pair[0] < pair[1]), "what was passed over, in the file's order");
    assert!(
        skipped.iter().all(|row| rows.binary_search(row).is_err() && *row != table.header.row_number),
        "no row twice"
    );
    for row in &table.rows {
        assert!((table.header.cells.len()..=200).contains(&row.cells.len()), "{} columns", row.cells.len());
        assert!(row.cells.iter().all(|cell| signs(&cell.text) <= 2000 && !cell.text.contains('\0')), "{row:?}");
    }
    let (sheet, others) = (table.source.sheet.as_deref(), &table.source.other_sheets);
    assert!(sheet.is_none_or(|sheet| signs(sheet) <= 80), "{sheet:?}");
    assert!(others.len() <= 100 && others.iter().all(|sheet| signs(sheet) <= 80), "{others:?}");
    assert!(is_storable(&serde_json::to_value(table).expect("JSON")), "a zero byte");
    let sent = serde_json::to_vec(table).expect("the reader's process answers in JSON");
    assert_eq!(serde_json::from_slice::<ParsedTable>(&sent).expect("its own answer"), *table);

    let columns = plan(table, kind, &ColumnChoices::default());
    assert!(columns.columns.len() <= 30 && columns.unused_columns.len() <= 200, "{columns:?}");
    let (read, problems) = read_rows(table, &columns);
    assert_eq!(read.iter().map(|row| row.row_number).collect::<Vec<_>>(), rows, "no row is lost");
    for problem in problems {
        assert!(rows.binary_search(&problem.row_number).is_ok(), "{problem:?}");
        assert!(problem.column.as_deref().is_none_or(is_letter), "{problem:?}");
        assert!(problem.heading.as_deref().is_none_or(|heading| signs(heading) <= 2000), "{problem:?}");
        assert!(signs(&problem.read) <= 2000 && (1..=400).contains(&signs(&problem.expected)), "{problem:?}");
    }
}

/// PostgreSQL keeps no zero byte in JSON.
fn is_storable(value: &Value) -> bool {
    match value {
        Value::String(text) => !text.contains('\0'),
        Value::Array(items) => items.iter().all(is_storable),
        Value::Object(fields) => fields.iter().all(|(name, value)| !name.contains('\0') && is_storable(value)),
        Value::Null | Value::Bool(_) | Value::Number(_) => true,
    }
}

fn signs(text: &str) -> usize {
    text.chars().count()
}

/// A column that a spreadsheet has: `A` to `XFD`.
fn is_letter(letter: &str) -> bool {
    (1..=3).contains(&letter.len()) && letter.bytes().all(|sign| sign.is_ascii_uppercase())
}
