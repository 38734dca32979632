//! What people said about the columns of the last list of a kind, kept by heading, so that the next one is not asked about.
//!
//! A remembered column is taken where the new list has the very same heading and nobody said otherwise about this list. A
//! remembered order of days settles only what the cells leave open: cells that can be read one way speak for themselves.

use super::dates::DateOrder;
use super::plan::{ColumnChoices, ColumnPlan};
use crate::common::fold;
use crate::intake::kinds::ListColumn;
use crate::intake::parse::ParsedTable;
use crate::intake::parse::table::letter;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// What is remembered of the lists of a kind.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct ColumnMemory {
    /// Under which heading (folded) a person found what; headings only, nothing of the rows.
    pub headings: BTreeMap<ListColumn, String>,
    /// In which order the days under a heading (folded) were written.
    pub orders: BTreeMap<ListColumn, (String, DateOrder)>,
}

impl ColumnMemory {
    /// Adds what was said about a list; what was said about an earlier one stays where this says nothing.
    #[must_use]
    pub fn and(mut self, table: &ParsedTable, choices: &ColumnChoices, columns: &ColumnPlan) -> Self {
        for (column, said) in &choices.letters {
            let heading = said.as_deref().and_then(|said| heading_at(table, said));
            if let Some(heading) = heading {
                self.headings.insert(*column, heading);
            }
        }
        for (column, order) in &choices.date_orders {
            let planned = columns.columns.iter().find(|planned| planned.column == *column);
            let heading = planned.map(|planned| fold::key(&planned.heading)).filter(|heading| !heading.is_empty());
            if let Some(heading) = heading {
                self.orders.insert(*column, (heading, *order));
            }
        }
        self
    }

    /// The place of the column that is remembered for this, if the list has its heading.
    pub(super) fn place(&self, table: &ParsedTable, column: ListColumn) -> Option<usize> {
        let wanted = self.headings.get(&column)?;
        table.header.cells.iter().position(|heading| fold::key(heading) == *wanted)
    }

    /// The order that is remembered for the days under this heading.
    pub(super) fn order(&self, column: ListColumn, heading: &str) -> Option<DateOrder> {
        let (wanted, order) = self.orders.get(&column)?;
        (fold::key(heading) == *wanted).then_some(*order)
    }
}

fn heading_at(table: &ParsedTable, said: &str) -> Option<String> {
    let mut headings = table.header.cells.iter().enumerate();
    let found = headings.find(|(place, _)| letter(*place).eq_ignore_ascii_case(said.trim()));
    found.map(|(_, heading)| fold::key(heading)).filter(|heading| !heading.is_empty())
}

#[cfg(test)]
mod tests {
    use super::super::plan::{ChosenBy, plan, plan_remembering};
    use super::*;
    use crate::intake::kinds::ListKind;
    use crate::intake::parse::parse;

    fn table(csv: &str) -> ParsedTable {
        parse(csv.as_bytes(), ListKind::BankDetails).unwrap()
    }

    fn remembered() -> ColumnMemory {
        let first = table("Troop,Paper in the box,Date\n1,03/04/2026,05/06/2026\n");
        let mut choices = ColumnChoices::default();
        choices.letters.insert(ListColumn::ReceivedOn, Some("b".into()));
        choices.date_orders.insert(ListColumn::ReceivedOn, DateOrder::DayFirst);
        let columns = plan(&first, ListKind::BankDetails, &choices);
        ColumnMemory::default().and(&first, &choices, &columns)
    }

    #[test]
    fn the_next_list_of_the_same_look_is_not_asked_about() {
        let next = table("No,Troop,PAPER in the box,Date\n1,101,07/08/2026,01/01/2026\n");
        let nobody_said = ColumnChoices::default();
        let plan = plan_remembering(&next, ListKind::BankDetails, &nobody_said, &remembered());
        let received = plan.columns.iter().find(|planned| planned.column == ListColumn::ReceivedOn).unwrap();
        assert_eq!((received.letter.as_str(), received.chosen_by), ("C", ChosenBy::Remembered));
        assert_eq!((received.date_order, plan.undecided_dates.len()), (Some(DateOrder::DayFirst), 0));
    }

    #[test]
    fn cells_that_speak_for_themselves_and_people_overrule_what_is_remembered() {
        let table_read = table("Troop,Paper in the box,Date\n101,12/31/2026,01/01/2026\n");
        let nobody_said = ColumnChoices::default();
        let plan = plan_remembering(&table_read, ListKind::BankDetails, &nobody_said, &remembered());
        assert_eq!(plan.columns[1].date_order, Some(DateOrder::MonthFirst), "the 31st month does not exist");
        let mut said = ColumnChoices::default();
        said.letters.insert(ListColumn::ReceivedOn, Some("C".into()));
        let plan = plan_remembering(&table_read, ListKind::BankDetails, &said, &remembered());
        assert_eq!((plan.columns[1].letter.as_str(), plan.columns[1].chosen_by), ("C", ChosenBy::Person));
        let other = table("Troop,Date\n101,2026-01-01\n");
        let plan = plan_remembering(&other, ListKind::BankDetails, &nobody_said, &remembered());
        assert_eq!(plan.columns[1].chosen_by, ChosenBy::Recognised, "a list of another look is read by its headings");
    }
}
