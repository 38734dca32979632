//! What a list says otherwise than the last list of its kind: rows that came, rows that went, cells that changed.
//!
//! Pure. Rows of two lists belong together by membership number in the same troop, else by name in the same troop, else by
//! membership number alone (somebody moved); a list of troops by number, a list of courses by person and course.

use super::changes::course_key;
use super::columns::fields::ListRow;
use super::kinds::{ListColumn, ListKind};
use crate::common::fold;
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use utoipa::ToSchema;

/// What became of a row from one list to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RowDifference {
    /// The newer list has it, the earlier one had not.
    Came,
    /// The earlier list had it, the newer one has not.
    Went,
    /// Both have it, and some cells say something else.
    Changed,
}

/// A row that differs between two lists.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DifferingRow {
    /// What became of it.
    pub difference: RowDifference,
    /// Its number in this list.
    #[schema(required = true)]
    pub row_number: Option<u32>,
    /// Its number in the earlier list.
    #[schema(required = true)]
    pub earlier_row_number: Option<u32>,
    /// The name on it.
    #[schema(max_length = 200)]
    pub name: String,
    /// The troop's number on it.
    #[schema(required = true, max_length = 40)]
    pub troop_number: Option<String>,
    /// The cells that say something else, where both lists have the row.
    #[schema(max_items = 30)]
    pub cells: Vec<DifferingCell>,
}

/// A cell that says something else than before; null where the list says nothing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct DifferingCell {
    /// What the cell holds.
    pub column: ListColumn,
    /// What the earlier list said.
    #[schema(required = true, max_length = 2000)]
    pub before: Option<String>,
    /// What this list says.
    #[schema(required = true, max_length = 2000)]
    pub after: Option<String>,
}

/// The rows that differ: those of the newer list in its order, then those that went. Columns that only one of the lists has
/// say nothing.
#[must_use]
pub fn differing(kind: ListKind, earlier: &[ListRow], newer: &[ListRow], columns: &[ListColumn]) -> Vec<DifferingRow> {
    let mut partner: HashMap<usize, usize> = HashMap::new();
    let mut taken = vec![false; earlier.len()];
    for key in keys(kind) {
        let mut free: HashMap<String, Vec<usize>> = HashMap::new();
        for (place, row) in earlier.iter().enumerate().rev() {
            if let (false, Some(key)) = (taken.get(place).copied().unwrap_or(true), key(row)) {
                free.entry(key).or_default().push(place);
            }
        }
        for (place, row) in newer.iter().enumerate() {
            if partner.contains_key(&place) {
                continue;
            }
            let found = key(row).and_then(|key| free.get_mut(&key).and_then(Vec::pop));
            if let Some(found) = found {
                partner.insert(place, found);
                if let Some(taken) = taken.get_mut(found) {
                    *taken = true;
                }
            }
        }
    }
    let mut rows: Vec<DifferingRow> = Vec::new();
    for (place, row) in newer.iter().enumerate() {
        match partner.get(&place).and_then(|found| earlier.get(*found)) {
            None => rows.push(of_row(RowDifference::Came, Some(row), None, Vec::new())),
            Some(before) => {
                let cells = cells(before, row, columns);
                if !cells.is_empty() {
                    rows.push(of_row(RowDifference::Changed, Some(row), Some(before), cells));
                }
            }
        }
    }
    let went = earlier.iter().zip(&taken).filter(|(_, taken)| !**taken);
    rows.extend(went.map(|(row, _)| of_row(RowDifference::Went, None, Some(row), Vec::new())));
    rows
}

type Key = fn(&ListRow) -> Option<String>;

/// By what rows belong together, the surest first.
fn keys(kind: ListKind) -> &'static [Key] {
    match kind {
        ListKind::RoleList => &[
            |row| Some(format!("{} {}", troop(row)?, number(row)?)),
            |row| Some(format!("{} {}", troop(row)?, name(row)?)),
            number,
        ],
        ListKind::BankDetails | ListKind::TroopList => &[troop],
        ListKind::Certificates => &[
            |row| Some(format!("{} {}", number(row)?, course(row)?)),
            |row| Some(format!("{} {}", row.email.clone()?, course(row)?)),
            |row| Some(format!("{} {}", name(row)?, course(row)?)),
        ],
    }
}

fn troop(row: &ListRow) -> Option<String> {
    row.troop_number.as_deref().map(fold::number)
}

fn number(row: &ListRow) -> Option<String> {
    row.membership_number.as_deref().map(fold::number)
}

fn course(row: &ListRow) -> Option<String> {
    row.course_code.as_deref().map(course_key)
}

fn name(row: &ListRow) -> Option<String> {
    let (first, last) = (row.first_name.as_deref()?, row.last_name.as_deref()?);
    Some(format!("{} {}", fold::key(first), fold::key(last)))
}

