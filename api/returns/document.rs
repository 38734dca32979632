//! The season return as a document: everything in it but people's names.

use chrono::{DateTime, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::common::ids::{PersonId, SeasonId, TroopId};
use crate::seasons::policy::GateName;
use crate::standings::rules::{CoordinatorState, RequirementOutcome, TroopState};

/// The figures of a season return. They name nobody: names stand beside, by `person_id`, and can be erased one day.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnDocument {
    /// What the unit was called then; null in returns that were filed before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 120)]
    pub unit_name: Option<String>,
    /// The season.
    pub season: ReturnSeason,
    /// The instant at which this stands.
    pub stands_at: DateTime<Utc>,
    /// Whose books these are, and whose prevail.
    #[schema(max_length = 400)]
    pub note: String,
    /// The totals.
    pub totals: ReturnTotals,
    /// Every troop of the season, by number.
    #[schema(max_items = 1000)]
    pub troops: Vec<ReturnTroop>,
}

/// The season of a return.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnSeason {
    /// Which one.
    pub season_id: SeasonId,
    /// What people called it then.
    #[schema(max_length = 80, example = "2026/27")]
    pub label: String,
    /// The IANA time zone in which its days are meant; null in returns that were filed before this was kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(max_length = 60, example = "America/Chicago")]
    pub time_zone: Option<String>,
}

/// How many of what.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnTotals {
    /// Troops in all.
    #[schema(minimum = 0, maximum = 1000)]
    pub troops: usize,
    /// With an appointed coordinator.
    #[schema(minimum = 0, maximum = 1000)]
    pub appointed: usize,
    /// With a coordinator who is not, or not any more, appointed.
    #[schema(minimum = 0, maximum = 1000)]
    pub under_way: usize,
    /// Without a coordinator.
    #[schema(minimum = 0, maximum = 1000)]
    pub no_coordinator: usize,
    /// That take no part.
    #[schema(minimum = 0, maximum = 1000)]
    pub sitting_out: usize,
    /// Open requirements: the troops' own and those of the coordinators whom the policy counts.
    #[schema(minimum = 0, maximum = 1_000_000)]
    pub open_requirements: usize,
}

/// One troop.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnTroop {
    /// The troop.
    pub troop_id: TroopId,
    /// Its number.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Its state as head office wants it.
    pub state: ReturnState,
    /// Where it stands in the unit's own words.
    pub standing: TroopState,
    /// Why, in plain words.
    #[schema(max_items = 1000, value_type = Vec<ReturnReason>)]
    pub reasons: Vec<String>,
    /// Its coordinators, the lead first.
    #[schema(max_items = 100)]
    pub coordinators: Vec<ReturnCoordinator>,
    /// What is open of the troop itself.
    #[schema(max_items = 40)]
    pub open: Vec<ReturnOpen>,
    /// What is let go of the troop itself, for a time: it is not met. Left out where nothing is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 40)]
    pub waived: Vec<ReturnWaived>,
    /// The gates that it passes by leave, until a day. Left out where there is none.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 3)]
    pub let_through: Vec<ReturnLetThrough>,
}

/// A state as head office wants it. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReturnState {
    /// A coordinator is appointed.
    Appointed,
    /// There is a coordinator who is not, or not any more, appointed.
    UnderWay,
    /// There is no coordinator.
    NoCoordinator,
    /// The troop takes no part this season.
    SittingOut,
}

/// One coordinator.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnCoordinator {
    /// The person; the name stands in `names`.
    pub person_id: PersonId,
    /// Whether this is the lead.
    pub lead: bool,
    /// Whether the policy counts this coordinator.
    pub counted: bool,
    /// The coordinator's own state.
    pub state: CoordinatorState,
    /// What is open of this coordinator.
    #[schema(max_items = 40)]
    pub open: Vec<ReturnOpen>,
    /// What is let go of this coordinator, for a time: it is not met. Left out where nothing is.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    #[schema(max_items = 40)]
    pub waived: Vec<ReturnWaived>,
}

/// An open requirement.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnOpen {
    /// Its code.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// Its title.
    #[schema(max_length = 120)]
    pub title: String,
    /// What is known; a screening that is not met reads `not_confirmed`.
    pub outcome: RequirementOutcome,
}

/// A requirement that is waived: let go for a time, never met by that.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnWaived {
    /// Its code.
    #[schema(max_length = 40)]
    pub requirement: String,
    /// Its title.
    #[schema(max_length = 120)]
    pub title: String,
    /// The waiver's last day.
    pub until_on: Option<NaiveDate>,
}

/// A gate that a troop passes by leave.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct ReturnLetThrough {
    /// The gate.
    pub gate: GateName,
    /// The leave's last day.
    pub until_on: NaiveDate,
}

/// A person's name, beside the figures.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReturnName {
    /// The person.
    pub person_id: PersonId,
    /// The name as it was then; null once it was erased.
    #[schema(required = true, max_length = 161)]
    pub name: Option<String>,
}

/// A reason in plain words: a text of at most 400 characters, for the document only.
#[derive(Debug)]
pub struct ReturnReason;

impl utoipa::PartialSchema for ReturnReason {
    fn schema() -> utoipa::openapi::RefOr<utoipa::openapi::Schema> {
        use utoipa::openapi::schema::{ObjectBuilder, Type};
        ObjectBuilder::new().schema_type(Type::String).max_length(Some(400)).build().into()
    }
}

impl ToSchema for ReturnReason {
    fn name() -> std::borrow::Cow<'static, str> {
        std::borrow::Cow::Borrowed("ReturnReason")
    }
}
