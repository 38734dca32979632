//! Who asks, and how far each of their permissions reaches. Read anew from the database on every request (R07): a role
//! that ended a second ago is gone on the next request.

use chrono::{DateTime, TimeDelta, Utc};
use serde::Deserialize;
use uuid::Uuid;

use super::permission::Permission;
use crate::common::ids::{AccountId, KeyId, PersonId, SessionId, TroopId};

/// By what an actor came in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Principal {
    /// A signed-in session.
    Session(SessionId),
    /// A key for scripts.
    Key(KeyId),
    /// Nobody in particular.
    Public,
    /// The program itself.
    System,
}

/// Which records a permission reaches.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Scope {
    /// The whole unit.
    Unit,
    /// These troops only.
    Troops(Vec<TroopId>),
    /// Nothing: the permission is not held.
    Nothing,
}

impl Scope {
    /// Whether this troop is in reach.
    #[must_use]
    pub fn reaches(&self, troop: TroopId) -> bool {
        match self {
            Self::Unit => true,
            Self::Troops(troops) => troops.contains(&troop),
            Self::Nothing => false,
        }
    }

    /// The troops to filter by in SQL: null for the whole unit (`$1::uuid[] is null or troop_id = any ($1)`).
    #[must_use]
    pub fn troops(&self) -> Option<Vec<Uuid>> {
        match self {
            Self::Unit => None,
            Self::Troops(troops) => Some(troops.iter().map(|troop| troop.0).collect()),
            Self::Nothing => Some(Vec::new()),
        }
    }
}

/// What the database says of whoever asks (`enter` in migrations/0003).
#[derive(Clone, Debug, Deserialize)]
pub struct Entered {
    /// The account.
    pub account_id: AccountId,
    /// Whether it administers the server.
    pub administrator: bool,
    /// The key, if it came by one.
    pub key_id: Option<KeyId>,
    /// The person in the unit; none if the account has no live role there.
    pub person_id: Option<PersonId>,
    /// The live roles in the unit.
    pub roles: Vec<String>,
    /// Permissions over the whole unit.
    pub unit_wide: Vec<String>,
    /// Permissions over the own troops.
    pub own_troops: Vec<String>,
    /// The own troops.
    pub troops: Vec<TroopId>,
    /// What the key was given, if it came by one.
    pub key_permissions: Option<Vec<String>>,
    /// The cluster's clock offset.
    pub offset_seconds: i64,
    /// When whoever signed in last proved to be the account's owner; none for a key.
    pub proved_at: Option<DateTime<Utc>>,
    /// Whether its second factor is on.
    pub second_factor: bool,
    /// Whether it administers the server, or manages or oversees this unit (outside a unit: any).
    pub answers_for_much: bool,
}

/// How long a proof by password or code counts (R05).
pub const PROOF_LASTS: TimeDelta = TimeDelta::minutes(10);

impl Entered {
    /// Whether whoever asks proved lately to be the account's owner; a key never does.
    #[must_use]
    pub fn proven(&self, now: DateTime<Utc>) -> bool {
        self.proved_at.is_some_and(|proved| now.signed_duration_since(proved) <= PROOF_LASTS)
    }
}

/// Who asks.
#[derive(Clone, Debug)]
pub struct Actor {
    /// What the database says.
    pub entered: Entered,
    /// By what.
    pub principal: Principal,
    /// The season's clock at this request.
    pub now: DateTime<Utc>,
    /// The real clock at this request.
    pub real_now: DateTime<Utc>,
}

impl Actor {
    /// How far a permission reaches for this actor.
    #[must_use]
    pub fn scope<P: Permission>(&self) -> Scope {
        if P::SERVER {
            return if self.entered.administrator { Scope::Unit } else { Scope::Nothing };
        }
        self.scope_of(P::NAME)
    }

    /// How far the permission of this name, of a role in the unit, reaches for this actor.
    #[must_use]
    pub fn scope_of(&self, name: &str) -> Scope {
        let held = |permissions: &[String]| permissions.iter().any(|held| held == name);
        if let Some(key) = &self.entered.key_permissions
            && !held(key)
        {
            return Scope::Nothing;
        }
        if held(&self.entered.unit_wide) {
            Scope::Unit
        } else if held(&self.entered.own_troops) {
            Scope::Troops(self.entered.troops.clone())
        } else {
            Scope::Nothing
        }
    }

    /// Whether this actor holds a permission of this name over the whole unit, as far as roles go; state may still be
    /// against the act itself. For answers that say what their reader can do next.
    #[must_use]
    pub fn may(&self, name: &str) -> bool {
        let held = |permissions: &[String]| permissions.iter().any(|held| held == name);
        held(&self.entered.unit_wide) && self.entered.key_permissions.as_ref().is_none_or(|key| held(key))
    }

    /// Whether this actor came by a key.
    #[must_use]
    pub fn is_key(&self) -> bool {
        matches!(self.principal, Principal::Key(_))
    }

    /// The name in the log: `account:<id>` or `key:<id>`.
    #[must_use]
    pub fn log_name(&self) -> String {
        match self.principal {
            Principal::Key(key) => format!("key:{key}"),
            _ => format!("account:{}", self.entered.account_id),
        }
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::{Actor, Entered, Principal, Scope};
    use crate::auth::permission::{PolicyChange, StandingsRead, UnitsCreate};
    use crate::common::ids::{AccountId, SessionId, TroopId};

    fn actor(unit_wide: &[&str], own: &[&str], troop: TroopId, key: Option<&[&str]>) -> Actor {
        let list = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect::<Vec<String>>();
        let entered = Entered {
            account_id: AccountId::new(),
            administrator: false,
            key_id: None,
            person_id: None,
            roles: Vec::new(),
            unit_wide: list(unit_wide),
            own_troops: list(own),
            troops: vec![troop],
            key_permissions: key.map(list),
            offset_seconds: 0,
            proved_at: None,
            second_factor: false,
            answers_for_much: false,
        };
        let at = DateTime::from_timestamp(0, 0).unwrap();
        Actor { entered, principal: Principal::Session(SessionId::new()), now: at, real_now: at }
    }

    #[test]
    fn the_wider_of_two_roles_counts_and_a_key_only_narrows() {
        let troop = TroopId::new();
        assert_eq!(actor(&["standings.read"], &["standings.read"], troop, None).scope::<StandingsRead>(), Scope::Unit);
        assert_eq!(actor(&[], &["standings.read"], troop, None).scope::<StandingsRead>(), Scope::Troops(vec![troop]));
        assert_eq!(actor(&["standings.read"], &[], troop, None).scope::<PolicyChange>(), Scope::Nothing);
        assert_eq!(
            actor(&["standings.read"], &[], troop, Some(&["troops.read"])).scope::<StandingsRead>(),
            Scope::Nothing
        );
        assert_eq!(actor(&[], &[], troop, Some(&["standings.read"])).scope::<StandingsRead>(), Scope::Nothing);
        assert_eq!(actor(&["units.create"], &[], troop, None).scope::<UnitsCreate>(), Scope::Nothing);
    }
}
