//! A person's contact details.

use actix_web::get;
use serde::Serialize;
use utoipa::ToSchema;

use super::find_person::PersonPath;
use super::sql::people::{self, ContactRow};
use crate::auth::Permit;
use crate::auth::permission::{ContactsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::etag;
use crate::common::ids::PersonId;
use crate::error::{ApiError, Problems};

/// How to reach a person.
#[derive(Debug, Serialize, ToSchema)]
pub struct Contact {
    /// Who.
    pub person_id: PersonId,
    /// E-mail address; null if none is known. Spouses may share one.
    #[schema(required = true, max_length = 254, example = "yesenia.bergqvist@example.org")]
    pub email: Option<String>,
    /// Phone number; null if none is known.
    #[schema(required = true, max_length = 40, example = "+1 555 0108")]
    pub phone: Option<String>,
    /// The language in which the person is written to (ISO 639); null: the unit's.
    #[schema(required = true, max_length = 3, example = "en")]
    pub language: Option<String>,
    /// The version of these fields; `"v0"` while none were entered.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

impl Contact {
    pub(super) fn of(person_id: PersonId, row: ContactRow) -> Self {
        let ContactRow { email, phone, language, version } = row;
        Self { person_id, email, phone, language, etag: etag(version) }
    }
}

/// Show how to reach a person.
#[utoipa::path(tag = "roster", params(PersonPath), extensions(("x-permission" = json!(ContactsRead::NAME))), responses((status = 200, description = "The contact details.", body = Contact), Problems))]
#[get("/v1/units/{unit_id}/people/{person_id}/contact")]
pub async fn find_contact(permit: Permit<ContactsRead>, path: Path<PersonPath>) -> Result<Answer<Contact>, ApiError> {
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    people::reach(&mut tx, &permit, path.person_id).await?;
    let row = people::contact(&mut tx, unit, path.person_id).await?;
    let version = row.version;
    Ok(Answer::new(&Contact::of(path.person_id, row))?.version(version))
}
