//! What needs a person now: how every feature says so.
//!
//! A feature hands over a function ([`crate::Feature::with_needs`]) that looks at the unit and answers with [`Need`]s: what
//! there is to do, why, since when, by when, what is at stake, and the request that settles it. `needs` collects them,
//! adds numbers and names, and puts what matters most first. Nothing here is stored: an item is gone when its cause is.

use std::pin::Pin;

use chrono::{DateTime, Utc};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;

use crate::auth::Tx;
use crate::auth::permission::Permission;
use crate::common::ids::{PersonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::seasons::ThisSeason;
use crate::seasons::calendar::Calendar;
use crate::seasons::policy::GateName;

/// What a feature is told when it is asked.
#[derive(Clone, Debug)]
pub struct Asked {
    /// The unit.
    pub unit: UnitId,
    /// The season.
    pub season: ThisSeason,
    /// Its calendar.
    pub calendar: Calendar,
    /// The season's clock.
    pub now: DateTime<Utc>,
    /// Whether the reader may see that a screening was not met; without it, standings are masked first.
    pub sees_screenings: bool,
    /// How far ahead is looked: what is due later is not asked for yet.
    pub ahead_until: DateTime<Utc>,
}

impl Asked {
    /// An address in the unit: `path("returns")`.
    #[must_use]
    pub fn path(&self, below: impl std::fmt::Display) -> String {
        format!("/v1/units/{}/{below}", self.unit)
    }
}

/// What a feature's look at the unit gives.
pub type Found<'a> = Pin<Box<dyn Future<Output = Result<Vec<Need>, ApiError>> + Send + 'a>>;

/// A feature's look at the unit.
pub type Look = for<'a> fn(&'a mut Tx, &'a Asked) -> Found<'a>;

/// Something that a troop has out and somebody answers for: goods, money, a kit.
#[derive(Clone, Debug)]
pub struct OutWithTroop {
    /// The troop.
    pub troop: TroopId,
    /// What it is, as a sentence names it: "38 packages".
    pub what: String,
    /// Since when.
    pub since_at: Option<DateTime<Utc>>,
    /// Where to look at it.
    pub look: String,
    /// The requests that bring it back.
    pub settle: Vec<Request>,
}

/// What a feature's look at what is out gives.
pub type FoundOut<'a> = Pin<Box<dyn Future<Output = Result<Vec<OutWithTroop>, ApiError>> + Send + 'a>>;

/// A feature's look at what troops have out.
pub type LookOut = for<'a> fn(&'a mut Tx, &'a Asked) -> FoundOut<'a>;

/// One thing that needs a person.
#[derive(Clone, Debug)]
pub struct Need {
    /// What it is.
    pub kind: NeedKind,
    /// Which one, in the feature's own words; with the kind it is the item's lasting name.
    pub key: String,
    /// What there is to do, in a sentence. In it and in `why`, `{troops}` becomes the troops' numbers, and `{who}` the
    /// person's name for a reader who may see people and "the coordinator" for others; `{who}` without a person is "the
    /// troop".
    pub what: String,
    /// Why, in a sentence.
    pub why: String,
    /// Since when it has been so, where that is known.
    pub since_at: Option<DateTime<Utc>>,
    /// By when it must be done, where there is such an instant.
    pub by_at: Option<DateTime<Utc>>,
    /// What is lost if nobody does it.
    pub stake: Stake,
    /// The troops it is about.
    pub troops: Vec<TroopId>,
    /// The person it is about.
    pub person: Option<PersonId>,
    /// Where to look before deciding.
    pub look: Option<String>,
    /// The requests of which any one settles it, the usual one first.
    pub settle: Vec<Request>,
}

/// What is at stake.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Stake {
    /// Something is out that nobody answers for.
    Alarm,
    /// A list waits: until it counts, other lines may be about things long done.
    Behind,
    /// These gates: shut by it now, or shut by it from a milestone on.
    Gates {
        /// Those that it holds shut now.
        shut: Vec<GateName>,
        /// Whether one will be shut by it from a milestone on.
        ahead: bool,
    },
    /// Whatever hangs on the coordinator of its troop, for one without; nothing for a troop that has one.
    Vacancy,
    /// A date alone.
    Date,
    /// Nobody is held up by it yet.
    Nobody,
}

/// A request that settles something.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Request {
    /// Its method.
    pub method: NeedMethod,
    /// Its path.
    pub path: String,
    /// Its body as far as it is known; none where there is none, or it is a file.
    pub body: Option<Value>,
    /// What the sender still has to add: JSON pointers into the body, or `?name` for a parameter of the query.
    pub fill_in: Vec<&'static str>,
    /// The permission that it asks for.
    pub permission: &'static str,
}

