//! Who hears of what: pure.
//!
//! Whoever reads the log hears of every row. Everybody else hears of a row whose action stands in [`ACTIONS`], if they may read
//! what it is about, and of its subjects those that they may read. Who reaches own troops only hears of a row if all that it is
//! about is of own troops: one that is about several is not told in part, but for [`PARTED`].

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::auth::Scope;
use crate::auth::permission::{EventsRead, LogRead, Permission as _};
use crate::roster::OwnTies;

/// What is told to others than the readers of the log, by the permission to read what it is about. What is not here (facts
/// that were seen, a screening that was looked at, accounts, keys, secret addresses) is for the log's readers.
pub const ACTIONS: &[(&str, &[&str])] = &[
    (
        "standings.read",
        &[
            "standing_changed",
            "appoint_coordinator",
            "suspend_coordinator",
            "restore_coordinator",
            "stand_down_coordinator",
            "sit_out_troop",
            "rejoin_troop",
            "take_decisions",
        ],
    ),
    ("troops.read", &["add_troop", "change_troop", "renumber_troops", "remove_troop", "merge_troops", "split_troop"]),
    (
        "assignments.read",
        &[
            "name_coordinator",
            "confirm_assignment",
            "decline_assignment",
            "make_lead",
            "replace_coordinator",
            "add_troop_contact",
            "end_troop_contact",
        ],
    ),
    ("people.read", &["add_person", "change_person", "record_leaving", "merge_person", "erase_person"]),
    ("contacts.read", &["change_contact"]),
    (
        "seasons.read",
        &["create_season", "change_season", "add_milestone", "change_milestone", "remove_milestone", "date_milestones"],
    ),
    ("policy.read", &["change_policy", "copy_policy"]),
    (
        "intakes.read",
        &[
            "upload_list",
            "choose_sheet",
            "choose_columns",
            "resolve_intake_row",
            "resolve_rows_by_reason",
            "apply_intake",
            "reverse_intake",
            "discard_intake",
        ],
    ),
    ("returns.read", &["file_return", "mark_return_sent", "note_return_answer"]),
    ("outside_steps.read", &["tick_outside_steps"]),
    ("waivers.read", &["waive_requirement", "approve_waiver", "decline_waiver", "end_waiver"]),
    ("overrides.read", &["override_gate", "approve_override", "decline_override", "end_override"]),
    ("grants.read", &["give_role", "end_grant"]),
    (
        "messages.read",
        &[
            "write_messages",
            "send_message",
            "discard_message",
            "mark_message_sent",
            "mark_message_bounced",
            "message_sent",
            "message_given_up",
        ],
    ),
];

/// The one row that is a list of troops and nothing else: what time changed, noticed for several at once. Who reaches own troops
/// hears of these alone.
const PARTED: &str = "standing_changed";

/// The permission by which a kind of subject is read. What is not here is not told to others than the log's readers.
const KINDS: &[(&str, &str)] = &[
    ("troop", "troops.read"),
    ("regrouping", "troops.read"),
    ("person", "people.read"),
    ("merged_person", "people.read"),
    ("assignment", "assignments.read"),
    ("take_over", "assignments.read"),
    ("grant", "grants.read"),
    ("season", "seasons.read"),
    ("milestone", "seasons.read"),
    ("policy_version", "policy.read"),
    ("intake", "intakes.read"),
    ("return", "returns.read"),
    ("outside_step", "outside_steps.read"),
    ("waiver", "waivers.read"),
    ("override", "overrides.read"),
    ("decision", "evidence.read"),
    ("message", "messages.read"),
    // The name of a field, never what stands in it.
    ("field", "events.read"),
];

/// Something that an event is about.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct EventSubject {
    /// What it is: a troop, a person, a field, ... New values may come.
    #[schema(max_length = 40, example = "troop")]
    pub kind: String,
    /// Which one.
    #[schema(max_length = 100)]
    pub id: String,
}

/// An event as it is told.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub(super) struct Event {
    /// The number of its row in the unit's log.
    pub seq: i64,
    /// When, by the season's clock.
    pub at: DateTime<Utc>,
    /// What was done.
    pub action: String,
    /// About what.
    pub subjects: Vec<EventSubject>,
}

/// Who listens: how far each of their permissions reaches, and which of the ids in question are of own troops.
pub(super) struct Listener<'a> {
    /// How far the permission of this name reaches.
    pub scope_of: &'a dyn Fn(&str) -> Scope,
    /// Of the ids in question, the people and assignments of own troops.
    pub own: &'a OwnTies,
}

/// How far a row may be told.
enum Reach {
    Unit,
    Troops(HashSet<Uuid>),
}

impl Listener<'_> {
    fn reach(&self, permission: &str) -> Option<Reach> {
        let scopes = [(self.scope_of)(EventsRead::NAME), (self.scope_of)(permission)];
        let mut reach = Reach::Unit;
        for scope in scopes {
            match (scope.troops(), &reach) {
                (None, _) => {}
                (Some(troops), Reach::Unit) => reach = Reach::Troops(troops.into_iter().collect()),
                (Some(troops), Reach::Troops(held)) => {
                    reach = Reach::Troops(troops.into_iter().filter(|troop| held.contains(troop)).collect());
                }
            }
        }
        match &reach {
            Reach::Troops(troops) if troops.is_empty() => None,
            _ => Some(reach),
        }
    }

    /// Whether a subject is of one of these troops; none if it belongs to no troop whatever it is.
    fn of_own(&self, troops: &HashSet<Uuid>, subject: &EventSubject) -> Option<bool> {
        let held = match subject.kind.as_str() {
            "troop" => troops,
            "person" | "merged_person" => &self.own.people,
            "assignment" => &self.own.assignments,
            _ => return None,
        };
        Some(subject.id.parse().is_ok_and(|id: Uuid| held.contains(&id)))
    }

    fn reads(&self, subject: &EventSubject) -> bool {
        let permission = KINDS.iter().find(|(kind, _)| *kind == subject.kind).map(|(_, permission)| *permission);
        match permission.map(|permission| (self.scope_of)(permission)) {
            None | Some(Scope::Nothing) => false,
            Some(Scope::Unit) => true,
            Some(Scope::Troops(troops)) => {
                let troops = troops.into_iter().map(|troop| troop.0).collect();
                self.of_own(&troops, subject).unwrap_or(true)
            }
        }
    }

    /// The event as this listener hears it; none if they do not.
    pub(super) fn hears(&self, mut event: Event) -> Option<Event> {
        if (self.scope_of)(LogRead::NAME) == Scope::Unit && (self.scope_of)(EventsRead::NAME) == Scope::Unit {
            return Some(event);
        }
        let (permission, _) = ACTIONS.iter().find(|(_, actions)| actions.contains(&event.action.as_str()))?;
        if let Reach::Troops(troops) = self.reach(permission)? {
            if event.action == PARTED {
                event.subjects.retain(|subject| self.of_own(&troops, subject) == Some(true));
            }
            let mut tied = event.subjects.iter().filter_map(|subject| self.of_own(&troops, subject)).peekable();
            if tied.peek().is_none() || !tied.all(|own| own) {
                return None;
            }
        }
        event.subjects.retain(|subject| self.reads(subject));
        Some(event)
    }
}

#[cfg(test)]
mod tests;
