//! Change a person.

use actix_web::patch;
use chrono::NaiveDate;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_person::{Person, PersonPath};
use super::sql::other_rows;
use super::sql::people::{self, PersonRow};
use crate::auth::Permit;
use crate::auth::permission::{PeopleChange, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::common::text::{self, not_null};
use crate::error::{ApiError, Code, FieldError, Problems};

/// What to change of a person; a field that is left out stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"last_name": "Oyelaran-Voss"}))]
pub struct PersonChange {
    /// First name.
    #[garde(inner(length(chars, min = 1, max = 80), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, min_length = 1, max_length = 80)]
    first_name: Patch<String>,
    /// Last name; may be empty.
    #[garde(inner(length(chars, max = 80), custom(text::one_line)))]
    #[serde(default)]
    #[schema(value_type = String, required = false, max_length = 80)]
    last_name: Patch<String>,
    /// Head office's membership number; null if it is not known.
    #[garde(inner(length(chars, min = 1, max = 40), custom(text::line)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 1, max_length = 40)]
    membership_number: Patch<String>,
    /// Null for somebody who has come back. That somebody leaves is recorded by `record_leaving`, which ends roles and
    /// assignments too.
    #[garde(inner(custom(text::day)))]
    #[serde(default)]
    #[schema(value_type = Option<NaiveDate>)]
    left_on: Patch<NaiveDate>,
}

impl PersonChange {
    fn faults(&self) -> Vec<FieldError> {
        let leaves = self.left_on.value().map(|_| {
            FieldError::at(
                "/left_on",
                "leaving_is_recorded",
                "null, for somebody who is back; leaving is recorded by record_leaving",
            )
        });
        let faults = [not_null("/first_name", &self.first_name), not_null("/last_name", &self.last_name), leaves];
        faults.into_iter().flatten().collect()
    }

    fn apply(&self, row: &mut PersonRow) {
        if let Some(name) = self.first_name.value() {
            name.trim().clone_into(&mut row.first_name);
        }
        if let Some(name) = self.last_name.value() {
            name.trim().clone_into(&mut row.last_name);
        }
        let number = self.membership_number.apply(row.membership_number.take());
        row.membership_number = number.map(|number| number.trim().to_owned());
        row.left_on = self.left_on.apply(row.left_on);
    }

    /// The names of the fields that were sent, for the log.
    fn fields(&self) -> impl Iterator<Item = &'static str> {
        [
            (self.first_name != Patch::Leave, "first_name"),
            (self.last_name != Patch::Leave, "last_name"),
            (self.membership_number != Patch::Leave, "membership_number"),
            (self.left_on != Patch::Leave, "left_on"),
        ]
        .into_iter()
        .filter_map(|(sent, name)| sent.then_some(name))
    }
}

/// Change a person's names, membership number or day of leaving.
#[utoipa::path(tag = "roster", params(PersonPath), request_body = PersonChange, extensions(("x-permission" = json!(PeopleChange::NAME))), responses((status = 200, description = "The person as it is now.", body = Person), Problems))]
#[patch("/v1/units/{unit_id}/people/{person_id}")]
pub async fn change_person(
    permit: Permit<PeopleChange>,
    path: Path<PersonPath>,
    body: Json<PersonChange>,
    if_match: IfMatch,
) -> Result<Answer<Person>, ApiError> {
    let change = body.0;
    let faults = change.faults();
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let mut tx = permit.tx()?;
    people::lock_own(&mut tx, &permit, path.person_id).await?;
    let mut row = people::reach(&mut tx, &permit, path.person_id).await?;
    if_match.require(row.version)?;
    change.apply(&mut row);
    if change.membership_number != Patch::Leave {
        other_rows::number_is_free(&mut tx, &permit, &row).await?;
    }
    let log_seq = tx.seq().await?;
    people::update(&mut tx, &permit, &row, log_seq).await?;
    row.version += 1;
    tx.about("person", path.person_id);
    change.fields().for_each(|field| tx.about("field", field));
    let version = row.version;
    tx.commit_with(Answer::new(&Person::from(row))?.version(version)).await
}
