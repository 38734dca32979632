//! Add a person to the unit.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_person::Person;
use super::list_troops::RosterPath;
use super::sql::people::{self, PersonRow};
use crate::auth::Permit;
use crate::auth::permission::{PeopleChange, Permission as _};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::PersonId;
use crate::common::text;
use crate::error::{ApiError, Problems};

/// A person to be added.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"first_name": "Anneliese", "last_name": "Oyelaran", "membership_number": "T-40771"}))]
pub struct NewPerson {
    /// First name.
    #[garde(length(chars, min = 1, max = 80), custom(text::line))]
    #[schema(min_length = 1, max_length = 80)]
    first_name: String,
    /// Last name; may be left out for somebody who has one name.
    #[garde(length(chars, max = 80), custom(text::one_line))]
    #[serde(default)]
    #[schema(max_length = 80)]
    last_name: String,
    /// Head office's membership number, if it is known.
    #[garde(inner(length(chars, min = 1, max = 40), custom(text::line)))]
    #[schema(min_length = 1, max_length = 40)]
    membership_number: Option<String>,
}

/// Add a person to the unit.
///
/// It gives the person nothing yet: no role, no troop, no account. E-mail and phone are entered with `change_contact`.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = NewPerson, extensions(("x-permission" = json!(PeopleChange::NAME))), responses((status = 201, description = "The person.", body = Person), Problems))]
#[post("/v1/units/{unit_id}/people")]
pub async fn add_person(
    permit: Permit<PeopleChange>,
    _path: Path<RosterPath>,
    body: Json<NewPerson>,
) -> Result<Created<Person>, ApiError> {
    let new = body.0;
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    tx.replay().await?;
    let person = PersonId::new();
    let row = PersonRow {
        person_id: person.0,
        first_name: new.first_name.trim().to_owned(),
        last_name: new.last_name.trim().to_owned(),
        membership_number: new.membership_number.map(|number| number.trim().to_owned()),
        left_on: None,
        version: 1,
    };
    let log_seq = tx.seq().await?;
    people::insert(&mut tx, &permit, &row, log_seq).await?;
    tx.about("person", person);
    let address = format!("/v1/units/{unit}/people/{person}");
    tx.commit_with(Created::new(&Person::from(row))?.version(1).location(address)).await
}
