//! What applying a list would change: matched rows against what is known, as a list of changes, row by row.
//!
//! Pure: the same rows, decisions, policy and state give the same changes, so the preview and the apply are one
//! computation. Rows are taken in order and each sees what the rows above it would change; so a row that says again what
//! another said, and a list that says again what an earlier list said, change nothing.

mod absent;
#[cfg(test)]
mod absent_tests;
mod change;
mod clashes;
#[cfg(test)]
mod clashes_tests;
mod facts;
mod people;
mod rows;
mod settled;
#[cfg(test)]
mod test_support;
#[cfg(test)]
mod tests;
mod troops;
#[cfg(test)]
mod troops_tests;
mod unfamiliar;

pub use change::{Change, PersonField, RowState, SeasonPlace, TroopField, TroopRef};
pub use clashes::Contradiction;
pub use facts::course_key;
pub use people::NAME_DIFFERS;
pub use rows::{look, preview};

use super::columns::fields::ListRow;
use super::kinds::ListKind;
use super::matching::{Known, MatchReason};
use super::parse::table::CellProblem;
use crate::common::ids::{PersonId, TroopId};
use crate::seasons::policy::Policy;
use crate::standings::rules::EvidenceOutcome;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// A list as far as its rows are read, with what people have decided about them.
#[derive(Clone, Debug)]
pub struct ReadList<'a> {
    /// What the list is about.
    pub kind: ListKind,
    /// The day for which it speaks.
    pub listed_on: NaiveDate,
    /// Its rows.
    pub rows: &'a [ListRow],
    /// The cells that could not be read.
    pub problems: &'a [CellProblem],
    /// What people decided, by row number; what was decided anew is not among it.
    pub resolutions: &'a BTreeMap<u32, Resolution>,
    /// Whether the uploader says that nobody is missing from it.
    pub complete: bool,
    /// Whether a list of this kind that speaks for a later day was applied: this one then says nothing of who is missing.
    pub outdated: bool,
}

/// What a person decided about a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "as")]
pub enum Resolution {
    /// The row is this person.
    Person {
        /// Who.
        person_id: PersonId,
        /// Whether this row is right where rows about the person contradict each other.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        holds: bool,
    },
    /// The row is somebody new.
    NewPerson,
    /// The row is whoever another row of the list is; its own number: it is somebody new.
    SameAsRow {
        /// Which row.
        row_number: u32,
        /// Whether this row is right where rows about the person contradict each other.
        #[serde(default, skip_serializing_if = "std::ops::Not::not")]
        holds: bool,
    },
    /// The row is matched by the program, and it is right where rows about the person contradict each other.
    Holds,
    /// The row of a troop list is taken at its word: the troop is called so now, or is a new one.
    AsListed,
    /// The row is left out.
    Skip,
    /// What was decided about the same row of an earlier list does not hold for this one: the program matches it anew.
    Anew,
}

impl Resolution {
    /// Whether the row was chosen where rows contradict each other.
    #[must_use]
    pub const fn holds(self) -> bool {
        matches!(self, Self::Holds | Self::Person { holds: true, .. } | Self::SameAsRow { holds: true, .. })
    }
}

/// What is known in the unit, as far as lists can change it.
#[derive(Clone, Debug, Default)]
pub struct Current {
    /// Everybody.
    pub people: Vec<CurrentPerson>,
    /// Every troop of the unit.
    pub troops: Vec<CurrentTroop>,
    /// Who has or had a place in which troop this season, whatever became of it.
    pub assigned: BTreeSet<(TroopId, PersonId)>,
    /// Troops that have, or are proposed, a lead.
    pub led: BTreeSet<TroopId>,
    /// The facts of this season, self-reports left out.
    pub facts: Vec<CurrentFact>,
}

/// Somebody who is known.
#[derive(Clone, Debug)]
pub struct CurrentPerson {
    /// As far as matching needs.
    pub known: Known,
    /// Telephone number.
    pub phone: Option<String>,
}

/// A troop that is known.
#[derive(Clone, Debug)]
pub struct CurrentTroop {
    /// Which one.
    pub troop_id: TroopId,
    /// Its number as it is written.
    pub number: String,
    /// What it is called; empty where it has no name.
    pub name: String,
    /// Where it meets.
    pub meeting_place: Option<String>,
    /// Its place in this season, if it has one.
    pub place: Option<SeasonPlace>,
    /// Whether it has become part of another troop in this season.
    pub ended: bool,
}

/// A fact that is known.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CurrentFact {
    /// The code of the requirement.
    pub requirement: String,
    /// About whom or what.
    pub subject: Subject,
    /// What it says.
    pub statement: Statement,
    /// Its place among facts of one day: later ones are greater.
    pub order: i64,
}

/// Whom or what a fact is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A person.
    Person(PersonRef),
    /// A troop.
    Troop(TroopId),
}

/// A person who is known, or one whom this list makes known, by the first row of theirs.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PersonRef {
    /// Known before.
    Known(PersonId),
    /// New with this row.
    New(u32),
}

/// What a fact says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Statement {
    /// Met or not.
    pub outcome: EvidenceOutcome,
    /// The day for which it says so.
    pub observed_on: NaiveDate,
    /// The last day for which it holds.
    pub valid_until_on: Option<NaiveDate>,
    /// The score, in whole per cents, cut.
    pub score_percent: Option<u8>,
}

/// A whole preview.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Preview {
    /// Every row.
    pub rows: Vec<RowPreview>,
    /// Who was named by an earlier list and is not on this one.
    pub absences: Vec<Absence>,
    /// How much of the roster is touched.
    pub touched: Touched,
    /// Rows that name nobody and no troop known here, where these are nearly all rows: the list may be another unit's. Else 0.
    pub unfamiliar_rows: u32,
}

/// Somebody whom a complete list no longer names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Absence {
    /// What being on the list proves is recorded as no longer on it.
    Recorded {
        /// The code of the requirement that being on the list proves.
        requirement: String,
        /// Whether the requirement is a screening, whose facts are kept apart.
        screening: bool,
        /// Who or which troop.
        subject: Subject,
        /// The day for which an earlier fact says that it was met.
        last_seen_on: NaiveDate,
        /// The fact that is recorded.
        statement: Statement,
    },
    /// A troop of the season that a complete troop list leaves out: shown, and nothing ends by it.
    Shown(TroopId),
}

/// How many people and troops something that was known is said otherwise about, and of how many.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Touched {
    /// People of the season's roster.
    pub people: u32,
    /// All people of the season's roster.
    pub of_people: u32,
    /// Troops of the season.
    pub troops: u32,
    /// All troops of the season.
    pub of_troops: u32,
}

/// A row of the preview.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RowPreview {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// Whom or what the row is taken for.
    pub state: RowState,
    /// Why; none for a list of troops.
    pub reason: Option<MatchReason>,
    /// Other rows that speak of the same person.
    pub also_on_rows: Vec<u32>,
    /// What other rows say otherwise about the same person or troop, decided or not.
    pub contradictions: Vec<Contradiction>,
    /// What applying this row would change, after the rows above it.
    pub changes: Vec<Change>,
    /// What is wrong with the row, cell by cell, and what it says that cannot be used.
    pub problems: Vec<CellProblem>,
}

/// Everything that a preview is computed from.
#[derive(Debug)]
pub struct World<'a> {
    /// The season's policy.
    pub policy: &'a Policy,
    /// The day on which the list is looked at.
    pub today: NaiveDate,
    /// What is known.
    pub current: &'a Current,
}
