//! A column of the file for everything that the kind looks for: recognised, proposed, or asked of a person.

use super::dates::{self, DateOrder, OrderFound};
use super::headings::{self, Sureness};
use super::memory::ColumnMemory;
use crate::intake::kinds::{ListColumn, ListKind};
use crate::intake::parse::table::{Cell, ParsedTable, letter};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::ToSchema;

/// Which column of the file holds what, and what has to be asked before a row can be read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ColumnPlan {
    /// The columns that are used.
    #[schema(max_items = 30)]
    pub columns: Vec<PlannedColumn>,
    /// What the kind cannot do without and no column gives; of each group one is enough.
    #[schema(max_items = 30, value_type = Vec<ColumnGroup>)]
    pub missing: Vec<Vec<ListColumn>>,
    /// Headings that nothing is read from.
    #[schema(max_items = 200, value_type = Vec<crate::common::short_text::CellText>)]
    pub unused_headings: Vec<String>,
    /// Columns that hold something and that nothing is read from, with or without a heading.
    #[serde(default)]
    #[schema(max_items = 200)]
    pub unused_columns: Vec<UnusedColumn>,
    /// Date columns whose order nobody can tell from the cells: a person says which it is.
    #[schema(max_items = 30)]
    pub undecided_dates: Vec<ListColumn>,
}

/// A column of the file from which nothing is read.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct UnusedColumn {
    /// Its letter in the file.
    #[schema(max_length = 3)]
    pub letter: String,
    /// Its heading in the file; empty where it has none.
    #[schema(max_length = 2000)]
    pub heading: String,
}

/// One column of the file with what it holds.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct PlannedColumn {
    /// What it holds.
    pub column: ListColumn,
    /// Its letter in the file.
    #[schema(max_length = 3)]
    pub letter: String,
    /// Its heading in the file.
    #[schema(max_length = 2000)]
    pub heading: String,
    /// How it came to be this one.
    pub chosen_by: ChosenBy,
    /// In which order its days are written, for a date column.
    #[schema(required = true)]
    pub date_order: Option<DateOrder>,
    /// Its place, counted from 0.
    pub place: u16,
}

/// How a column came to be the one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ChosenBy {
    /// Its heading is a known name.
    Recognised,
    /// Its heading is near a known name: worth a look.
    Proposed,
    /// A person said so about an earlier list with this heading.
    Remembered,
    /// A person said so.
    Person,
}

/// What a person said about the columns: letters and date orders; what is absent stays as the program found it.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct ColumnChoices {
    /// The letter of the column that holds this; `None` says that no column does.
    pub letters: BTreeMap<ListColumn, Option<String>>,
    /// The order in which the days of this column are written.
    pub date_orders: BTreeMap<ListColumn, DateOrder>,
}

/// The plan for a table of which nothing is remembered.
#[must_use]
pub fn plan(table: &ParsedTable, kind: ListKind, choices: &ColumnChoices) -> ColumnPlan {
    plan_remembering(table, kind, choices, &ColumnMemory::default())
}

