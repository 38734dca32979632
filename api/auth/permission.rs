//! THE list of permissions. Which role holds which is data (`migrations/`); which exist is this file.
//!
//! Each is a type: a handler's permit names it, the document's `x-permission` is written from it, and a test compares
//! both with a table that people can read (`tests/gates/permissions.csv`).

/// A permission as a type.
pub trait Permission: 'static {
    /// Its name, as in `standings.read`.
    const NAME: &'static str;
    /// The permission to read the same noun: outside ITS reach a thing reads as not found.
    type Read: Permission;
    /// Whether it changes something.
    const WRITES: bool;
    /// Whether it asks for a fresh sign-in (the document's `x-stepup`).
    const STEP_UP: bool;
    /// Whether it belongs to the server's administrator rather than to a role in a unit.
    const SERVER: bool;
}

/// Whether a POST under this permission must carry an `Idempotency-Key`: decisions, filings and lists do harm when doubled.
#[must_use]
pub fn needs_safe_retry(name: &str) -> bool {
    matches!(name, "decisions.take" | "intakes.apply" | "returns.file" | "messages.send")
}

/// What a key for scripts may change, if it was given that by name: the work of loading lists and keeping the roster.
/// Whatever a person answers for (decisions, waivers, overrides, the policy, the return, who may sign in) stays a person's.
pub const KEY_MAY_CHANGE: &[&str] = &[
    "people.change",
    "contacts.change",
    "troops.change",
    "assignments.change",
    "evidence.record",
    "intakes.upload",
    "intakes.apply",
];

