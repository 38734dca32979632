//! Every query by which a person is erased.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::people::PersonRow;
use crate::auth::permission::PeopleErase;
use crate::auth::{Permit, Tx};
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;
use crate::one_person::Erasure;

/// A person and every row that went into it.
pub(in crate::roster) async fn rows_of(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    person: PersonId,
) -> Result<Vec<PersonRow>, ApiError> {
    let rows = sqlx::query_as!(
        PersonRow,
        "select person_id, first_name, last_name, membership_number, left_on, version from person
         where unit_id = $1 and (person_id = $2 or merged_into = $2) order by person_id for no key update",
        by.unit()?.0,
        person.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// First and last names, in small letters, that somebody else in the unit has too.
pub(in crate::roster) async fn namesakes(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    people: &[Uuid],
) -> Result<Vec<(String, String)>, ApiError> {
    let rows = sqlx::query!(
        r#"select distinct lower(other.first_name) as "first!", lower(other.last_name) as "last!"
           from person other join person one on one.unit_id = other.unit_id
                and lower(one.first_name) = lower(other.first_name) and lower(one.last_name) = lower(other.last_name)
           where other.unit_id = $1 and one.person_id = any ($2) and not (other.person_id = any ($2))
             and other.erased_at is null and other.merged_into is null"#,
        by.unit()?.0,
        people
    );
    Ok(rows.fetch_all(tx.db()).await?.into_iter().map(|row| (row.first, row.last)).collect())
}

/// The addresses and phone numbers of these rows that nobody else has: a family's address is the other one's too, and what
/// lists say of that one stays.
pub(in crate::roster) async fn addresses(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    people: &[Uuid],
) -> Result<Vec<String>, ApiError> {
    let texts = sqlx::query_scalar!(
        r#"select lower(one) as "one!" from person_contact, unnest(array[email, email_key, phone]) as one
           where unit_id = $1 and person_id = any ($2) and one is not null
             and not exists (select from person_contact other
                 where other.unit_id = $1 and not (other.person_id = any ($2))
                   and lower(one) in (lower(other.email), other.email_key, lower(other.phone)))"#,
        by.unit()?.0,
        people
    );
    Ok(texts.fetch_all(tx.db()).await?)
}

/// Whether somebody still has something to do here: an assignment, a role or a duty.
pub(in crate::roster) async fn is_busy(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<bool, ApiError> {
    let now = tx.now();
    let found = sqlx::query_scalar!(
        r#"select exists (select from assignment where unit_id = $1 and person_id = $2 and ended_at is null
                 and declined_at is null and (until_at is null or until_at > $3))
               or exists (select from role_grant where unit_id = $1 and person_id = $2 and ended_at is null
                 and (until_at is null or until_at > $3))
               or exists (select from troop_contact where unit_id = $1 and person_id = $2
                 and (ended_at is null or ended_at > $3)) as "busy!""#,
        unit.0,
        person.0,
        now
    );
    Ok(found.fetch_one(tx.db()).await?)
}

/// Takes away names, numbers, addresses, and the words of what was handed over.
pub(in crate::roster) async fn erase(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    let unit = by.unit()?.0;
    sqlx::query!(
        "update person set first_name = 'Erased', last_name = '', membership_number = null, erased_at = $3,
             version = version + 1, log_seq = $4
         where unit_id = $1 and person_id = any ($2)",
        unit,
        &erasure.people,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update person_contact set email = null, email_key = null, phone = null, version = version + 1, log_seq = $3
         where unit_id = $1 and person_id = any ($2)",
        unit,
        &erasure.people,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update take_over t set reason = null, note = null
         where t.unit_id = $1 and (exists (select from assignment a where a.unit_id = $1 and a.person_id = any ($2)
                 and a.assignment_id in (t.from_assignment_id, t.to_assignment_id))
             or exists (select from unnest($3::text[]) as word where position(word in lower(concat_ws(' ', t.reason, t.note))) > 0))",
        unit,
        &erasure.people,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update regrouping r set reason = null
         where r.unit_id = $1
           and exists (select from unnest($2::text[]) as word where position(word in lower(r.reason)) > 0)",
        unit,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
