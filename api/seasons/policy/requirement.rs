//! Requirements: what must be met, by whom, how it is proven and for how long a proof holds.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::common::short_text::CodeInList;

/// One thing that must be met.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Requirement {
    /// The lasting name by which evidence, gates and other requirements refer to it.
    #[schema(min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$", example = "yearly_training")]
    pub code: String,
    /// What a volunteer reads.
    #[schema(min_length = 1, max_length = 120, example = "Yearly training")]
    pub title: String,
    /// How carefully it is treated.
    pub kind: RequirementKind,
    /// Who must meet it.
    pub whose: Whose,
    /// Which troops it is asked of.
    pub needed_by: NeededBy,
    /// What proves it.
    pub proof: Proof,
    /// How long a proof holds.
    pub validity: Validity,
    /// Requirements that come first: nobody is asked for this one while one of those is open.
    #[serde(default)]
    #[schema(max_items = 20, value_type = Vec<CodeInList>)]
    pub after: Vec<String>,
    /// The score, in percent, below which evidence that carries a score closes nothing. Evidence without a score
    /// (attendance in a room) is not held to it.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 100, example = 80)]
    pub minimum_score: Option<u8>,
    /// Who may waive it; when left out, nobody for screening and membership, and the unit manager for anything else.
    #[serde(default)]
    pub waivable_by: Option<WaivableBy>,
    /// Whether the unit manager may enter by hand what a list or certificate proves, having seen it elsewhere.
    #[serde(default = "yes")]
    pub manager_may_enter: bool,
}

const fn yes() -> bool {
    true
}

impl Requirement {
    /// Who may waive it: as the policy says, else nobody for screening and membership and the manager for the rest.
    #[must_use]
    pub fn who_may_waive(&self) -> WaivableBy {
        self.waivable_by.unwrap_or(match self.kind {
            RequirementKind::Plain => WaivableBy::Manager,
            RequirementKind::Membership | RequirementKind::Screening => WaivableBy::Never,
        })
    }

    /// Whether a troop is asked for it, given that it sells in its first season or is returning.
    #[must_use]
    pub fn applies(&self, first_season: bool) -> bool {
        first_season || self.needed_by == NeededBy::All
    }
}

/// How carefully a requirement is treated. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum RequirementKind {
    /// Nothing special.
    Plain,
    /// Membership of head office's organisation: nobody waives it unless the policy says so.
    Membership,
    /// A background screening: only outcome and dates are kept, and a failed one reads "not confirmed" to most.
    Screening,
}

/// Who must meet a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Whose {
    /// Each coordinator; a person who coordinates two troops meets it once.
    Coordinator,
    /// The troop, whoever does it.
    Troop,
    /// Everyone who holds a role in the unit. It is no part of a troop's standing.
    UnitRole,
}

/// Which troops a requirement is asked of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NeededBy {
    /// Every troop.
    All,
    /// Troops that sell for the first time.
    FirstSeason,
}

/// What proves a requirement. The keys that its kind does not use are null.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Proof {
    /// The kind of proof.
    pub kind: ProofKind,
    /// For `posted_list`: the kind of list.
    #[serde(default)]
    #[schema(required = true)]
    pub list: Option<PostedList>,
    /// For `posted_list`: what the list must state.
    #[serde(default)]
    #[schema(required = true)]
    pub column: Option<ListColumn>,
    /// For `certificate`: the code of the course.
    #[serde(default)]
    #[schema(required = true, min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$")]
    pub course: Option<String>,
}

/// The kinds of proof. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProofKind {
    /// Head office's posted list states it.
    PostedList,
    /// A certificate of a course, from a list of certificates or from the unit's own session.
    Certificate,
    /// The unit manager has seen it and records it.
    Manager,
}

/// Lists that head office posts and a requirement may be proven by. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PostedList {
    /// The list of people with their roles, membership and screening.
    RoleList,
    /// The list of bank details forms received.
    BankDetails,
}

/// What a posted list states about somebody. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ListColumn {
    /// Role list: being on it at all.
    Listed,
    /// Role list: the day until which membership is paid.
    MembershipValidUntil,
    /// Role list: the outcome of the screening, with its date.
    Screening,
    /// Bank details list: the day on which the troop's form came in.
    ReceivedOn,
}

impl ListColumn {
    /// The list that has this column.
    #[must_use]
    pub fn list(self) -> PostedList {
        match self {
            Self::Listed | Self::MembershipValidUntil | Self::Screening => PostedList::RoleList,
            Self::ReceivedOn => PostedList::BankDetails,
        }
    }
}

/// How long a proof holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Validity {
    /// The way it is reckoned.
    pub kind: ValidityKind,
    /// For `months`: how many months after the day of the proof its last day comes; null otherwise.
    #[serde(default)]
    #[schema(required = true, minimum = 1, maximum = 240)]
    pub months: Option<u16>,
}

/// The ways to reckon how long a proof holds. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ValidityKind {
    /// For this season: a proof from before it starts counts nothing.
    Season,
    /// To the end of the day that the proof itself names; without one, for as long as nothing says otherwise.
    UntilEvidenceDate,
    /// For a number of months.
    Months,
}

/// Who may waive a requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WaivableBy {
    /// Nobody.
    Never,
    /// The unit manager.
    Manager,
    /// The unit manager and an overseer together.
    TwoPeople,
}
