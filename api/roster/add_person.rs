//! Add a person to the unit.

use actix_web::post;
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::change_contact::contact_faults;
use super::find_person::Person;
use super::list_troops::RosterPath;
use super::sql::other_rows;
use super::sql::people::{self, ContactRow, PersonRow};
use crate::accounts::email_key;
use crate::auth::permission::{ContactsChange, PeopleChange, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Created;
use crate::common::body::{Json, Path};
use crate::common::ids::PersonId;
use crate::common::{fold, text};
use crate::error::{ApiError, Code, FieldError, Problems};

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
    /// E-mail address.
    #[garde(inner(length(chars, min = 3, max = 254), custom(text::line)))]
    #[schema(min_length = 3, max_length = 254)]
    email: Option<String>,
    /// Telephone number.
    #[garde(inner(length(chars, min = 3, max = 40), custom(text::line)))]
    #[schema(min_length = 3, max_length = 40)]
    phone: Option<String>,
    /// True adds somebody who has the same name as a person of the unit and is another one.
    #[garde(skip)]
    #[serde(default)]
    #[schema(default = false)]
    another_person: bool,
}

/// Add a person to the unit.
///
/// It gives the person nothing yet: no role, no troop, no account. A name that somebody has already is asked about, so that
/// nobody gets two rows by mistake; accents and capitals make no difference. E-mail and phone change with `change_contact`.
#[utoipa::path(tag = "roster", params(RosterPath), request_body = NewPerson, extensions(("x-permission" = json!(PeopleChange::NAME))), responses((status = 201, description = "The person.", body = Person), Problems))]
#[post("/v1/units/{unit_id}/people")]
pub async fn add_person(
    permit: Permit<PeopleChange>,
    _path: Path<RosterPath>,
    body: Json<NewPerson>,
) -> Result<Created<Person>, ApiError> {
    let new = body.0;
    let faults = contact_faults(new.email.as_deref(), new.phone.as_deref());
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let reached = new.email.is_some() || new.phone.is_some();
    if reached {
        permit.also::<ContactsChange>()?;
    }
    let unit = permit.unit()?;
    let mut tx = permit.tx()?;
    tx.replay().await?;
    if !new.another_person {
        nobody_of_this_name(&mut tx, &permit, &new).await?;
    }
    let person = PersonId::new();
    let row = PersonRow {
        person_id: person.0,
        first_name: new.first_name.trim().to_owned(),
        last_name: new.last_name.trim().to_owned(),
        membership_number: new.membership_number.map(|number| number.trim().to_owned()),
        left_on: None,
        version: 1,
    };
    other_rows::number_is_free(&mut tx, &permit, &row).await?;
    let log_seq = tx.seq().await?;
    people::insert(&mut tx, &permit, &row, log_seq).await?;
    if reached {
        let trimmed = |text: Option<String>| text.map(|text| text.trim().to_owned());
        let contact = ContactRow { email: trimmed(new.email), phone: trimmed(new.phone), language: None, version: 0 };
        let key = contact.email.as_deref().map(email_key);
        people::keep_contact(&mut tx, &permit, person, &contact, key.as_deref(), log_seq).await?;
    }
    tx.about("person", person);
    let address = format!("/v1/units/{unit}/people/{person}");
    tx.commit_with(Created::new(&Person::from(row))?.version(1).location(address)).await
}

/// Asks about a name that somebody in the unit has already.
async fn nobody_of_this_name(tx: &mut Tx, by: &Permit<PeopleChange>, new: &NewPerson) -> Result<(), ApiError> {
    let key = |first: &str, last: &str| fold::key(&format!("{first} {last}"));
    let wanted = key(&new.first_name, &new.last_name);
    let known = people::names(tx, by).await?;
    let known = known.into_iter().filter(|(_, first, last)| key(first, last) == wanted).take(20);
    let known: Vec<FieldError> = known
        .map(|(person, first, last)| {
            FieldError::matter("known", format!("{}: {person}", format!("{first} {last}").trim()))
        })
        .collect();
    if known.is_empty() { Ok(()) } else { Err(ApiError::new(Code::NameKnown).errors(known)) }
}
