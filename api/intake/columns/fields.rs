//! The cells of a row as what they say: days, outcomes, scores, addresses; and what cannot be read, with row and column.

use super::dates;
use super::naming::{naming_number, split_name};
use super::plan::{ColumnPlan, PlannedColumn};
use super::scores::{all_fractions, score};
use super::troops;
use crate::common::fold;
use crate::intake::kinds::ListColumn as C;
use crate::intake::parse::table::{Cell, CellKind, CellProblem, ParsedRow, ParsedTable};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What one row of a list states. A key is null where the list has no such column or the cell is empty or unreadable.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct ListRow {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The troop's number as written.
    pub troop_number: Option<String>,
    /// Given name.
    pub first_name: Option<String>,
    /// Family name.
    pub last_name: Option<String>,
    /// E-mail address, in the form in which addresses are compared.
    pub email: Option<String>,
    /// Telephone number as written.
    pub phone: Option<String>,
    /// Membership number as written.
    pub membership_number: Option<String>,
    /// The last day of membership.
    pub membership_valid_until: Option<NaiveDate>,
    /// Whether the screening is on file.
    pub screening: Option<ScreeningOutcome>,
    /// The last day of the screening.
    pub screening_valid_until: Option<NaiveDate>,
    /// The day on which the form came in.
    pub received_on: Option<NaiveDate>,
    /// The course's code as written.
    pub course_code: Option<String>,
    /// The day on which the course was completed.
    pub completed_on: Option<NaiveDate>,
    /// The score in hundredths of a per cent: 92.5 % is 9250.
    pub score: Option<u16>,
    /// A score is there and unreadable: the row proves no course, since only a missing score means "attended".
    #[serde(skip_serializing_if = "std::ops::Not::not")]
    pub score_unreadable: bool,
    /// What the troop is called.
    pub troop_name: Option<String>,
    /// The troop's age band as written.
    pub age_band: Option<String>,
    /// Where the troop meets.
    pub meeting_place: Option<String>,
    /// How many of its youths sell.
    pub selling_youths: Option<u16>,
    /// Whether it sells for the first time.
    pub first_season: Option<bool>,
}

impl ListRow {
    /// Whether nothing stands in the row but a troop's number: it names nobody, as in a list of places to be filled.
    #[must_use]
    pub fn names_only_a_troop(&self) -> bool {
        let bare = Self { row_number: self.row_number, troop_number: self.troop_number.clone(), ..Self::default() };
        self.troop_number.is_some() && *self == bare
    }

    /// Whether nothing in the row says who is meant.
    #[must_use]
    pub const fn names_nobody(&self) -> bool {
        self.first_name.is_none()
            && self.last_name.is_none()
            && self.email.is_none()
            && self.membership_number.is_none()
    }
}

/// What a list says about a screening; never more than this (domain.md section 17).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ScreeningOutcome {
    /// It is on file and good.
    Met,
    /// It is not: missing, refused, expired.
    NotMet,
    /// It is under way: states nothing yet.
    Pending,
}

impl ScreeningOutcome {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Met => "met",
            Self::NotMet => "not_met",
            Self::Pending => "pending",
        }
    }
}

/// The rows of a table read by a plan, and every cell that could not be read.
#[must_use]
pub fn read_rows(table: &ParsedTable, columns: &ColumnPlan) -> (Vec<ListRow>, Vec<CellProblem>) {
    let fractions = columns
        .columns
        .iter()
        .find(|planned| planned.column == C::Score)
        .is_some_and(|planned| all_fractions(table, planned));
    let mut problems = table.problems.clone();
    let rows = table.rows.iter().map(|row| read_row(row, columns, fractions, &mut problems)).collect();
    problems.sort_by_key(|problem| {
        (problem.row_number, problem.column.as_ref().map(|letter| (letter.len(), letter.clone())))
    });
    problems.dedup();
    (rows, problems)
}

/// One cell's reading: where it stands, and where its fault goes.
pub(super) struct Reading<'a> {
    row_number: u32,
    pub(super) planned: &'a PlannedColumn,
    problems: &'a mut Vec<CellProblem>,
}

impl Reading<'_> {
    pub(super) fn fail<T>(&mut self, code: &str, read: &str, expected: &str) -> Option<T> {
        self.problems.push(CellProblem {
            row_number: self.row_number,
            column: Some(self.planned.letter.clone()),
            heading: Some(self.planned.heading.clone()).filter(|heading| !heading.is_empty()),
            code: code.into(),
            read: read.chars().take(120).collect(),
            expected: expected.into(),
        });
        None
    }
}

