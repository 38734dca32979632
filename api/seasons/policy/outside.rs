//! Outside steps: what must be repeated by hand in head office's system, and after which event.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Something that must be repeated in head office's system after an event.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OutsideStep {
    /// Its lasting name.
    #[schema(min_length = 1, max_length = 40, pattern = "^[a-z][a-z0-9_]*$", example = "enter_appointment")]
    pub code: String,
    /// What a volunteer reads.
    #[schema(min_length = 1, max_length = 120, example = "Enter the appointment in head office's system")]
    pub title: String,
    /// After which event.
    pub event: OutsideEvent,
}

/// What happened. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OutsideEvent {
    /// A coordinator was appointed.
    Appointed,
    /// A coordinator was suspended.
    Suspended,
    /// A coordinator was restored.
    Restored,
    /// A coordinator stood down.
    StoodDown,
    /// A troop sits out.
    SatOut,
    /// A troop takes part again.
    Rejoined,
    /// A troop went into another one.
    TroopMerged,
    /// A part of a troop became a troop of its own.
    TroopSplit,
    /// A season return was filed.
    ReturnFiled,
}
