//! Queries for the other row that somebody means: with whom a row was made one, and who has a membership number.

use uuid::Uuid;

use super::people::{PersonRow, find_within};
use crate::auth::permission::PeopleChange;
use crate::auth::{Permission, Permit, Tx};
use crate::common::ids::PersonId;
use crate::error::{ApiError, Code, FieldError};

/// The person with whom a row was made one, where it was and this permit reads that person: the row that is there today.
pub(in crate::roster) async fn went_into<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
) -> Result<Option<PersonId>, ApiError> {
    let unit = by.unit()?;
    let last = sqlx::query_scalar!(
        r#"with recursive way (person_id, merged_into, step) as (
               select person_id, merged_into, 0 from person where unit_id = $1 and person_id = $2
               union all
               select p.person_id, p.merged_into, way.step + 1 from way join person p
               on p.unit_id = $1 and p.person_id = way.merged_into where way.step < 100
           )
           select person_id as "person_id!" from way where merged_into is null and step > 0"#,
        unit.0,
        person.0
    );
    let Some(last) = last.fetch_optional(tx.db()).await? else { return Ok(None) };
    let seen = find_within(tx, unit, by.read_scope(), by.person()?, PersonId(last)).await?;
    Ok(seen.map(|seen| PersonId(seen.person_id)))
}

/// Who else has this membership number, in whatever spelling, where the asker may read that person.
async fn whose_number(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    row: &PersonRow,
) -> Result<Option<(Uuid, String)>, ApiError> {
    let Some(number) = &row.membership_number else { return Ok(None) };
    let found = sqlx::query!(
        "select person_id, first_name, last_name from person
         where unit_id = $1 and person_id <> $2 and lower(replace(membership_number, ' ', '')) = lower(replace($3, ' ', ''))",
        by.unit()?.0,
        row.person_id,
        number
    );
    let Some(other) = found.fetch_optional(tx.db()).await? else { return Ok(None) };
    let (unit, oneself) = (by.unit()?, by.person()?);
    let seen = find_within(tx, unit, by.read_scope(), oneself, PersonId(other.person_id)).await?;
    Ok(seen.map(|seen| (seen.person_id, format!("{} {}", other.first_name, other.last_name).trim().to_owned())))
}

/// Refuses a membership number that somebody else has, naming that person.
///
/// # Errors
/// 409 with the person.
pub(in crate::roster) async fn number_is_free(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    row: &PersonRow,
) -> Result<(), ApiError> {
    let Some((person, name)) = whose_number(tx, by, row).await? else { return Ok(()) };
    let detail = format!(
        "{name} has this membership number in this unit. If that is the same person, use that row (merge_person makes two rows one); if not, check the number."
    );
    let known = FieldError::matter("known", format!("{name}: {person}"));
    Err(ApiError::new(Code::MembershipNumberTaken).detail(detail).errors(vec![known]))
}
