//! One person.

use actix_web::get;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::other_rows;
use super::sql::people::{self, PersonRow};
use crate::auth::Permit;
use crate::auth::permission::{PeopleRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::common::ids::{PersonId, UnitId};
use crate::error::{ApiError, Code, FieldError, Problems};

/// Which person.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct PersonPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
    /// The person.
    #[param(value_type = uuid::Uuid)]
    pub(super) person_id: PersonId,
}

/// A person of the unit. Contact details stand apart (`find_contact`).
#[derive(Debug, Serialize, ToSchema)]
pub struct Person {
    /// Who.
    pub person_id: PersonId,
    /// First name.
    #[schema(max_length = 80, example = "Yesenia")]
    pub first_name: String,
    /// Last name; empty for somebody who has one name.
    #[schema(max_length = 80, example = "Bergqvist")]
    pub last_name: String,
    /// Head office's membership number; null if it is not known.
    #[schema(required = true, max_length = 40)]
    pub membership_number: Option<String>,
    /// The day on which the person left the unit; null for those who are there.
    #[schema(required = true)]
    pub left_on: Option<NaiveDate>,
    /// The version of these fields.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl From<PersonRow> for Person {
    fn from(row: PersonRow) -> Self {
        let PersonRow { person_id, first_name, last_name, membership_number, left_on, version } = row;
        let (person_id, etag) = (PersonId(person_id), etag(version));
        Self { person_id, first_name, last_name, membership_number, left_on, etag }
    }
}

/// Show a person.
///
/// The id of a row that was made one with another (`merge_person`) is not found any more: the answer names the one that stayed.
#[utoipa::path(tag = "roster", params(PersonPath), extensions(("x-permission" = json!(PeopleRead::NAME))), responses((status = 200, description = "The person.", body = Person), Problems))]
#[get("/v1/units/{unit_id}/people/{person_id}")]
pub async fn find_person(permit: Permit<PeopleRead>, path: Path<PersonPath>) -> Result<Answer<Person>, ApiError> {
    let mut tx = permit.tx()?;
    let row = match people::reach(&mut tx, &permit, path.person_id).await {
        Err(error) if error.code() == Some(Code::NotFound) => {
            let into = other_rows::went_into(&mut tx, &permit, path.person_id).await?.ok_or(error)?;
            let detail = format!(
                "This row was made one with another (merge_person), since both were the same person. The one that stayed is {into}."
            );
            return Err(ApiError::new(Code::NotFound)
                .detail(detail)
                .errors(vec![FieldError::matter("merged_into", into.to_string())]));
        }
        found => found?,
    };
    let version = row.version;
    Ok(Answer::new(&Person::from(row))?.version(version))
}
