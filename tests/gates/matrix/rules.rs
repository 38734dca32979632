//! What must be seen, by the table: pure.

use std::collections::BTreeMap;

use super::{Cell, Grants, Observed, Seen};
use crate::objects::Target;
use crate::table::{Entry, ROLES, Row, Table};

/// Everything that was looked at.
#[derive(Clone, Debug)]
pub struct Evidence {
    pub cells: Observed,
    /// What the database grants; none leaves the server as the only witness.
    pub grants: Option<Grants>,
}

/// Where a table and what was seen differ, in words.
pub fn faults(table: &Table, seen: &Evidence) -> Vec<String> {
    let mut faults = Vec::new();
    // Who asks for the same operation, together: whether a wider answer exists is asked of these only.
    let mut of_operation: BTreeMap<&str, Vec<(&Cell, &Seen)>> = BTreeMap::new();
    for (cell, answer) in &seen.cells {
        of_operation.entry(&cell.operation).or_default().push((cell, answer));
    }
    let rows = table.iter().filter_map(|(operation, row)| Some((row, of_operation.get(operation.as_str())?)));
    for (row, cell, answer, others) in
        rows.flat_map(|(row, cells)| cells.iter().map(move |(cell, answer)| (row, *cell, *answer, cells)))
    {
        let entry = ROLES.iter().position(|role| *role == cell.who).map(|place| row.entries[place]);
        let fault = match entry {
            Some(entry) => role_fault(row, entry, cell.target, answer, widest(row, others)),
            None => outsider_fault(row, cell.who, cell.target, answer),
        };
        if let Some(fault) = fault {
            faults.push(format!("{} by {} on {:?}: {fault} ({answer:?})", cell.operation, cell.who, cell.target));
        }
        if answer.shows_away {
            faults.push(format!("{} by {} shows another unit's thing", cell.operation, cell.who));
        }
    }
    if let Some(grants) = &seen.grants {
        faults.extend(grant_faults(table, grants));
    }
    faults
}

/// Whether somebody whose entry is yes sees troop 0102 in this operation's answer to the own target: then all must.
fn widest(row: &Row, cells: &[(&Cell, &Seen)]) -> bool {
    cells.iter().any(|(cell, answer)| {
        let yes = ROLES.iter().position(|role| *role == cell.who).is_some_and(|place| row.entries[place] == Entry::Yes);
        cell.target == Target::Own && yes && answer.shows_other
    })
}

fn role_fault(row: &Row, entry: Entry, target: Target, seen: &Seen, others_show: bool) -> Option<&'static str> {
    let free = matches!(row.permission.as_str(), "public" | "signed_in");
    if free {
        return match entry {
            Entry::Yes => let_in(seen),
            Entry::Own => Some("what is open to all belongs to no troop"),
            Entry::No => forbidden(seen),
        };
    }
    match (target, entry) {
        // Another unit reads as one that does not exist, whatever one may do at home.
        (target, _) if target.elsewhere() => not_found(seen),
        (_, Entry::No) => forbidden(seen),
        (Target::Away | Target::Missing | Target::Malformed, _) => not_found(seen),
        (Target::Other, Entry::Own) => {
            if seen.status == 403 {
                None
            } else {
                not_found(seen)
            }
        }
        (_, Entry::Yes) => reached(seen)
            .or_else(|| (target == Target::Own && others_show && !seen.shows_other).then_some("sees too little")),
        (_, Entry::Own) => reached(seen).or_else(|| seen.shows_other.then_some("sees another troop")),
    }
}

fn outsider_fault(row: &Row, who: &str, target: Target, seen: &Seen) -> Option<&'static str> {
    match row.permission.as_str() {
        "public" | "signed_in" => let_in(seen),
        "units.create" if who == "administrator" => reached(seen),
        "units.create" => forbidden(seen),
        // The administrator and other units' people have no place here: nothing exists for them.
        // At home in that unit, its manager is met as a manager is.
        _ if target == Target::AwayUnit && who == "stranger" => {
            if row.entries[0] == Entry::No {
                forbidden(seen)
            } else {
                reached(seen)
            }
        }
        _ => not_found(seen),
    }
}

fn reached(seen: &Seen) -> Option<&'static str> {
    (!seen.reached()).then_some("should be let through")
}

/// Open operations are asked with rubbish: it is enough that nobody is turned away for who they are.
fn let_in(seen: &Seen) -> Option<&'static str> {
    matches!(seen.status, 401 | 403 | 500..).then_some("should be let through whoever asks")
}

fn forbidden(seen: &Seen) -> Option<&'static str> {
    (!(seen.status == 403 && seen.names_permission)).then_some("should be refused by 403 naming the permission")
}

fn not_found(seen: &Seen) -> Option<&'static str> {
    (!(seen.status == 404 && seen.as_missing)).then_some("should read as something that does not exist")
}

/// The permission of an operation is granted to a role as far as the table says.
fn grant_faults(table: &Table, grants: &Grants) -> Vec<String> {
    let mut faults = Vec::new();
    for (operation, row) in table {
        if matches!(row.permission.as_str(), "public" | "signed_in") {
            continue;
        }
        for (role, entry) in ROLES.iter().zip(row.entries) {
            let granted = grants.get(&(row.permission.clone(), (*role).to_owned())).copied().unwrap_or(Entry::No);
            if granted != entry {
                faults.push(format!(
                    "{operation} for {role}: the table says {entry:?}, {} is granted {granted:?}",
                    row.permission
                ));
            }
        }
    }
    faults
}
