//! `permissions.csv`: which role may do what, written by hand, for people. No command rewrites it.

use std::collections::BTreeMap;

/// The roles, as the columns stand.
pub const ROLES: [&str; 6] =
    ["unit_manager", "overseer", "materials_coordinator", "distributor", "viewer", "troop_coordinator"];

/// What a role may.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Entry {
    /// It may.
    Yes,
    /// It may for its own troops.
    Own,
    /// It may not.
    No,
}

/// One operation.
#[derive(Clone, Debug)]
pub struct Row {
    pub permission: String,
    pub entries: [Entry; 6],
    pub reason: String,
}

/// The whole table, by operation.
pub type Table = BTreeMap<String, Row>;

/// Reads the committed table.
pub fn read() -> Table {
    let mut reader = csv::Reader::from_path(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/gates/permissions.csv"))
        .expect("tests/gates/permissions.csv");
    let mut columns = vec!["operation", "permission"];
    columns.extend(ROLES);
    columns.push("reason");
    assert_eq!(reader.headers().expect("a header"), columns);
    let mut table = Table::new();
    for record in reader.records() {
        let record = record.expect("a row of the table");
        let entries = std::array::from_fn(|place| match &record[place + 2] {
            "yes" => Entry::Yes,
            "own" => Entry::Own,
            "no" => Entry::No,
            other => panic!("{}: an entry is yes, own or no, not {other:?}", &record[0]),
        });
        let row = Row { permission: record[1].to_owned(), entries, reason: record[8].to_owned() };
        let twice = table.insert(record[0].to_owned(), row);
        assert!(twice.is_none(), "{} stands twice in permissions.csv", &record[0]);
    }
    table
}

#[test]
fn every_line_of_the_table_gives_its_reason_in_a_sentence() {
    for (operation, row) in read() {
        assert!(row.reason.len() > 10 && row.reason.ends_with('.'), "{operation}: a reason is owed");
        let free = matches!(row.permission.as_str(), "public" | "signed_in");
        assert!(!free || row.entries == [Entry::Yes; 6], "{operation} is open to every role: write yes");
    }
}