fn read_row(row: &ParsedRow, columns: &ColumnPlan, fractions: bool, problems: &mut Vec<CellProblem>) -> ListRow {
    let mut out = ListRow { row_number: row.row_number, ..ListRow::default() };
    let mut end_unreadable = false;
    for planned in &columns.columns {
        let Some(cell) = row.cells.get(usize::from(planned.place)).filter(|cell| !is_blank(cell)) else { continue };
        if cell.kind == CellKind::Unreadable {
            continue; // it is among the table's problems already
        }
        let mut reading = Reading { row_number: row.row_number, planned, problems };
        match planned.column {
            C::TroopNumber => out.troop_number = naming_number(cell, &mut reading),
            C::FirstName => out.first_name = name(cell, &mut reading),
            C::LastName => out.last_name = name(cell, &mut reading),
            C::FullName => {
                let (first, last) = split_name(&cell.text);
                out.first_name = out.first_name.or(first);
                out.last_name = out.last_name.or(last);
                let whole = out.first_name.as_ref().zip(out.last_name.as_ref());
                let _ = whole.or_else(|| reading.fail("name_incomplete", &cell.text, "a first and a last name"));
            }
            C::Email => out.email = email(cell, &mut reading),
            C::Phone => out.phone = phone(cell, &mut reading),
            C::MembershipNumber => out.membership_number = naming_number(cell, &mut reading),
            C::MembershipValidUntil => out.membership_valid_until = day(cell, &mut reading),
            C::ScreeningOutcome => out.screening = screening(cell, &mut reading),
            C::ScreeningValidUntil => {
                out.screening_valid_until = day(cell, &mut reading);
                end_unreadable = out.screening_valid_until.is_none();
            }
            C::ReceivedOn => out.received_on = day(cell, &mut reading),
            C::CourseCode => out.course_code = Some(cell.text.chars().take(120).collect()),
            C::CompletedOn => out.completed_on = day(cell, &mut reading),
            C::Score => {
                out.score = score(cell, fractions, &mut reading);
                out.score_unreadable = out.score.is_none();
            }
            C::TroopName => out.troop_name = troops::text(cell, 120, &mut reading),
            C::AgeBand => out.age_band = troops::age_band(cell, &mut reading),
            C::MeetingPlace => out.meeting_place = troops::text(cell, 200, &mut reading),
            C::SellingYouths => out.selling_youths = troops::youths(cell, &mut reading),
            C::FirstSeason => out.first_season = troops::first_season(cell, &mut reading),
        }
    }
    // What ends on a day that nobody could read must not hold for ever.
    out.screening = out.screening.filter(|outcome| !(end_unreadable && *outcome == ScreeningOutcome::Met));
    out
}

/// Empty, or one of the signs that people put where nothing is to be said.
fn is_blank(cell: &Cell) -> bool {
    cell.is_empty()
        || matches!(
            fold::fold(&cell.text).as_str(),
            "-" | "--" | "n/a" | "na" | "none" | "?" | "." | "tbd" | "null" | "#n/a"
        )
}

fn name(cell: &Cell, reading: &mut Reading<'_>) -> Option<String> {
    let looks_wrong =
        !cell.text.contains(char::is_alphabetic) || cell.text.contains('@') || cell.text.chars().count() > 80;
    if looks_wrong { reading.fail("not_a_name", &cell.text, "a name") } else { Some(cell.text.clone()) }
}

fn phone(cell: &Cell, reading: &mut Reading<'_>) -> Option<String> {
    let good = (3..=40).contains(&cell.text.chars().count()) && cell.text.contains(|sign: char| sign.is_ascii_digit());
    if good { Some(cell.text.clone()) } else { reading.fail("not_a_phone_number", &cell.text, "one telephone number") }
}

fn email(cell: &Cell, reading: &mut Reading<'_>) -> Option<String> {
    fold::email(&cell.text)
        .filter(|address| address.len() <= 254)
        .or_else(|| reading.fail("not_an_email", &cell.text, "one e-mail address such as name@example.org"))
}

fn day(cell: &Cell, reading: &mut Reading<'_>) -> Option<NaiveDate> {
    let order = reading.planned.date_order?; // asked once for the column, not once a cell
    dates::read(cell, order).or_else(|| {
        let expected = match order {
            dates::DateOrder::DayFirst => "a day, written day first in this column: 31/01/2026, or 2026-01-31",
            dates::DateOrder::MonthFirst => "a day, written month first in this column: 01/31/2026, or 2026-01-31",
            dates::DateOrder::YearFirst => "a day such as 2026-01-31",
        };
        reading.fail("not_a_day", &cell.text, expected)
    })
}

/// The words that lists use for the state of a screening; common practice, no source.
fn screening(cell: &Cell, reading: &mut Reading<'_>) -> Option<ScreeningOutcome> {
    match fold::key(&cell.text).as_str() {
        "yes" | "y" | "x" | "ok" | "clear" | "cleared" | "approved" | "passed" | "pass" | "valid" | "current"
        | "complete" | "completed" | "eligible" | "met" | "on file" | "active" | "true" | "1" | "good" | "done" => {
            Some(ScreeningOutcome::Met)
        }
        "no" | "n" | "not met" | "not cleared" | "failed" | "fail" | "expired" | "missing" | "ineligible"
        | "not eligible" | "denied" | "not on file" | "rejected" | "invalid" | "false" | "0" | "lapsed"
        | "not approved" | "revoked" | "withdrawn" | "flagged" | "suspended" => Some(ScreeningOutcome::NotMet),
        "pending" | "in progress" | "submitted" | "under way" | "sent" | "started" | "processing" | "in process"
        | "requested" | "in review" | "incomplete" => Some(ScreeningOutcome::Pending),
        _ => reading.fail("not_an_outcome", &cell.text, "one of: yes, no, pending"),
    }
}
