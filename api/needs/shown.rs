//! The items of the work queue as they are sent.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::common::ids::{PersonId, TroopId};
use crate::common::short_text::ShortText;
use crate::need::{NeedKind, NeedMethod};
use crate::seasons::policy::GateName;

/// One thing that needs a person.
#[derive(Debug, Serialize, ToSchema)]
pub struct ShownNeed {
    /// Its lasting name: the same as long as its cause is there.
    #[schema(max_length = 200)]
    pub need_id: String,
    /// What it is.
    pub kind: NeedKind,
    /// What there is to do.
    #[schema(max_length = 1000)]
    pub what: String,
    /// Why.
    #[schema(max_length = 1000)]
    pub why: String,
    /// Since when it stands like this, at the latest; null where that is not known.
    #[schema(required = true)]
    pub since_at: Option<DateTime<Utc>>,
    /// By when it must be done; null without such an instant.
    #[schema(required = true)]
    pub by_at: Option<DateTime<Utc>>,
    /// What is at stake.
    pub at_stake: AtStake,
    /// The troops it is about.
    #[schema(max_items = 1000)]
    pub troops: Vec<NeedTroop>,
    /// The person it is about; null for none, and for a reader who may not see people.
    #[schema(required = true)]
    pub person: Option<NeedPerson>,
    /// Where to look before deciding; null where there is nothing more to see.
    #[schema(required = true, max_length = 400)]
    pub look: Option<String>,
    /// The requests of which any one settles it, the usual one first.
    #[schema(max_items = 10)]
    pub settle: Vec<SettlingRequest>,
}

/// What is lost if nobody does it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct AtStake {
    /// How pressing it is.
    pub level: StakeLevel,
    /// The gates that are shut by it now.
    #[schema(max_items = 3)]
    pub gates: Vec<GateName>,
    /// The same in a sentence.
    #[schema(max_length = 400)]
    pub sentence: String,
}

/// How pressing something is, the most pressing first. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum StakeLevel {
    /// Something is out that nobody answers for.
    Alarm,
    /// Its day is over.
    Overdue,
    /// A list waits: until it counts, other items may be about things long done.
    Behind,
    /// A gate is shut by it now.
    Shut,
    /// A date is near, or a gate will be shut by it from a milestone on.
    Ahead,
    /// Nobody is held up by it yet.
    Waiting,
}

/// A troop, by number.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct NeedTroop {
    /// Which one.
    pub troop_id: TroopId,
    /// Its number, as people write it.
    #[schema(max_length = 20, example = "0412")]
    pub number: String,
}

/// A person, by name.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub struct NeedPerson {
    /// Who.
    pub person_id: PersonId,
    /// First and last name.
    #[schema(max_length = 162)]
    pub name: String,
}

/// A request that settles something.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct SettlingRequest {
    /// Its method.
    pub method: NeedMethod,
    /// Its path.
    #[schema(max_length = 400)]
    pub path: String,
    /// Its body as far as it is known; null where there is none, or where it is a file.
    #[schema(required = true, value_type = Option<Object>)]
    pub body: Option<serde_json::Value>,
    /// What you still have to add: JSON pointers into the body, or `?name` for a parameter of the query.
    #[schema(max_items = 10, value_type = Vec<ShortText>)]
    pub fill_in: Vec<&'static str>,
    /// The permission that it asks for.
    #[schema(max_length = 80)]
    pub permission: &'static str,
    /// Whether you hold it.
    pub you_may: bool,
}
