//! Caselot: a single source of truth for one youth unit's seasonal product sale.
//!
//! The map of the code. A request passes `auth` (who asks, the open transaction, the permit), reaches one operation file
//! of one feature, and leaves as an `Answer` or an [`error::ApiError`]. Features stand here in the order in which they may
//! use each other: a feature uses only what stands above it, and only the `pub` items of its `mod.rs`.
//!
//! `common` (ids, time, bodies, pages) and `error` are below everything; `server` puts all together.

use std::pin::Pin;

use utoipa_actix_web::service_config::ServiceConfig;

pub mod accounts;
pub mod appointments;
pub mod auth;
pub mod calendars;
pub mod change;
pub mod cli;
pub mod common;
pub mod error;
pub mod events;
pub mod evidence;
pub mod exports;
pub mod frozen;
pub mod intake;
pub mod jobs;
pub mod logging;
pub mod mail;
pub mod migrate;
pub mod need;
pub mod needs;
pub mod notices;
pub mod one_person;
pub mod one_troop;
pub mod outside_steps;
pub mod pages;
pub mod parser_door;
pub mod policies;
pub mod postgres;
pub mod returns;
pub mod roster;
pub mod seasons;
pub mod server;
pub mod settings;
pub mod standings;
pub mod start;
pub mod supervise;
pub mod units;
pub mod webhooks;

use auth::System;
use common::ids::UnitId;

/// Work that a feature does in a unit when time has passed.
pub type Tick = fn(System, UnitId) -> Pin<Box<dyn Future<Output = Result<(), error::ApiError>> + Send>>;

/// What a feature hands to the program: adding a feature touches one list.
#[derive(Clone, Copy)]
pub struct Feature {
    /// Its name, which is the `tag` of its operations in the code; `server/groups.rs` says where they stand on the reference page.
    pub name: &'static str,
    /// What it is for, in a sentence.
    pub about: &'static str,
    /// Its routes.
    pub routes: fn(&mut ServiceConfig<'_>),
    /// What it does once a minute in every unit.
    pub tick: Option<Tick>,
    /// What of it needs a person now.
    pub needs: Option<need::Look>,
    /// What of it troops have out: goods, money. A troop that nobody coordinates must have none, and raises an alarm.
    pub out: Option<need::LookOut>,
    /// What follows a person into another row, when two rows are one person.
    pub merge_people: Option<one_person::PersonMerge>,
    /// What of it ends when a troop goes into another one.
    pub merge_troops: Option<one_troop::TroopMerge>,
    /// What of it goes on for a troop whose coordinator changes.
    pub goes_on: Option<one_troop::TroopGoesOn>,
    /// What it takes away when a person is erased.
    pub erasers: &'static [one_person::Eraser],
}

impl Feature {
    /// A feature with routes alone; what else it hands over is added below.
    #[must_use]
    pub const fn new(name: &'static str, about: &'static str, routes: fn(&mut ServiceConfig<'_>)) -> Self {
        Self {
            name,
            about,
            routes,
            tick: None,
            needs: None,
            out: None,
            merge_people: None,
            merge_troops: None,
            goes_on: None,
            erasers: &[],
        }
    }

    /// With what follows a person into another row.
    #[must_use]
    pub const fn merging_people(mut self, follow: one_person::PersonMerge) -> Self {
        self.merge_people = Some(follow);
        self
    }

    /// With what of it ends when a troop goes into another one.
    #[must_use]
    pub const fn merging_troops(mut self, follow: one_troop::TroopMerge) -> Self {
        self.merge_troops = Some(follow);
        self
    }

    /// With what of it goes on for a troop whose coordinator changes.
    #[must_use]
    pub const fn going_on(mut self, look: one_troop::TroopGoesOn) -> Self {
        self.goes_on = Some(look);
        self
    }

    /// With what it takes away when a person is erased.
    #[must_use]
    pub const fn erasing(mut self, erasers: &'static [one_person::Eraser]) -> Self {
        self.erasers = erasers;
        self
    }

    /// With work to be done once a minute in every unit.
    #[must_use]
    pub const fn every_minute(mut self, tick: Tick) -> Self {
        self.tick = Some(tick);
        self
    }

    /// With what of it troops have out.
    #[must_use]
    pub const fn with_out(mut self, look: need::LookOut) -> Self {
        self.out = Some(look);
        self
    }

    /// With what of it needs a person now.
    #[must_use]
    pub const fn with_needs(mut self, look: need::Look) -> Self {
        self.needs = Some(look);
        self
    }
}

/// THE list of features, in dependency order.
pub const FEATURES: &[Feature] = &[
    server::feature(),
    mail::feature(),
    accounts::feature(),
    units::feature(),
    seasons::feature(),
    roster::feature(),
    standings::feature(),
    policies::feature(),
    evidence::feature(),
    appointments::feature(),
    notices::feature(),
    intake::feature(),
    returns::feature(),
    outside_steps::feature(),
    exports::feature(),
    calendars::feature(),
    events::feature(),
    webhooks::feature(),
    needs::feature(),
    pages::feature(),
];

/// What is computed from facts and kept, for [`change`]: a feature that changes facts does not know what comes of them.
pub const COMPUTED: &[change::Computed] = &[standings::computed()];

/// Which gate of the policy each act passes (by its operation's name): an act on this list calls `standings::require`
/// inside its transaction. No act of this slice is gated yet; orders, hand-overs and earnings will stand here.
pub const GATED_ACTS: &[(&str, seasons::policy::GateName)] = &[];
