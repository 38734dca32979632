//! Uploaded files: the first byte says which kind of list, the rest is the file. Whatever it is, it is refused or read, and
//! what is read hangs together.
#![no_main]

use caselot::intake::columns::fields::read_rows;
use caselot::intake::columns::plan::{ColumnChoices, plan};
use caselot::intake::kinds::ListKind;
use caselot::intake::parse::parse;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|data: &[u8]| {
    let Some((kind, file)) = data.split_first() else { return };
    let kind = ListKind::ALL[usize::from(*kind) % ListKind::ALL.len()];
    let Ok(table) = parse(file, kind) else { return };
    assert!(table.rows.windows(2).all(|pair| pair[0].row_number < pair[1].row_number), "rows in the file's order");
    assert!(table.rows.iter().all(|row| row.row_number > table.header.row_number), "rows stand below the headings");
    let columns = plan(&table, kind, &ColumnChoices::default());
    let (rows, problems) = read_rows(&table, &columns);
    assert_eq!(rows.len(), table.rows.len(), "no row is lost");
    let known: Vec<u32> = table.rows.iter().map(|row| row.row_number).collect();
    let skipped: Vec<u32> = table.skipped.iter().map(|row| row.row_number).collect();
    for problem in problems {
        let row = problem.row_number;
        assert!(known.binary_search(&row).is_ok() || skipped.contains(&row) || row == table.header.row_number, "row {row}");
    }
});
