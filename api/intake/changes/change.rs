//! What a row is taken for, and the things that applying it can change.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{PersonRef, Statement, Subject};
use crate::common::ids::{PersonId, TroopId};
use crate::intake::matching::Candidate;

/// Whom or what a row is taken for.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum RowState {
    /// Somebody known.
    Person(PersonId),
    /// Somebody new, with the first row of theirs.
    NewPerson(u32),
    /// A troop.
    Troop(TroopId),
    /// A troop that becomes known with this row.
    NewTroop,
    /// A person decides who is meant.
    Ask(Vec<Candidate>),
    /// The row cannot be used as it stands: a person leaves it out, or mends the list.
    Unusable,
    /// A person left it out.
    Skipped,
}

impl RowState {
    /// True while a person has to decide before the list can be applied.
    #[must_use]
    pub const fn needs_a_person(&self) -> bool {
        matches!(self, Self::Ask(_) | Self::Unusable)
    }
}

/// One thing that applying a row changes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// Somebody new becomes known.
    NewPerson {
        /// Given name.
        first_name: String,
        /// Family name.
        last_name: String,
        /// Membership number.
        membership_number: Option<String>,
        /// Address.
        email: Option<String>,
        /// Telephone number.
        phone: Option<String>,
    },
    /// Somebody known had no such thing yet; what is there is never overwritten.
    FillIn {
        /// Who.
        person_id: PersonId,
        /// What.
        field: PersonField,
        /// The value.
        value: String,
    },
    /// Somebody is proposed as coordinator of a troop; a person confirms it.
    ProposeAssignment {
        /// Who.
        person: PersonRef,
        /// Of which troop.
        troop_id: TroopId,
        /// Whether as its lead: where it has none.
        lead: bool,
    },
    /// A fact is recorded.
    RecordFact {
        /// The code of the requirement.
        requirement: String,
        /// Whether the requirement is a screening, whose facts are kept apart.
        screening: bool,
        /// About whom or what.
        subject: Subject,
        /// What it says.
        statement: Statement,
    },
    /// A troop becomes known, with its place in the season.
    NewTroop {
        /// Its number as it is written.
        number: String,
        /// What it is called; empty where the list says nothing.
        name: String,
        /// Its place.
        place: SeasonPlace,
    },
    /// A troop that is known from before gets its place in this season.
    PlaceTroop {
        /// Which one.
        troop_id: TroopId,
        /// Its place.
        place: SeasonPlace,
    },
    /// Something about a troop is said otherwise than it is known.
    ChangeTroop {
        /// Which one.
        troop: TroopRef,
        /// What.
        field: TroopField,
        /// What is known; none where nothing is.
        from: Option<String>,
        /// What the list says.
        to: String,
    },
}

/// A troop's place in a season.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SeasonPlace {
    /// Its age band.
    pub age_band: String,
    /// How many youths sell.
    pub selling_youths: u16,
    /// Whether it sells for the first time.
    pub first_season: bool,
}

/// A troop that is known, or one that this list makes known, by its row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum TroopRef {
    /// Known before.
    Known(TroopId),
    /// New with this row.
    New(u32),
}

/// What a troop list may change of a troop.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = ListedTroopField)]
pub enum TroopField {
    /// What it is called.
    Name,
    /// Where it meets.
    MeetingPlace,
    /// Its age band in this season.
    AgeBand,
    /// How many of its youths sell.
    SellingYouths,
    /// Whether this is its first season: `yes` or `no`.
    FirstSeason,
}

/// What a list may fill in about somebody known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PersonField {
    /// Membership number.
    MembershipNumber,
    /// Address.
    Email,
    /// Telephone number.
    Phone,
}

impl TroopField {
    /// The name under which it is stored and sent.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::MeetingPlace => "meeting_place",
            Self::AgeBand => "age_band",
            Self::SellingYouths => "selling_youths",
            Self::FirstSeason => "first_season",
        }
    }
}