/// The plan for a table: what people said first, then what they said about an earlier list, then what the headings say.
#[must_use]
pub fn plan_remembering(
    table: &ParsedTable,
    kind: ListKind,
    choices: &ColumnChoices,
    memory: &ColumnMemory,
) -> ColumnPlan {
    let mut columns: Vec<PlannedColumn> = Vec::new();
    for column in kind.columns() {
        let said = choices.letters.get(column);
        let found = match said {
            Some(None) => None,
            Some(Some(wanted)) => place_of(table, wanted).map(|place| (place, ChosenBy::Person)),
            None => remembered(table, *column, choices, memory).or_else(|| by_heading(table, kind, *column, choices)),
        };
        if let Some((place, chosen_by)) = found {
            let heading = table.header.cells.get(place).cloned().unwrap_or_default();
            columns.push(planned(*column, place, heading, chosen_by));
        }
    }
    drop_spare_full_name(&mut columns);
    drop_what_a_person_took(&mut columns);
    take_the_only_reading(table, kind, choices, &mut columns);
    let mut undecided_dates = Vec::new();
    for planned in columns.iter_mut().filter(|planned| planned.column.is_date()) {
        let order = choices.date_orders.get(&planned.column).copied();
        planned.date_order = order.or_else(|| match dates::order_of(cells(table, planned.place)) {
            OrderFound::Decided(order) => Some(order),
            OrderFound::Undecidable => memory.order(planned.column, &planned.heading),
        });
        if planned.date_order.is_none() {
            undecided_dates.push(planned.column);
        }
    }
    let has = |column: &ListColumn| columns.iter().any(|planned| planned.column == *column);
    let missing = kind.wanted().iter().filter(|group| !group.iter().any(has)).map(|group| group.to_vec()).collect();
    let unused_columns = unused_columns(table, &columns);
    let unused_headings =
        unused_columns.iter().map(|column| column.heading.clone()).filter(|heading| !heading.is_empty()).collect();
    ColumnPlan { columns, missing, unused_headings, unused_columns, undecided_dates }
}

fn unused_columns(table: &ParsedTable, columns: &[PlannedColumn]) -> Vec<UnusedColumn> {
    let used = |place: usize| columns.iter().any(|planned| usize::from(planned.place) == place);
    let heading = |place: usize| table.header.cells.get(place).cloned().unwrap_or_default();
    let holds = |place: usize| {
        let cells = table.rows.iter().filter_map(|row| row.cells.get(place));
        !heading(place).is_empty() || cells.into_iter().any(|cell| !cell.is_empty())
    };
    let unused = (0..width(table)).filter(|place| !used(*place) && holds(*place));
    unused.map(|place| UnusedColumn { letter: letter(place), heading: heading(place) }).collect()
}

/// `Valid until` alone may be the membership's or the screening's: it is proposed where the list speaks of only one of the
/// two, and that one has no day yet. Else it stays unused, which the preview says.
fn take_the_only_reading(
    table: &ParsedTable,
    kind: ListKind,
    choices: &ColumnChoices,
    columns: &mut Vec<PlannedColumn>,
) {
    let has = |wanted: ListColumn| columns.iter().any(|planned| planned.column == wanted);
    let open = |speaks: ListColumn, until: ListColumn| {
        has(speaks) && !has(until) && !choices.letters.contains_key(&until) && kind.columns().contains(&until)
    };
    let readings = [
        (ListColumn::MembershipNumber, ListColumn::MembershipValidUntil),
        (ListColumn::ScreeningOutcome, ListColumn::ScreeningValidUntil),
    ];
    let readings: Vec<ListColumn> =
        readings.into_iter().filter(|(speaks, until)| open(*speaks, *until)).map(|(_, until)| until).collect();
    let [column] = *readings.as_slice() else { return };
    let taken =
        |place: usize| columns.iter().any(|planned| usize::from(planned.place) == place) || is_taken(place, choices);
    let mut places = table.header.cells.iter().enumerate();
    let mut untils = places.by_ref().filter(|(place, heading)| headings::is_an_end(heading) && !taken(*place));
    if let (Some((place, heading)), None) = (untils.next(), untils.next()) {
        columns.push(planned(column, place, heading.clone(), ChosenBy::Proposed));
        columns.sort_by_key(|planned| kind.columns().iter().position(|column| *column == planned.column));
    }
}

fn planned(column: ListColumn, place: usize, heading: String, chosen_by: ChosenBy) -> PlannedColumn {
    let place16 = u16::try_from(place).unwrap_or(u16::MAX);
    PlannedColumn { column, letter: letter(place), heading, chosen_by, date_order: None, place: place16 }
}

/// Where first and last name have columns of their own, another heading with "name" in it is somebody else's name.
fn drop_spare_full_name(columns: &mut Vec<PlannedColumn>) {
    let has = |wanted: ListColumn| columns.iter().any(|planned| planned.column == wanted);
    if has(ListColumn::FirstName) && has(ListColumn::LastName) {
        columns.retain(|planned| planned.column != ListColumn::FullName || planned.chosen_by == ChosenBy::Person);
    }
}

