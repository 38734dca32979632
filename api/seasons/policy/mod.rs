//! The policy of a season: what is asked of coordinators and troops, and which gate each thing opens.
//!
//! A policy is one document, checked as a whole (every fault is told at once, each with its place in the document),
//! kept in numbered versions, and read by the rules. It names requirements (what must be met, who proves it, how long
//! it holds), gates (what must hold before a troop may order, collect or earn) and a few numbers. Later features add
//! their own keys beside these; a key that nobody reads yet is refused rather than silently ignored.

mod gate;
mod outside;
mod requirement;
mod shipped;
mod validate;

pub use gate::*;
pub use outside::*;
pub use requirement::*;
pub use shipped::shipped_policy;
pub use validate::{Fault, validate};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::common::short_text::CodeInList;

/// The longest code of a requirement, group or milestone.
pub const LONGEST_CODE: usize = 40;

/// What a unit asks for in a season, as data.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!(shipped::as_sent()))]
pub struct Policy {
    /// What must be met, in the order in which it is asked for.
    #[schema(max_items = 40)]
    pub requirements: Vec<Requirement>,
    /// Groups of requirements of which any one is enough.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub any_of: Vec<AnyOf>,
    /// What must hold before a troop may order, collect or earn; a gate that is not named here is always open.
    #[schema(max_items = 3)]
    pub gates: Vec<Gate>,
    /// Which of a troop's coordinators must meet the requirements.
    pub counted_coordinators: CountedCoordinators,
    /// Days for which an appointed coordinator stays appointed after vanishing from a complete list: 0 for none, else
    /// to the end of the day that is so many days after the list's day.
    #[schema(minimum = 0, maximum = 90)]
    pub grace_days: u16,
    /// The share of the appointed troops, in percent, that a changed policy may take the appointment from without a second
    /// confirmation.
    #[serde(default = "mass_lapse_percent")]
    #[schema(minimum = 1, maximum = 100)]
    pub mass_lapse_percent: u8,
    /// The numbers that posted lists are read by.
    pub intake: IntakeNumbers,
    /// What must be repeated by hand in head office's system, and after which event.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub outside_steps: Vec<OutsideStep>,
}

const fn mass_lapse_percent() -> u8 {
    20
}

/// Requirements of which any one is enough.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnyOf {
    /// The lasting name of the group.
    #[schema(min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$")]
    pub code: String,
    /// Two or more codes of requirements, each in one group only.
    #[schema(min_items = 2, max_items = 20, value_type = Vec<CodeInList>)]
    pub requirements: Vec<String>,
}

/// Which of a troop's coordinators must meet the requirements.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CountedCoordinators {
    /// The lead; a troop without a lead reads as vacant.
    Lead,
    /// Any one of them.
    Any,
    /// Each of them.
    All,
}

/// The numbers that posted lists are read by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct IntakeNumbers {
    /// Likeness of two names, in percent (Jaro-Winkler), from which one clear best match is taken.
    #[schema(minimum = 50, maximum = 100)]
    pub match_accept_percent: u8,
    /// Likeness below which somebody is taken for new; between the two lines a person decides.
    #[schema(minimum = 50, maximum = 100)]
    pub match_review_percent: u8,
    /// The share of the roster, in percent, above which the changes of one list need a second confirmation.
    #[schema(minimum = 1, maximum = 100)]
    pub mass_change_percent: u8,
    /// Days after its upload for which the file of a list is kept, and what was read of it; then both are deleted, while what
    /// the list has changed stays.
    #[serde(default = "keep_list_files_days")]
    #[schema(minimum = 30, maximum = 3650)]
    pub keep_list_files_days: u16,
}

const fn keep_list_files_days() -> u16 {
    400
}
