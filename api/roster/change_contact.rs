//! Change a person's contact details.

use actix_web::patch;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::find_contact::Contact;
use super::find_person::PersonPath;
use super::rules::phone_fault;
use super::sql::people;
use crate::accounts::{self, email_fault, email_key};
use crate::auth::Permit;
use crate::auth::permission::{ContactsChange, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::mail;

/// What to change of a person's contact details; a field that is left out stays, null takes it away.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"email": "anneliese.oyelaran@example.org", "phone": "+1 555 0142"}))]
pub struct ContactChange {
    /// E-mail address.
    #[garde(inner(length(min = 3, max = 254)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 3, max_length = 254)]
    email: Patch<String>,
    /// Phone number.
    #[garde(inner(length(min = 3, max = 40)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 3, max_length = 40)]
    phone: Patch<String>,
    /// The language in which the person is written to: two or three small letters (ISO 639).
    #[garde(inner(length(min = 2, max = 3)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 2, max_length = 3, pattern = "^[a-z]{2,3}$")]
    language: Patch<String>,
}

/// What is wrong with contact details, if anything.
pub(super) fn contact_faults(email: Option<&str>, phone: Option<&str>) -> Vec<FieldError> {
    let email = email.and_then(|email| email_fault(email.trim()));
    let phone = phone.and_then(phone_fault);
    let faults = [
        email.map(|fault| FieldError::at("/email", "not_an_address", fault)),
        phone.map(|fault| FieldError::at("/phone", "not_a_phone_number", fault)),
    ];
    faults.into_iter().flatten().collect()
}

/// Change how to reach a person.
///
/// A changed e-mail address ends invitations that went to the old one: invite the person again.
#[utoipa::path(tag = "roster", params(PersonPath), request_body = ContactChange, extensions(("x-permission" = json!(ContactsChange::NAME))), responses((status = 200, description = "The contact details as they are now.", body = Contact), Problems))]
#[patch("/v1/units/{unit_id}/people/{person_id}/contact")]
pub async fn change_contact(
    permit: Permit<ContactsChange>,
    path: Path<PersonPath>,
    body: Json<ContactChange>,
    if_match: IfMatch,
) -> Result<Answer<Contact>, ApiError> {
    let change = body.0;
    let mut faults = contact_faults(change.email.value().map(String::as_str), change.phone.value().map(String::as_str));
    if change.language.value().is_some_and(|text| !mail::is_language(text)) {
        faults.push(FieldError::at("/language", "not_a_language", "two or three small letters, such as en or es"));
    }
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let (unit, person) = (permit.unit()?, path.person_id);
    let mut tx = permit.tx()?;
    people::lock_own(&mut tx, &permit, person).await?;
    people::reach(&mut tx, &permit, person).await?;
    let mut row = people::contact(&mut tx, unit, person).await?;
    if_match.require(row.version)?;
    let trimmed = |text: String| text.trim().to_owned();
    let email = change.email.apply(row.email.clone()).map(trimmed);
    let moved = email.as_deref().map(email_key) != row.email.as_deref().map(email_key);
    row.email = email;
    row.phone = change.phone.apply(row.phone.take()).map(trimmed);
    row.language = change.language.apply(row.language.take());
    let log_seq = tx.seq().await?;
    let key = row.email.as_deref().map(email_key);
    people::keep_contact(&mut tx, &permit, person, &row, key.as_deref(), log_seq).await?;
    if moved {
        accounts::void_invitations(&mut tx, unit, person).await?;
    }
    row.version += 1;
    tx.about("person", person);
    for (sent, field) in [
        (change.email != Patch::Leave, "email"),
        (change.phone != Patch::Leave, "phone"),
        (change.language != Patch::Leave, "language"),
    ] {
        if sent {
            tx.about("field", field);
        }
    }
    let version = row.version;
    tx.commit_with(Answer::new(&Contact::of(person, row))?.version(version)).await
}