macro_rules! permissions {
    ($($(#[$doc:meta])* $name:ident $text:literal $read:ident $writes:ident $step_up:ident $server:ident;)*) => {
        $(
            $(#[$doc])*
            #[derive(Debug)]
            pub struct $name;

            impl Permission for $name {
                const NAME: &'static str = $text;
                type Read = $read;
                const WRITES: bool = $writes;
                const STEP_UP: bool = $step_up;
                const SERVER: bool = $server;
            }
        )*

        /// Every permission's name.
        pub const ALL: &[&str] = &[$($name::NAME,)*];

        /// The names of those that change something.
        #[must_use]
        pub fn writes(name: &str) -> bool {
            match name { $($text => $name::WRITES,)* _ => true }
        }

        /// Whether it asks for a fresh sign-in.
        #[must_use]
        pub fn steps_up(name: &str) -> bool {
            match name { $($text => $name::STEP_UP,)* _ => false }
        }

        /// Whether this name belongs to the server's administrator.
        #[must_use]
        pub fn is_server(name: &str) -> bool {
            match name { $($text => $name::SERVER,)* _ => false }
        }
    };
}

//  type                name                    its read permission  writes step-up server
permissions! {
    /// Make units on this server.
    UnitsCreate         "units.create"          UnitsCreate          true   true    true;
    /// See the unit itself.
    UnitsRead           "units.read"            UnitsRead            false  false   false;
    /// See who is in the unit.
    PeopleRead          "people.read"           PeopleRead           false  false   false;
    /// Add and change people.
    PeopleChange        "people.change"         PeopleRead           true   false   false;
    /// Erase a person for good.
    PeopleErase         "people.erase"          PeopleRead           true   true    false;
    /// See e-mail addresses and phone numbers.
    ContactsRead        "contacts.read"         ContactsRead         false  false   false;
    /// Change e-mail addresses and phone numbers.
    ContactsChange      "contacts.change"       ContactsRead         true   false   false;
    /// Invite a person to sign in.
    PeopleInvite        "people.invite"         PeopleRead           true   true    false;
    /// See who holds which role.
    GrantsRead          "grants.read"           GrantsRead           false  false   false;
    /// Give and end roles.
    GrantsChange        "grants.change"         GrantsRead           true   true    false;
    /// See seasons and their milestones.
    SeasonsRead         "seasons.read"          SeasonsRead          false  false   false;
    /// Make and change seasons and milestones.
    SeasonsChange       "seasons.change"        SeasonsRead          true   false   false;
    /// See the policy.
    PolicyRead          "policy.read"           PolicyRead           false  false   false;
    /// Change the policy.
    PolicyChange        "policy.change"         PolicyRead           true   false   false;
    /// See troops.
    TroopsRead          "troops.read"           TroopsRead           false  false   false;
    /// Add and change troops.
    TroopsChange        "troops.change"         TroopsRead           true   false   false;
    /// Merge and split troops.
    TroopsRegroup       "troops.regroup"        TroopsRead           true   true    false;
    /// See who coordinates which troop.
    AssignmentsRead     "assignments.read"      AssignmentsRead      false  false   false;
    /// Name, confirm, decline and end coordinators.
    AssignmentsChange   "assignments.change"    AssignmentsRead      true   false   false;
    /// See where each troop stands, and why.
    StandingsRead       "standings.read"        StandingsRead        false  false   false;
    /// See that a screening was not met, and not merely that it is unconfirmed.
    ScreeningsRead      "screenings.read"       ScreeningsRead       false  false   false;
    /// See one's own steps.
    StepsRead           "steps.read"            StepsRead            false  false   false;
    /// Report one's own steps as done.
    StepsReport         "steps.report"          StepsRead            true   false   false;
    /// See facts one by one, with notes and who recorded them.
    EvidenceRead        "evidence.read"         EvidenceRead         false  false   false;
    /// Record a fact about a requirement by hand, and withdraw a wrong one.
    EvidenceRecord      "evidence.record"       StandingsRead        true   false   false;
    /// Appoint, suspend, restore, stand down, sit out, rejoin.
    DecisionsTake       "decisions.take"        StandingsRead        true   false   false;
    /// See waivers with their reasons.
    WaiversRead         "waivers.read"          WaiversRead          false  false   false;
    /// Waive a requirement, or propose it where two people must agree.
    WaiversGive         "waivers.give"          WaiversRead          true   false   false;
    /// Agree to a waiver as the second person.
    WaiversApprove      "waivers.approve"       WaiversRead          true   false   false;
    /// See overrides of gates with their reasons.
    OverridesRead       "overrides.read"        OverridesRead        false  false   false;
    /// Let a troop through a closed gate, or propose it where two people must agree.
    OverridesGive       "overrides.give"        OverridesRead        true   false   false;
    /// Agree to an override as the second person.
    OverridesApprove    "overrides.approve"     OverridesRead        true   false   false;
    /// See uploaded lists and their previews.
    IntakesRead         "intakes.read"          IntakesRead          false  false   false;
    /// Upload lists and resolve their rows.
    IntakesUpload       "intakes.upload"        IntakesRead          true   false   false;
    /// Apply an uploaded list.
    IntakesApply        "intakes.apply"         IntakesRead          true   false   false;
    /// See the season return and its preview.
    ReturnsRead         "returns.read"          ReturnsRead          false  false   false;
    /// File the season return.
    ReturnsFile         "returns.file"          ReturnsRead          true   false   false;
    /// See what must be repeated in head office's system, and whether it was.
    OutsideStepsRead    "outside_steps.read"    OutsideStepsRead     false  false   false;
    /// Say that it was done there.
    OutsideStepsTick    "outside_steps.tick"    OutsideStepsRead     true   false   false;
    /// See what needs a person now.
    NeedsRead           "needs.read"            NeedsRead            false  false   false;
    /// Read how messages are worded and sent.
    MailRead            "mail.read"             MailRead             false  false   false;
    /// Word messages, and say whether they leave by themselves.
    MailChange          "mail.change"           MailRead             true   false   false;
    /// Read what was written to people.
    MessagesRead        "messages.read"         MessagesRead         false  false   false;
    /// Send, discard and mark messages.
    MessagesSend        "messages.send"         MessagesRead         true   false   false;
    /// See whether one has a calendar address.
    CalendarsRead       "calendars.read"        CalendarsRead        false  false   false;
    /// Make and end one's own calendar address.
    CalendarsMake       "calendars.make"        CalendarsRead        true   false   false;
    /// Listen to what is done in the unit, as far as one may read it.
    EventsRead          "events.read"           EventsRead           false  false   false;
    /// See which programs outside are told what is done, and what became of it.
    WebhooksRead        "webhooks.read"         WebhooksRead         false  false   false;
    /// Have programs outside told what is done.
    WebhooksChange      "webhooks.change"       WebhooksRead         true   false   false;
    /// Read the unit's log.
    LogRead             "log.read"              LogRead              false  false   false;
}