/// A column that a person gave to something holds that, whatever its heading says.
fn drop_what_a_person_took(columns: &mut Vec<PlannedColumn>) {
    let said = |planned: &&PlannedColumn| planned.chosen_by == ChosenBy::Person;
    let taken: Vec<u16> = columns.iter().filter(said).map(|planned| planned.place).collect();
    columns.retain(|planned| planned.chosen_by == ChosenBy::Person || !taken.contains(&planned.place));
}

/// The cells of one column, top down.
pub(super) fn cells(table: &ParsedTable, place: u16) -> impl Iterator<Item = &Cell> + Clone {
    table.rows.iter().filter_map(move |row| row.cells.get(usize::from(place))).filter(|cell| !cell.is_empty())
}

fn width(table: &ParsedTable) -> usize {
    table.rows.iter().map(|row| row.cells.len()).max().unwrap_or(0).max(table.header.cells.len())
}

fn place_of(table: &ParsedTable, wanted: &str) -> Option<usize> {
    (0..width(table)).find(|place| letter(*place).eq_ignore_ascii_case(wanted.trim()))
}

/// The column that a person chose in an earlier list, by its heading; one that was given to something else is not taken.
fn remembered(
    table: &ParsedTable,
    column: ListColumn,
    choices: &ColumnChoices,
    memory: &ColumnMemory,
) -> Option<(usize, ChosenBy)> {
    let place = memory.place(table, column).filter(|place| !is_taken(*place, choices))?;
    Some((place, ChosenBy::Remembered))
}

fn is_taken(place: usize, choices: &ColumnChoices) -> bool {
    choices.letters.values().flatten().any(|said| said.trim().eq_ignore_ascii_case(&letter(place)))
}

