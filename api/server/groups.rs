//! The groups of the reference page: by what somebody comes to do and who that is, not by how the code is laid out.
//!
//! An operation stands in the group that names it, and otherwise in that of its feature.

use utoipa::openapi::path::Operation;
use utoipa::openapi::tag::{Tag, TagBuilder};

/// What somebody comes to do, and who that is.
struct Group {
    name: &'static str,
    about: &'static str,
    /// The features that stand in it.
    features: &'static [&'static str],
    /// Single operations of other features.
    operations: &'static [&'static str],
}

/// In the order of the page.
const GROUPS: &[Group] = &[
    Group {
        name: "Getting in",
        about: "For everybody: accept an invitation, sign in and out, the second factor, password and address, one's own sign-ins, and the units in which one has a place.",
        features: &["accounts", "pages", "units"],
        operations: &[],
    },
    Group {
        name: "What needs me now",
        about: "For the unit manager: what waits, what is at stake and the request that settles it; the overseer reads along. For a troop coordinator: the own steps.",
        features: &["needs"],
        operations: &["list_my_steps", "report_step"],
    },
    Group {
        name: "Standing",
        about: "For everybody in the unit, each as far as the role reaches: where the troops stand and why, the next step, the gates, and what will lapse.",
        features: &["standings"],
        operations: &[],
    },
    Group {
        name: "Evidence and decisions",
        about: "For the unit manager: record what was seen, appoint and suspend, let something go for a time. The overseer reads it and gives the second word where the policy asks for two people.",
        features: &["evidence", "appointments"],
        operations: &[
            "list_waivers",
            "waive_requirement",
            "find_waiver",
            "approve_waiver",
            "decline_waiver",
            "end_waiver",
            "list_overrides",
            "override_gate",
            "find_override",
            "approve_override",
            "decline_override",
            "end_override",
        ],
    },
    Group {
        name: "Messages",
        about: "For the unit manager: what is written to people, how it is worded, what waits to be sent and what became of it. The overseer reads along.",
        features: &["mail", "notices"],
        operations: &[],
    },
    Group {
        name: "Lists",
        about: "For the unit manager: bring in head office's posted lists, look at the preview, settle what waits, apply, take back. The overseer reads along.",
        features: &["intake"],
        operations: &[],
    },
    Group {
        name: "Return",
        about: "For the unit manager: look at the season return, file it, say that it was sent, and see what must be repeated in head office's system. The overseer reads along.",
        features: &["returns", "outside_steps"],
        operations: &[],
    },
    Group {
        name: "People and troops",
        about: "For the unit manager, who keeps the roster: troops, people, how to reach them, roles, who coordinates which troop. The others read what their role needs, also as a file.",
        features: &["roster", "exports"],
        operations: &[],
    },
    Group {
        name: "Season and policy",
        about: "For the unit manager: the season's days, its milestones, and what the policy asks of whom. Everybody in the unit reads them, the dates in the calendar of their own phone too.",
        features: &["seasons", "policies", "calendars"],
        operations: &[],
    },
    Group {
        name: "Scripts and keys",
        about: "For whoever runs a script: keys that do what they were given by name, and events as they happen, which programs outside are told too if the unit manager says so. For the unit manager and the overseer: the unit's log, who did what.",
        features: &["events", "webhooks"],
        operations: &["make_key", "list_keys", "revoke_key", "list_log"],
    },
    Group {
        name: "Server",
        about: "For the server's administrator and for programs that watch it: make a unit, whether the server lives and is ready, its document, and what its problems mean.",
        features: &["server"],
        operations: &["create_unit"],
    },
];

/// The groups as the document lists them.
pub(super) fn tags() -> Vec<Tag> {
    let tag = |group: &Group| TagBuilder::new().name(group.name).description(Some(group.about)).build();
    GROUPS.iter().map(tag).collect()
}

/// Puts an operation, which says its feature, into its group. One of a feature that no group has stays where it is, and a gate
/// finds it.
pub(super) fn place(operation: &mut Operation) {
    let id = operation.operation_id.as_deref().unwrap_or_default();
    let feature = operation.tags.iter().flatten().next().map_or("", String::as_str);
    let named = GROUPS.iter().find(|group| group.operations.contains(&id));
    let group = named.or_else(|| GROUPS.iter().find(|group| group.features.contains(&feature)));
    if let Some(group) = group {
        operation.tags = Some(vec![group.name.to_owned()]);
    }
}
