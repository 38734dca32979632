//! Exports: whatever stands in a cell, a reader of RFC 4180 gets the same cells back, none of which computes, and so does
//! the program's own. U+001F stands between the cells of the input, two by two in a row; the second gives a number too.
#![no_main]

use caselot::common::csv_out::{CsvCell, to_csv, unguard};
use caselot::intake::parse::split_csv;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let cells: Vec<&str> = text.split('\u{1f}').collect();
    let rows: Vec<(&str, Option<&str>)> = cells.chunks(2).map(|pair| (pair[0], pair.get(1).copied())).collect();
    let number = |text: &str| i64::try_from(text.len()).unwrap_or(0) - 4;
    let out = rows.iter().map(|(one, other)| {
        vec![
            CsvCell::Text(one),
            CsvCell::from(*other),
            other.map_or(CsvCell::Empty, |other| CsvCell::Whole(number(other))),
        ]
    });
    let written = to_csv(&["name", "note", "owed"], out);
    let written = written.strip_prefix("\u{feff}".as_bytes()).expect("the mark of UTF-8");
    let expected: Vec<[String; 3]> = rows
        .iter()
        .map(|(one, other)| {
            let owed = other.map(|other| number(other).to_string()).unwrap_or_default();
            [(*one).to_owned(), other.unwrap_or_default().to_owned(), owed]
        })
        .collect();

    let mut reader = csv::ReaderBuilder::new().from_reader(written);
    let read: Vec<csv::StringRecord> = reader.records().map(|row| row.expect("a row of three cells")).collect();
    assert_eq!(read.len(), expected.len());
    for (row, expected) in read.iter().zip(&expected) {
        for (cell, expected) in row.iter().zip(&expected[..2]) {
            // R21, written once more: what begins so computes
            assert!(
                !cell.starts_with(['=', '+', '-', '@', '\t', '\r', '\n', '\0', '＝', '＋', '－', '＠']),
                "{cell:?}"
            );
            assert_eq!(unguard(cell), expected);
        }
        assert_eq!(row[2], expected[2]);
    }

    let short = expected.iter().flatten().all(|cell| cell.chars().count() < 1_900 && !cell.contains('\0'));
    if short && expected.len() < 19_000 {
        let text = std::str::from_utf8(written).expect("UTF-8");
        let records = split_csv(text, ',').expect("what was written is read");
        let ours =
            records.iter().skip(1).map(|record| record.fields.iter().map(|field| unguard(field)).collect::<Vec<_>>());
        assert!(ours.eq(expected.iter().map(|row| row.iter().map(String::as_str).collect::<Vec<_>>())));
    }
});
