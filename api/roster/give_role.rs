//! Give a person a role in the unit.

use actix_web::post;
use chrono::{DateTime, SubsecRound as _, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::list_troops::RosterPath;
use super::rules::{self, grant_is_over};
use super::sql::grants::{self, GrantRow, Wanted};
use super::sql::people;
use crate::auth::Permit;
use crate::auth::permission::{GrantsChange, Permission as _};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::{GrantId, PersonId};
use crate::common::text;
use crate::error::{ApiError, Code, Problems};

/// The roles that are given to people. New values may come. A troop coordinator has no such role: the assignment to the
/// troop is the role.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum UnitRole {
    /// Appoints coordinators, watches, files the season return.
    UnitManager,
    /// Hands out printed materials.
    MaterialsCoordinator,
    /// Delivery day and restocking.
    Distributor,
    /// Reads everything, the manager's entries included, and gives the second approval.
    Overseer,
    /// Reads totals and states.
    Viewer,
}

impl UnitRole {
    pub(super) const ALL: [Self; 5] =
        [Self::UnitManager, Self::MaterialsCoordinator, Self::Distributor, Self::Overseer, Self::Viewer];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::UnitManager => "unit_manager",
            Self::MaterialsCoordinator => "materials_coordinator",
            Self::Distributor => "distributor",
            Self::Overseer => "overseer",
            Self::Viewer => "viewer",
        }
    }
}

/// A role to be given.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"person_id": "0198c0de-0000-7000-8000-000000000501", "role": "viewer", "until_at": "2100-01-01T00:00:00Z"}))]
pub struct NewGrant {
    /// To whom.
    #[garde(skip)]
    person_id: PersonId,
    /// Which role.
    #[garde(skip)]
    role: UnitRole,
    /// From when; when left out, from now. Not from an instant that has passed: nobody held a role before it was given.
    #[garde(inner(custom(text::instant)))]
    from_at: Option<DateTime<Utc>>,
    /// Until when, for a deputy; when left out, until somebody ends it.
    #[garde(inner(custom(text::instant)))]
    until_at: Option<DateTime<Utc>>,
}

/// A role that a person holds, will hold or has held.
#[derive(Debug, Serialize, ToSchema)]
pub struct Grant {
    /// Which one.
    pub grant_id: GrantId,
    /// Whose.
    pub person_id: PersonId,
    /// Which role.
    pub role: UnitRole,
    /// From when.
    pub from_at: DateTime<Utc>,
    /// Until when; null if no end is settled.
    #[schema(required = true)]
    pub until_at: Option<DateTime<Utc>>,
    /// When somebody ended it; null otherwise.
    #[schema(required = true)]
    pub ended_at: Option<DateTime<Utc>>,
}

impl TryFrom<GrantRow> for Grant {
    type Error = ApiError;

    fn try_from(row: GrantRow) -> Result<Self, ApiError> {
        let role = UnitRole::ALL.into_iter().find(|role| role.name() == row.role);
        let role = role.ok_or_else(|| ApiError::broken("a grant of an unknown role"))?;
        let GrantRow { grant_id, person_id, from_at, until_at, ended_at, .. } = row;
        Ok(Self { grant_id: GrantId(grant_id), person_id: PersonId(person_id), role, from_at, until_at, ended_at })
    }
}

/// Give a person a role in the unit, from now on or for a time.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = NewGrant, extensions(("x-permission" = json!(GrantsChange::NAME))), responses((status = 201, description = "The grant.", body = Grant), Problems))]
#[post("/v1/units/{unit_id}/grants")]
pub async fn give_role(
    permit: Permit<GrantsChange>,
    _path: Path<RosterPath>,
    body: Json<NewGrant>,
) -> Result<Created<Grant>, ApiError> {
    let new = body.0;
    let (unit, now) = (permit.unit()?, permit.now());
    let from_at = new.from_at.unwrap_or(now).max(now).trunc_subsecs(6);
    let until_at = new.until_at.map(|until| until.trunc_subsecs(6));
    let mut tx = permit.tx()?;
    people::lock_present(&mut tx, &permit, new.person_id).await?;
    tx.replay().await?;
    let faults = [rules::role_from_fault(new.from_at, now), rules::until_fault(from_at, until_at, now)];
    let faults: Vec<_> = faults.into_iter().flatten().collect();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let role = new.role.name();
    let held = Wanted {
        person: Some(new.person_id),
        role: Some(role),
        open_at: Some(now),
        since: None,
        after: None,
        limit: 100,
    };
    let held = grants::list(&mut tx, unit, held).await?;
    if held.iter().any(|held| overlaps(held, from_at, until_at, now)) {
        return Err(Code::RoleHeld.into());
    }
    let grant = GrantId::new();
    let row = GrantRow {
        grant_id: grant.0,
        person_id: new.person_id.0,
        role: role.to_owned(),
        from_at,
        until_at,
        ended_at: None,
    };
    let log_seq = tx.seq().await?;
    grants::insert(&mut tx, &permit, &row, log_seq).await?;
    tx.about("grant", grant);
    tx.about("person", new.person_id);
    let address = format!("/v1/units/{unit}/grants");
    tx.commit_with(Created::new(&Grant::try_from(row)?)?.location(address)).await
}

/// Two grants of one role at one time would let a role live on after "the" grant was ended.
fn overlaps(held: &GrantRow, from_at: DateTime<Utc>, until_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> bool {
    !grant_is_over(held.ended_at, held.until_at, now)
        && held.until_at.is_none_or(|end| from_at < end)
        && until_at.is_none_or(|end| held.from_at < end)
}
