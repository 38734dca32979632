//! Who of a unit's people signs in, and by which address.

use crate::accounts::rules::email_key;
use crate::auth::Tx;
use crate::common::ids::{PersonId, UnitId};
use crate::error::ApiError;

/// Whether somebody signs in as this person.
///
/// # Errors
/// Database faults.
pub async fn has_account(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!(
        "select account_id from membership where unit_id = $1 and person_id = $2",
        unit.0,
        person.0
    );
    Ok(found.fetch_optional(tx.db()).await?.is_some())
}

/// Somebody else of the unit who signs in with this address, or is invited to it: an account is one person of a unit.
///
/// # Errors
/// Database faults.
pub async fn address_of_another(
    tx: &mut Tx,
    unit: UnitId,
    person: PersonId,
    email: &str,
) -> Result<Option<PersonId>, ApiError> {
    let (key, now) = (email_key(email), tx.real_now());
    let found = sqlx::query_scalar!(
        r#"select m.person_id as "person_id!" from membership m join account a using (account_id)
           where m.unit_id = $1 and m.person_id <> $2 and a.email_key = $3
           union all
           select i.person_id from invitation i
           where i.unit_id = $1 and i.person_id <> $2 and lower(trim(i.email)) = $3
             and i.accepted_at is null and i.voided_at is null and i.expires_at > $4
           limit 1"#,
        unit.0,
        person.0,
        key,
        now
    );
    Ok(found.fetch_optional(tx.db()).await?.map(PersonId))
}

/// Ends a person's open invitations: whoever reads the old address must not be able to take the place (R10).
///
/// # Errors
/// Database faults.
pub async fn void_invitations(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update invitation set voided_at = $3
         where unit_id = $1 and person_id = $2 and accepted_at is null and voided_at is null",
        unit.0,
        person.0,
        now
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Whether anybody of the unit can sign in.
pub(in crate::accounts) async fn has_any_account(tx: &mut Tx, unit: UnitId) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!("select account_id from membership where unit_id = $1 limit 1", unit.0);
    Ok(found.fetch_optional(tx.db()).await?.is_some())
}

/// The unit's first manager, with the address.
pub(in crate::accounts) async fn first_manager(
    tx: &mut Tx,
    unit: UnitId,
) -> Result<Option<(PersonId, String)>, ApiError> {
    let row = sqlx::query!(
        r#"select g.person_id, c.email as "email!" from role_grant g
           join person_contact c on c.unit_id = g.unit_id and c.person_id = g.person_id
           where g.unit_id = $1 and g.role = 'unit_manager' and g.ended_at is null and c.email is not null
           order by g.from_at, g.grant_id limit 1"#,
        unit.0
    );
    Ok(row.fetch_optional(tx.db()).await?.map(|row| (PersonId(row.person_id), row.email)))
}
