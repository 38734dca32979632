//! Erase a person.

use actix_web::post;
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::find_person::PersonPath;
use super::sql::people::PersonRow;
use super::sql::{erasure as sql, people};
use crate::auth::permission::{PeopleErase, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::Path;
use crate::common::etag::IfMatch;
use crate::common::ids::PersonId;
use crate::error::{ApiError, Code, Problems};
use crate::one_person::{self, Eraser, Erasure, Work};

/// A person who was erased.
#[derive(Debug, Serialize, ToSchema)]
pub struct ErasedPerson {
    /// The id, which stays in the log and in what was counted.
    pub person_id: PersonId,
    /// When.
    pub erased_at: DateTime<Utc>,
}

/// Erase a person: names, numbers, addresses, the account's link, and every text and file that names the person.
///
/// It cannot be taken back: `If-Match` carries the `etag` of the person, read just before. Facts, dates, counts, numbers and the log stay, under an id that says nothing. Uploaded lists
/// lose the rows that name the person, and their stored file; so do files that the program cannot look into (workbooks,
/// UTF-16), whose rows stay. Where somebody else in the unit has the same name, texts are found by id, number and address
/// only. A person who still has a role, an assignment or a duty leaves first (`record_leaving`).
#[utoipa::path(tag = "roster", params(PersonPath), extensions(("x-permission" = json!(PeopleErase::NAME)), ("x-version-read" = json!(true))), responses((status = 200, description = "Erased.", body = ErasedPerson), Problems))]
#[post("/v1/units/{unit_id}/people/{person_id}/erase")]
pub async fn erase_person(
    permit: Permit<PeopleErase>,
    path: Path<PersonPath>,
    if_match: IfMatch,
) -> Result<Answer<ErasedPerson>, ApiError> {
    let (unit, who) = (permit.unit()?, path.person_id);
    let mut tx = permit.tx()?;
    let row = people::reach(&mut tx, &permit, who).await?;
    let rows = sql::rows_of(&mut tx, &permit, who).await?;
    tx.replay().await?;
    if_match.require(row.version)?;
    if !people::lock(&mut tx, &permit, who).await? {
        let detail = "This person was erased before; nothing is left to erase.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    if sql::is_busy(&mut tx, unit, who).await? {
        let detail = "This person still has a role, an assignment or a duty in a troop. Record the leaving first (record_leaving), then erase.";
        return Err(ApiError::new(Code::WrongState).detail(detail));
    }
    let ids: Vec<_> = rows.iter().map(|row| row.person_id).collect();
    let addresses = sql::addresses(&mut tx, &permit, &ids).await?;
    // A name that somebody else has too is that person's as well: texts are then found by number and address alone.
    let shared = sql::namesakes(&mut tx, &permit, &ids).await?;
    let own_name = |row: &&PersonRow| !shared.contains(&(row.first_name.to_lowercase(), row.last_name.to_lowercase()));
    let words = rows.iter().flat_map(|row| words(row, own_name(&row))).chain(addresses).collect();
    let named = rows.iter().filter(|row| !row.last_name.is_empty()).filter(own_name);
    let (first_names, last_names) =
        named.map(|row| (row.first_name.to_lowercase(), row.last_name.to_lowercase())).unzip();
    let erasure = Erasure { people: ids, words, first_names, last_names };
    tx.seq().await?;
    one_person::erase(&mut tx, &permit, &erasure).await?;
    tx.about("person", who);
    let erased_at = tx.logged_at();
    tx.commit_with(Answer::new(&ErasedPerson { person_id: who, erased_at })?).await
}

/// The words by which a text names somebody: the full name either way round, and the membership number. A first or last
/// name alone is many people's.
fn words(row: &PersonRow, own_name: bool) -> Vec<String> {
    let (first, last) = (row.first_name.to_lowercase(), row.last_name.to_lowercase());
    let names = if last.is_empty() || !own_name {
        Vec::new()
    } else {
        vec![format!("{first} {last}"), format!("{last} {first}"), format!("{last}, {first}")]
    };
    let number = row.membership_number.iter().map(|number| number.to_lowercase()).filter(|number| number.len() > 3);
    names.into_iter().chain(number).collect()
}

/// What the roster itself takes away.
pub(super) const ERASER: Eraser = Eraser {
    columns: &[
        "person.first_name",
        "person.last_name",
        "person.membership_number",
        "person_contact.email",
        "person_contact.email_key",
        "person_contact.phone",
        "take_over.reason",
        "take_over.note",
        "regrouping.reason",
    ],
    erase: |tx, by, erasure| erase(tx, by, erasure),
};

fn erase<'a>(tx: &'a mut Tx, by: &'a Permit<PeopleErase>, erasure: &'a Erasure) -> Work<'a> {
    Box::pin(async move {
        let log_seq = tx.seq().await?;
        let stamp = (tx.logged_at(), log_seq);
        sql::erase(tx, by, erasure, stamp).await
    })
}