fn of_row(
    difference: RowDifference,
    newer: Option<&ListRow>,
    earlier: Option<&ListRow>,
    cells: Vec<DifferingCell>,
) -> DifferingRow {
    let shown = newer.or(earlier);
    let text = |of: fn(&ListRow) -> Option<String>| shown.and_then(of);
    let (first, last) = (text(|row| row.first_name.clone()), text(|row| row.last_name.clone()));
    DifferingRow {
        difference,
        row_number: newer.map(|row| row.row_number),
        earlier_row_number: earlier.map(|row| row.row_number),
        name: text(|row| row.troop_name.clone())
            .unwrap_or_else(|| format!("{} {}", first.unwrap_or_default(), last.unwrap_or_default()).trim().to_owned()),
        troop_number: text(|row| row.troop_number.clone()),
        cells,
    }
}

fn cells(before: &ListRow, after: &ListRow, columns: &[ListColumn]) -> Vec<DifferingCell> {
    let differing = columns.iter().filter_map(|column| {
        let (old, new) = (said(before, *column), said(after, *column));
        (old != new).then_some(DifferingCell { column: *column, before: old, after: new })
    });
    differing.collect()
}

/// What a row says in a column, as text. Troop numbers and membership numbers differ by more than zeros in front.
fn said(row: &ListRow, column: ListColumn) -> Option<String> {
    let day = |day: Option<chrono::NaiveDate>| day.map(|day| day.to_string());
    match column {
        ListColumn::TroopNumber => troop(row),
        ListColumn::FirstName => row.first_name.clone(),
        ListColumn::LastName => row.last_name.clone(),
        ListColumn::FullName => None,
        ListColumn::Email => row.email.clone(),
        ListColumn::Phone => row.phone.clone(),
        ListColumn::MembershipNumber => number(row),
        ListColumn::MembershipValidUntil => day(row.membership_valid_until),
        ListColumn::ScreeningOutcome => row.screening.map(|outcome| outcome.word().to_owned()),
        ListColumn::ScreeningValidUntil => day(row.screening_valid_until),
        ListColumn::ReceivedOn => day(row.received_on),
        ListColumn::CourseCode => course(row),
        ListColumn::CompletedOn => day(row.completed_on),
        ListColumn::Score => row.score.map(|score| format!("{}.{:02} %", score / 100, score % 100)),
        ListColumn::TroopName => row.troop_name.clone(),
        ListColumn::AgeBand => row.age_band.clone(),
        ListColumn::MeetingPlace => row.meeting_place.clone(),
        ListColumn::SellingYouths => row.selling_youths.map(|count| count.to_string()),
        ListColumn::FirstSeason => row.first_season.map(|first| if first { "yes" } else { "no" }.to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(row_number: u32, troop: &str, name: &str, number: Option<&str>) -> ListRow {
        let (first, last) = name.split_once(' ').unwrap_or((name, ""));
        ListRow {
            row_number,
            troop_number: Some(troop.into()),
            first_name: Some(first.into()),
            last_name: Some(last.into()),
            membership_number: number.map(str::to_owned),
            ..ListRow::default()
        }
    }

    fn short(rows: &[DifferingRow]) -> Vec<String> {
        rows.iter()
            .map(|row| {
                let cells: Vec<String> = row
                    .cells
                    .iter()
                    .map(|cell| format!("{:?} {:?} -> {:?}", cell.column, cell.before, cell.after))
                    .collect();
                format!("{:?} {} {}", row.difference, row.name, cells.join(", ")).trim().to_owned()
            })
            .collect()
    }

    #[test]
    fn rows_belong_together_by_number_then_name_then_number_in_another_troop() {
        let earlier = [
            row(2, "0101", "Ruth Adeyemi", Some("4001")),
            row(3, "101", "Noor Haddad", None),
            row(4, "102", "Sam Lee", Some("17")),
            row(5, "103", "Ida Holm", None),
        ];
        let newer = [
            row(2, "102", "Ruth Adeyemi-Lind", Some("04001")),
            row(3, "0101", "NOOR Haddad", Some("99")),
            row(4, "102", "Sam Lee", Some("17")),
            row(5, "103", "Bo Lind", None),
        ];
        let columns = [ListColumn::TroopNumber, ListColumn::LastName, ListColumn::MembershipNumber];
        assert_eq!(
            short(&differing(ListKind::RoleList, &earlier, &newer, &columns)),
            [
                "Changed Ruth Adeyemi-Lind TroopNumber Some(\"101\") -> Some(\"102\"), LastName Some(\"Adeyemi\") -> Some(\"Adeyemi-Lind\")",
                "Changed NOOR Haddad MembershipNumber None -> Some(\"99\")",
                "Came Bo Lind",
                "Went Ida Holm",
            ]
        );
    }

    #[test]
    fn the_same_rows_in_another_order_differ_in_nothing_and_doubled_rows_pair_off_one_by_one() {
        let earlier = [row(2, "1", "Ann Lee", None), row(3, "1", "Ann Lee", None), row(4, "2", "Bo Ek", None)];
        let newer = [row(2, "2", "Bo Ek", None), row(3, "1", "Ann Lee", None)];
        let differ = differing(ListKind::RoleList, &earlier, &newer, ListKind::RoleList.columns());
        assert_eq!(short(&differ), ["Went Ann Lee"]);
        assert_eq!(differ[0].earlier_row_number, Some(3));
        assert!(differing(ListKind::RoleList, &earlier, &earlier, ListKind::RoleList.columns()).is_empty());
    }
}
