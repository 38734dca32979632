//! Gate 6: role x operation x whose thing -> what is answered, compared with the table that people read.
//!
//! [`observe`] asks the running server for every cell once; [`rules`] compares what was seen with a table and touches
//! nothing, so that a loop can flip every entry of the table and show that each flip is noticed.

pub mod observe;
pub mod rules;

use std::collections::BTreeMap;
use std::sync::LazyLock;

use crate::objects::Target;
use crate::table::{Entry, ROLES, Row, Table, read};

/// Who asks for what.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Cell {
    pub operation: String,
    /// A role's name, or `administrator`, `stranger` (a manager of another unit).
    pub who: &'static str,
    pub target: Target,
}

/// What was seen.
#[derive(Clone, Debug, PartialEq, Eq)]
#[expect(clippy::struct_excessive_bools, reason = "four independent observations of one answer")]
pub struct Seen {
    pub status: u16,
    /// Whether the 403 named the operation's permission.
    pub names_permission: bool,
    /// Whether the answer is byte for byte that for a thing that does not exist (for 404).
    pub as_missing: bool,
    /// Whether anything of troop 0102 stands in the answer.
    pub shows_other: bool,
    /// Whether anything of another unit stands in the answer.
    pub shows_away: bool,
}

impl Seen {
    /// The request passed everything that has to do with who asks.
    pub fn reached(&self) -> bool {
        matches!(self.status, 200..300 | 304 | 409 | 412 | 422 | 428)
    }
}

/// All that was seen over HTTP.
pub type Observed = BTreeMap<Cell, Seen>;

/// What the database grants: permission and role -> how far.
pub type Grants = BTreeMap<(String, String), Entry>;

/// The server is asked once, whichever test comes first.
static SEEN: LazyLock<rules::Evidence> = LazyLock::new(observe::everything);

/// The table was written by people, the grants by a migration, and the server does a third thing: all must agree. Then
/// every entry is flipped to each other value, and each flip must make this check fail.
#[test]
fn the_table_the_grants_and_the_server_agree_in_every_cell_and_every_flip_is_noticed() {
    let seen = &*SEEN;
    let table = read();
    let faults = rules::faults(&table, seen);
    assert!(faults.is_empty(), "{} cells differ from the table:\n{}", faults.len(), faults.join("\n"));
    let mut flips = 0_u32;
    for (operation, row) in &table {
        let alone = of(operation, seen);
        for (place, role) in ROLES.iter().enumerate() {
            for other in [Entry::Yes, Entry::Own, Entry::No] {
                if row.entries[place] == other {
                    continue;
                }
                let noticed = !rules::faults(&flipped(operation, row, place, other), &alone).is_empty();
                assert!(noticed, "nobody notices when {operation} says {other:?} for {role}");
                flips += 1;
            }
        }
    }
    println!("{} cells agree, {flips} flips noticed", seen.cells.len());
}

/// Between yes and no the server alone decides, without a look at the grants.
#[test]
fn a_flip_between_yes_and_no_is_noticed_over_http_alone() {
    let seen = rules::Evidence { grants: None, ..SEEN.clone() };
    let table = read();
    assert_eq!(rules::faults(&table, &seen), Vec::<String>::new());
    for (operation, row) in &table {
        let alone = of(operation, &seen);
        for (place, role) in ROLES.iter().enumerate() {
            let other = if row.entries[place] == Entry::No { Entry::Yes } else { Entry::No };
            let noticed = !rules::faults(&flipped(operation, row, place, other), &alone).is_empty();
            assert!(noticed, "{operation} for {role}: {other:?}");
        }
    }
}

/// What was seen of one operation.
fn of(operation: &str, seen: &rules::Evidence) -> rules::Evidence {
    let cells = seen.cells.iter().filter(|(cell, _)| cell.operation == operation);
    rules::Evidence {
        cells: cells.map(|(cell, answer)| (cell.clone(), answer.clone())).collect(),
        grants: seen.grants.clone(),
    }
}

/// The table's row of one operation with one entry changed.
fn flipped(operation: &str, row: &Row, place: usize, other: Entry) -> Table {
    let mut row = row.clone();
    row.entries[place] = other;
    Table::from([(operation.to_owned(), row)])
}
