//! Rows of a list matched to people of the unit, each with the reason.
//!
//! In this order: membership number; e-mail with the same first name, since spouses share addresses; name and troop by
//! likeness. One clear best above the accept line is taken; between the lines a person decides; below it is new. Names
//! alone never match across troops, a number that contradicts always asks, and no two rows take one person unless they
//! plainly are one person, which is then said. Two rows of new people who may be one person ask as well.

mod decide;
mod likeness;
mod name;
mod near;
mod others;
mod people;
mod rows;

pub use decide::decide;
pub use likeness::{Lines, name_likeness};
pub use name::first_names_agree;
pub use others::Others;
pub use people::{Known, Listed, People};
pub use rows::match_rows;

use crate::common::ids::PersonId;
use crate::common::nicknames;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What was decided about a row, before or after a person had a look.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct RowMatch {
    /// The row's number as a spreadsheet shows it.
    pub row_number: u32,
    /// The decision.
    pub outcome: MatchOutcome,
    /// Why: a stable code and a plain sentence.
    pub reason: MatchReason,
    /// Other rows that speak of the same person: the first twenty of them.
    pub also_on_rows: Vec<u32>,
}

/// The decision about a row.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "state")]
pub enum MatchOutcome {
    /// The row is this person.
    Taken {
        /// Who.
        person_id: PersonId,
    },
    /// A person decides; these may be meant, the likeliest first.
    Ask {
        /// Who may be meant.
        candidates: Vec<Candidate>,
    },
    /// Nobody known: somebody new. Rows of one new person share the number of the first of them.
    New {
        /// The first row of this new person.
        first_row: u32,
    },
    /// The row cannot be used as it stands.
    Problem,
}

/// Somebody who may be meant.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Candidate {
    /// Who; null where it is somebody new on another row of the list.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// The other row of the list whose new person may be meant (`same_as_row`); null for somebody known.
    #[serde(default)]
    #[schema(required = true)]
    pub row_number: Option<u32>,
    /// How alike the names are, in per cent, cut.
    #[schema(maximum = 100)]
    pub likeness_percent: u8,
    /// Why this person is thought of, as a stable code.
    pub code: ReasonCode,
}

/// Why a decision fell as it did.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct MatchReason {
    /// The reason as a stable code.
    pub code: ReasonCode,
    /// The reason as a sentence for the person who looks at it.
    #[schema(max_length = 600)]
    pub sentence: String,
}

/// The reasons. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = MatchReasonCode)]
pub enum ReasonCode {
    /// The membership number is this person's.
    MembershipNumber,
    /// The e-mail address is this person's and the first name agrees.
    EmailAndFirstName,
    /// Name and troop fit one person and nobody else as well.
    NameAndTroop,
    /// The number is one person's, the name is far from theirs.
    NumberButOtherName,
    /// The number belongs to several people.
    NumberOfSeveral,
    /// Everything else fits, but the number contradicts.
    NumberConflicts,
    /// Name and troop fit, or the number, but the address contradicts.
    EmailConflicts,
    /// The address is theirs, the first name is another.
    EmailButOtherFirstName,
    /// Several people fit alike.
    SeveralFit,
    /// The name is near, not near enough to be taken.
    NameIsNear,
    /// The same name stands in another troop: a name alone is not enough.
    SameNameOtherTroop,
    /// Rows that differ would take one person, or say different things of one.
    RowsContradict,
    /// Nobody fits, and another row's new person may be the same one in another spelling.
    LooksLikeRow,
    /// Nobody fits.
    NobodyFits,
    /// Nobody fits, and this kind of list makes nobody known.
    UnknownPerson,
    /// The row has no name and no number that is known.
    NothingToMatchBy,
    /// A person decided.
    DecidedByPerson,
    /// The name is that of another troop, which is no longer listed under its own number.
    NameOfAnotherTroop,
}

impl MatchReason {
    pub(super) fn new(code: ReasonCode, sentence: impl Into<String>) -> Self {
        Self { code, sentence: sentence.into() }
    }

    /// A person decided, and no rule.
    #[must_use]
    pub fn by_person() -> Self {
        Self::new(ReasonCode::DecidedByPerson, "a person decided")
    }
}

#[cfg(test)]
mod tests;
