//! Gates: what must hold before a troop may order, collect or earn, and from when until when.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::common::short_text::CodeInList;

/// What must hold before a troop may do one kind of thing.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PolicyGate)]
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

    /// The gate's name, as it is stored and sent; it is also the word for what it opens.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Order => "order",
            Self::Collect => "collect",
            Self::Earn => "earn",
        }
    }
}

/// One rule of a gate, in force from one milestone until another.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GateRule {
    /// The milestone from which it is in force (a day counts from its end, that of an opening from
    /// its beginning); null from the start. Not in force while
    /// that milestone has no date.
    #[serde(default)]
    #[schema(required = true, max_length = 40)]
    pub from: Option<String>,
    /// The milestone that ends it (a day ends it at its end, that of an opening at its beginning); null, or a milestone without a date, never does.
    #[serde(default)]
    #[schema(required = true, max_length = 40)]
    pub until: Option<String>,
    /// Requirements that must be met or waived.
    #[serde(default)]
    #[schema(max_items = 40, value_type = Vec<CodeInList>)]
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
