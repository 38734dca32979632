//! Every query by which facts follow a person into another row, or lose their words.

use crate::auth::permission::{PeopleChange, PeopleErase};
use crate::auth::{Permit, Tx};
use crate::error::ApiError;
use crate::one_person::{Erasure, OnePerson};

/// The facts of one row become the other's. What they say, and when it was known, stays as it is.
pub(in super::super) async fn hand_over(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    one: &OnePerson,
) -> Result<(), ApiError> {
    let (unit, from, into) = (by.unit()?.0, one.from.0, one.into.0);
    sqlx::query!("update evidence set person_id = $3 where unit_id = $1 and person_id = $2", unit, from, into)
        .execute(tx.db())
        .await?;
    sqlx::query!(
        "update screening_evidence set person_id = $3 where unit_id = $1 and person_id = $2",
        unit,
        from,
        into
    )
    .execute(tx.db())
    .await?;
    sqlx::query!("update waiver set person_id = $3 where unit_id = $1 and person_id = $2", unit, from, into)
        .execute(tx.db())
        .await?;
    Ok(())
}

/// Takes notes and reasons away that are about a person, or name one.
pub(in super::super) async fn erase_words(
    tx: &mut Tx,
    by: &Permit<PeopleErase>,
    erasure: &Erasure,
) -> Result<(), ApiError> {
    let unit = by.unit()?.0;
    sqlx::query!(
        "update evidence set note = null
         where unit_id = $1 and note is not null and (person_id = any ($2)
             or exists (select from unnest($3::text[]) as word where position(word in lower(note)) > 0))",
        unit,
        &erasure.people,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update waiver set reason = 'erased'
         where unit_id = $1 and (person_id = any ($2)
             or exists (select from unnest($3::text[]) as word where position(word in lower(reason)) > 0))",
        unit,
        &erasure.people,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update gate_override set reason = 'erased'
         where unit_id = $1 and exists (select from unnest($2::text[]) as word where position(word in lower(reason)) > 0)",
        unit,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update decision d set reason = null
         where d.unit_id = $1 and d.reason is not null and (exists (select from assignment a where a.unit_id = $1
                 and a.assignment_id = d.assignment_id and a.person_id = any ($2))
             or exists (select from unnest($3::text[]) as word where position(word in lower(d.reason)) > 0))",
        unit,
        &erasure.people,
        &erasure.words
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