/// The surest heading for a column; of two alike the left one. A column that a person gave to something else is not taken.
fn by_heading(
    table: &ParsedTable,
    kind: ListKind,
    column: ListColumn,
    choices: &ColumnChoices,
) -> Option<(usize, ChosenBy)> {
    let mut best: Option<(usize, Sureness)> = None;
    for (place, heading) in table.header.cells.iter().enumerate() {
        if let Some((found, sureness)) = headings::recognise(heading, kind) {
            let better = best.is_none_or(|(_, so_far)| sureness > so_far);
            if found == column && better && !is_taken(place, choices) {
                best = Some((place, sureness));
            }
        }
    }
    best.map(|(place, sureness)| {
        (place, if sureness == Sureness::Exact { ChosenBy::Recognised } else { ChosenBy::Proposed })
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::intake::parse::parse;

    fn plan_of(csv: &str, kind: ListKind, choices: &ColumnChoices) -> ColumnPlan {
        plan(&parse(csv.as_bytes(), kind).unwrap(), kind, choices)
    }

    #[test]
    fn missing_columns_are_named_and_unused_headings_shown() {
        let plan = plan_of("Troop,Name,Shirt size\n1,Ann Lee,M\n", ListKind::RoleList, &ColumnChoices::default());
        assert!(plan.missing.is_empty());
        assert_eq!(plan.unused_headings, ["Shirt size"]);
        let plan = plan_of("Troop,Last name,Shirt\n1,Lee,M\n", ListKind::RoleList, &ColumnChoices::default());
        assert_eq!(plan.missing, [vec![ListColumn::FirstName, ListColumn::FullName]]);
    }

    #[test]
    fn an_end_without_a_word_of_what_is_taken_where_only_one_thing_can_end() {
        let until = |csv: &str| {
            let plan = plan_of(csv, ListKind::RoleList, &ColumnChoices::default());
            let taken = plan.columns.iter().find(|planned| planned.chosen_by == ChosenBy::Proposed);
            let unused: Vec<String> = plan.unused_columns.iter().map(|column| column.letter.clone()).collect();
            (taken.map(|planned| planned.column), unused)
        };
        for (headings, want, unused) in [
            ("Troop,Name,Member ID,Valid until", Some(ListColumn::MembershipValidUntil), &[][..]),
            ("Troop,Name,Screening,Expires", Some(ListColumn::ScreeningValidUntil), &[]),
            ("Troop,Name,Member ID,Screening,Valid until", None, &["E"]),
            ("Troop,Name,Member ID,Valid until,Expires", None, &["D", "E"]),
            ("Troop,Name,Member ID,Membership expires,Valid until", None, &["E"]),
            ("Troop,Name,Member ID,Membership expires,Screening,Expires", Some(ListColumn::ScreeningValidUntil), &[]),
            ("Troop,Name,Valid until", None, &["C"]),
        ] {
            let csv = format!("{headings}\n1,Ann Lee,7,2026-09-30,yes,2027-01-31\n");
            let width = headings.split(',').count();
            let csv = csv.lines().map(|line| line.split(',').take(width).collect::<Vec<_>>().join(",") + "\n");
            let (column, left) = until(&csv.collect::<String>());
            assert_eq!(
                (column, left),
                (want, unused.iter().map(|letter| (*letter).to_owned()).collect()),
                "{headings}"
            );
        }
    }

    #[test]
    fn a_column_without_a_heading_is_named_by_its_letter() {
        let plan = plan_of("Troop,Name,,\n1,Ann Lee,x,\n", ListKind::RoleList, &ColumnChoices::default());
        assert_eq!(plan.unused_columns, [UnusedColumn { letter: "C".into(), heading: String::new() }]);
    }

    #[test]
    fn a_person_overrules_the_headings() {
        let mut choices = ColumnChoices::default();
        choices.letters.insert(ListColumn::ReceivedOn, Some("c".into()));
        let plan = plan_of("Troop,Date,Seen\n1,2026-01-05,2026-02-06\n", ListKind::BankDetails, &choices);
        let received = plan.columns.iter().find(|planned| planned.column == ListColumn::ReceivedOn).unwrap();
        assert_eq!((received.letter.as_str(), received.chosen_by), ("C", ChosenBy::Person));
        choices.letters.insert(ListColumn::ReceivedOn, None);
        let plan = plan_of("Troop,Date,Seen\n1,2026-01-05,2026-02-06\n", ListKind::BankDetails, &choices);
        assert_eq!(plan.missing, [vec![ListColumn::ReceivedOn]]);
    }

    #[test]
    fn an_undecidable_date_column_is_asked_and_an_answer_settles_it() {
        let csv = "Troop,Received\n1,03/04/2026\n2,05/06/2026\n";
        let asked = plan_of(csv, ListKind::BankDetails, &ColumnChoices::default());
        assert_eq!(asked.undecided_dates, [ListColumn::ReceivedOn]);
        let mut choices = ColumnChoices::default();
        choices.date_orders.insert(ListColumn::ReceivedOn, DateOrder::DayFirst);
        assert!(plan_of(csv, ListKind::BankDetails, &choices).undecided_dates.is_empty());
    }
}

/// Columns of which one is enough, for the API's document: a bound on a list does not bound the lists in it.
#[derive(Debug)]
pub struct ColumnGroup;

impl utoipa::PartialSchema for ColumnGroup {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        let column = utoipa::openapi::Ref::from_schema_name(<ListColumn as utoipa::ToSchema>::name());
        utoipa::openapi::schema::ArrayBuilder::new().items(column).max_items(Some(30)).build().into()
    }
}

impl utoipa::ToSchema for ColumnGroup {
    fn schemas(schemas: &mut Vec<(String, utoipa::openapi::RefOr<utoipa::openapi::Schema>)>) {
        schemas.push((
            <ListColumn as utoipa::ToSchema>::name().into_owned(),
            <ListColumn as utoipa::PartialSchema>::schema(),
        ));
    }
}
