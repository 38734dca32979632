//! Who am I, and where do I have a place?

use actix_web::get;
use serde::Serialize;
use utoipa::ToSchema;

use super::sql;
use crate::auth::SignedIn;
use crate::common::answer::Answer;
use crate::common::ids::{AccountId, PersonId, UnitId};
use crate::error::{ApiError, Code, Problems};

/// A place in a unit.
#[derive(Debug, Serialize, ToSchema)]
pub struct Place {
    /// The unit.
    pub unit_id: UnitId,
    /// Its name.
    #[schema(max_length = 120, example = "Juniper Ridge")]
    pub unit_name: String,
    /// Who you are there.
    pub person_id: PersonId,
}

/// Who you are on this server.
#[derive(Debug, Serialize, ToSchema)]
pub struct Me {
    /// Your account.
    pub account_id: AccountId,
    /// Its address; null to a key, which has no use for it.
    #[schema(required = true, max_length = 254, example = "imani.castellanos@example.org")]
    pub email: Option<String>,
    /// Whether you administer the server (a key never does).
    pub administrator: bool,
    /// Whether your second factor is on.
    pub second_factor: bool,
    /// How many of your recovery codes were not used yet.
    #[schema(minimum = 0, maximum = 10)]
    pub recovery_codes_left: i64,
    /// The units in which you have a place, to a key the one that it was made for; your roles there are in `find_unit`.
    #[schema(max_items = 1000)]
    pub units: Vec<Place>,
}

/// Say who you are and in which units you have a place.
#[utoipa::path(tag = "accounts", extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "Who you are.", body = Me), Problems))]
#[get("/v1/me")]
pub async fn read_me(signed_in: SignedIn) -> Result<Answer<Me>, ApiError> {
    let mut tx = signed_in.tx()?;
    let entered = &signed_in.actor().entered;
    let email = sql::account_email(&mut tx, entered.account_id).await?.ok_or(Code::NotSignedIn)?;
    let rows = sql::memberships(&mut tx, entered.account_id).await?;
    let recovery_codes_left = sql::second_factor::recovery_left(&mut tx, entered.account_id).await?;
    let only = match entered.key_id {
        Some(key) => sql::keys(&mut tx, (entered.account_id, Some(key)), None, 1).await?.first().map(|row| row.unit_id),
        None => None,
    };
    let by_key = entered.key_id.is_some();
    let units = rows.into_iter().filter(|row| !by_key || Some(row.unit_id) == only).map(|row| Place {
        unit_id: UnitId(row.unit_id),
        unit_name: row.unit_name,
        person_id: PersonId(row.person_id),
    });
    Answer::new(&Me {
        account_id: entered.account_id,
        email: Some(email).filter(|_| !by_key),
        administrator: entered.administrator && !by_key,
        second_factor: entered.second_factor,
        recovery_codes_left,
        units: units.collect(),
    })
}
