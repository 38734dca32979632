//! The policy of a season: what is asked of coordinators and troops, and which gate each thing opens.
//!
//! A policy is one document, checked as a whole (every fault is told at once, each with its place in the document),
//! kept in numbered versions, and read by the rules. It names requirements (what must be met, who proves it, how long
//! it holds), gates (what must hold before a troop may order, collect or earn) and a few numbers. Later features add
//! their own keys beside these; a key that nobody reads yet is refused rather than silently ignored.

mod shipped;
mod validate;

pub use shipped::shipped_policy;
pub use validate::{Fault, validate};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The longest code of a requirement, group or milestone.
pub const LONGEST_CODE: usize = 40;

/// What a unit asks for in a season, as data.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
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
    /// The numbers that posted lists are read by.
    pub intake: IntakeNumbers,
}

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
    #[schema(max_items = 20)]
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

/// Requirements of which any one is enough.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct AnyOf {
    /// The lasting name of the group.
    #[schema(min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$")]
    pub code: String,
    /// Two or more codes of requirements, each in one group only.
    #[schema(min_items = 2, max_items = 20)]
    pub requirements: Vec<String>,
}

/// What must hold before a troop may do one kind of thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Gate {
    /// The kind of thing.
    pub gate: GateName,
    /// The gate is open when every rule in force holds, and when none is in force.
    #[schema(max_items = 20)]
    pub rules: Vec<GateRule>,
}

/// The gates. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GateName {
    /// Placing orders.
    Order,
    /// Taking goods.
    Collect,
    /// Earning on what was sold.
    Earn,
}

impl GateName {
    /// Every gate, in the order in which a season meets them.
    pub const ALL: [Self; 3] = [Self::Order, Self::Collect, Self::Earn];
}

/// One rule of a gate, in force from one milestone until another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GateRule {
    /// The milestone from which it is in force (a day counts from its end); null from the start. Not in force while
    /// that milestone has no date.
    #[serde(default)]
    #[schema(required = true, max_length = 40)]
    pub from: Option<String>,
    /// The milestone that ends it (a day ends it at its end); null, or a milestone without a date, never does.
    #[serde(default)]
    #[schema(required = true, max_length = 40)]
    pub until: Option<String>,
    /// Requirements that must be met or waived.
    #[serde(default)]
    #[schema(max_items = 40)]
    pub needs_requirements: Vec<String>,
    /// Whether the troop must stand as appointed.
    #[serde(default)]
    pub needs_appointment: bool,
    /// A condition on money. Refused by name until this program keeps money.
    #[serde(default)]
    #[schema(required = true)]
    pub needs_money: Option<MoneyCondition>,
    /// Who may let a troop through all the same.
    pub override_by: OverrideBy,
}

/// A condition on a troop's money.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MoneyCondition {
    /// The condition.
    pub kind: MoneyConditionKind,
    /// For `exposure_under`: the amount, in minor units of the season's currency.
    #[serde(default)]
    #[schema(required = true, minimum = 0)]
    pub amount_minor: Option<i64>,
}

/// The conditions on money.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MoneyConditionKind {
    /// Nothing is overdue.
    NothingOverdue,
    /// Goods out and unpaid receipts stay under an amount.
    ExposureUnder,
    /// No debt was carried in from an earlier season.
    NoDebtCarriedIn,
}

/// Who may let a troop through a closed gate.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OverrideBy {
    /// Nobody.
    Never,
    /// The unit manager.
    Manager,
    /// The unit manager and an overseer together.
    TwoPeople,
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
}
