//! The identities of everything: one type a thing, so that a troop's id can never stand where a person's is meant.
//!
//! Every id is a `UUIDv7` made in Rust: unique without a round trip and close together on disk. Ids do **not** say in
//! which order rows were committed; paging and `updated_since` use the unit's log instead (see `common::log`).

use serde::{Deserialize, Serialize};
use uuid::Uuid;

macro_rules! ids {
    ($($(#[$doc:meta])* $name:ident)*) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, sqlx::Type, utoipa::ToSchema)]
        #[serde(transparent)]
        #[sqlx(transparent)]
        #[schema(value_type = Uuid)]
        pub struct $name(pub Uuid);

        impl $name {
            /// A new id, later than every id made before it in this process.
            #[must_use]
            pub fn new() -> Self {
                Self(Uuid::now_v7())
            }
        }

        impl Default for $name {
            fn default() -> Self {
                Self::new()
            }
        }

        impl std::fmt::Display for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                self.0.fmt(f)
            }
        }

        impl std::fmt::Debug for $name {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!(stringify!($name), "({})"), self.0)
            }
        }
    )*};
}

ids! {
    /// An account: somebody who can sign in to this server.
    AccountId
    /// A signed-in session of an account.
    SessionId
    /// A key with which a script acts for an account.
    KeyId
    /// An invitation to take up a person's place in a unit.
    InvitationId
    /// One local unit: the tenant.
    UnitId
    /// A message to a person of a unit.
    MessageId
    /// One season of a unit.
    SeasonId
    /// A dated milestone of a season.
    MilestoneId
    /// A troop, which lasts over seasons.
    TroopId
    /// A person of a unit.
    PersonId
    /// A role given to a person for a time.
    GrantId
    /// A person's place as coordinator of a troop in a season.
    AssignmentId
    /// One coordinator taking over from another.
    TakeOverId
    /// Two troops becoming one, or one becoming two.
    RegroupingId
    /// One immutable fact about a requirement.
    EvidenceId
    /// One decision (appoint, suspend, ...).
    DecisionId
    /// A waiver of a requirement.
    WaiverId
    /// An override of a gate for one troop.
    OverrideId
    /// One uploaded list on its way in.
    IntakeId
    /// One row of an uploaded list.
    IntakeRowId
    /// A filed season return.
    ReturnId
    /// An address outside that is told what is done.
    WebhookId
    /// One thing that is told to one address.
    WebhookDeliveryId
    /// A piece of background work.
    JobId
}
