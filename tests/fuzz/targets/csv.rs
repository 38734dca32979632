//! Exports: whatever stands in a cell, a reader of RFC 4180 gets the same cells back, none of which computes.
#![no_main]

use caselot::common::csv_out::{CsvCell, to_csv, unguard};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|cells: Vec<(String, Option<i64>)>| {
    let rows = cells.iter().map(|(text, number)| vec![CsvCell::Text(text), number.map_or(CsvCell::Empty, CsvCell::Whole)]);
    let written = to_csv(&["name", "owed"], rows);
    let written = written.strip_prefix("\u{feff}".as_bytes()).expect("the mark of UTF-8");
    let mut reader = csv::ReaderBuilder::new().from_reader(written);
    let read: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row of two cells")).collect();
    assert_eq!(read.len(), cells.len());
    for (row, (text, number)) in read.iter().zip(&cells) {
        // R21, written once more: what begins so computes
        assert!(!row[0].starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0', '＝', '＋', '－', '＠']), "{:?}", &row[0]);
        assert_eq!(unguard(&row[0]), text);
        assert_eq!(row[1], number.map(|number| number.to_string()).unwrap_or_default());
    }
});