impl Request {
    /// A POST that asks for the permission `P`.
    #[must_use]
    pub fn post<P: Permission>(path: String, body: Value) -> Self {
        Self { method: NeedMethod::Post, path, body: Some(body), fill_in: Vec::new(), permission: P::NAME }
    }

    /// A POST without a body that asks for the permission `P`.
    #[must_use]
    pub fn bare<P: Permission>(path: String) -> Self {
        Self { method: NeedMethod::Post, path, body: None, fill_in: Vec::new(), permission: P::NAME }
    }

    /// An upload of a list of this kind, whose body is the file.
    #[must_use]
    pub fn upload<P: Permission>(asked: &Asked, kind: &str) -> Self {
        let path = asked.path(format_args!("intakes?kind={kind}"));
        let fill_in = vec!["?file_name", "?listed_on"];
        Self { method: NeedMethod::Post, path, body: None, fill_in, permission: P::NAME }
    }

    /// With something that the sender still has to add.
    #[must_use]
    pub fn fill_in(mut self, place: &'static str) -> Self {
        self.fill_in.push(place);
        self
    }
}

/// How a request is sent. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
pub enum NeedMethod {
    /// POST.
    #[serde(rename = "POST")]
    Post,
}

/// The kinds of things that need a person. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum NeedKind {
    /// A message did not arrive.
    MendAddress,
    /// Messages wait as drafts.
    SendDrafts,
    /// A list could not be read.
    ReplaceList,
    /// A workbook waits to be told which of its sheets is the list.
    ChooseSheet,
    /// A list waits to be told which column is which.
    ChooseColumns,
    /// Rows of a list wait for a decision.
    ResolveRows,
    /// A list is ready to be applied.
    ApplyList,
    /// The newest list of a kind is older than such lists usually are.
    UploadList,
    /// Somebody is proposed as coordinator.
    ConfirmCoordinator,
    /// A troop has no coordinator.
    FindCoordinator,
    /// A troop has coordinators but no lead, and the policy counts the lead.
    NameLead,
    /// Somebody can be appointed.
    AppointCoordinator,
    /// A suspended coordinator has everything in order.
    RestoreCoordinator,
    /// An appointed coordinator has lapsed.
    CloseRequirement,
    /// A coordinator has reported something that the unit manager can confirm.
    CheckReport,
    /// Something holds now and will not before a milestone.
    RenewRequirement,
    /// A season return is to be filed.
    FileReturn,
    /// A filed return was not sent, or nobody said so.
    SendReturn,
    /// Something is to be repeated in head office's system.
    OutsideStep,
    /// A troop that nobody coordinates has something out.
    VacantWithOut,
    /// A requirement is open for coordinators or troops on their way.
    ChaseRequirement,
    /// A coordinator's place ends on a day that is known.
    FindSuccessor,
    /// A leave by which a troop passes a gate ends.
    LeaveEnds,
    /// A leave was given to a troop that somebody else coordinates now.
    LookAtLeave,
    /// A waiver waits for a second person.
    AgreeToWaiver,
    /// An override waits for a second person.
    AgreeToOverride,
    /// A program outside that was told what is done is told nothing any more, since nothing arrived.
    ResumeWebhook,
}

impl NeedKind {
    /// The kind's name, as it is sent.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::MendAddress => "mend_address",
            Self::SendDrafts => "send_drafts",
            Self::ReplaceList => "replace_list",
            Self::ChooseSheet => "choose_sheet",
            Self::ChooseColumns => "choose_columns",
            Self::ResolveRows => "resolve_rows",
            Self::ApplyList => "apply_list",
            Self::UploadList => "upload_list",
            Self::ConfirmCoordinator => "confirm_coordinator",
            Self::FindCoordinator => "find_coordinator",
            Self::NameLead => "name_lead",
            Self::AppointCoordinator => "appoint_coordinator",
            Self::RestoreCoordinator => "restore_coordinator",
            Self::CloseRequirement => "close_requirement",
            Self::CheckReport => "check_report",
            Self::RenewRequirement => "renew_requirement",
            Self::FileReturn => "file_return",
            Self::SendReturn => "send_return",
            Self::OutsideStep => "outside_step",
            Self::VacantWithOut => "vacant_with_out",
            Self::ChaseRequirement => "chase_requirement",
            Self::FindSuccessor => "find_successor",
            Self::LeaveEnds => "leave_ends",
            Self::LookAtLeave => "look_at_leave",
            Self::AgreeToWaiver => "agree_to_waiver",
            Self::AgreeToOverride => "agree_to_override",
            Self::ResumeWebhook => "resume_webhook",
        }
    }
}
