//! Every query about what a list made of the roster: whether it has been used since, and undoing it.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::UnitId;
use crate::error::ApiError;

/// Holds proposals, in the order of their ids, so that nobody confirms one meanwhile.
pub(in crate::roster) async fn hold_proposals(tx: &mut Tx, unit: UnitId, proposals: &[Uuid]) -> Result<(), ApiError> {
    sqlx::query_scalar!(
        "select assignment_id from assignment where unit_id = $1 and assignment_id = any ($2) order by assignment_id for update",
        unit.0,
        proposals
    )
    .fetch_all(tx.db())
    .await?;
    Ok(())
}

/// Takes proposals back that nobody has confirmed or declined; the same place may be proposed anew.
pub(in crate::roster) async fn withdraw_proposals(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    proposals: &[Uuid],
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment set declined_at = $3, withdrawn_at = $3, version = version + 1, log_seq = $4
         where unit_id = $1 and assignment_id = any ($2) and confirmed_at is null and declined_at is null and ended_at is null",
        by.unit()?.0,
        proposals,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Empties membership numbers that are still what a list filled in, told by their digests.
pub(in crate::roster) async fn empty_numbers(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    (people, digests): (&[Uuid], &[String]),
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person set membership_number = null, version = version + 1, log_seq = $4
         from unnest($2::uuid[], $3::text[]) as filled (person_id, digest)
         where unit_id = $1 and person.person_id = filled.person_id
           and encode(sha256(convert_to(membership_number, 'UTF8')), 'hex') = filled.digest",
        by.unit()?.0,
        people,
        digests,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Empties addresses that are still what a list filled in.
pub(in crate::roster) async fn empty_emails(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    (people, digests): (&[Uuid], &[String]),
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person_contact set email = null, email_key = null, version = version + 1, log_seq = $4
         from unnest($2::uuid[], $3::text[]) as filled (person_id, digest)
         where unit_id = $1 and person_contact.person_id = filled.person_id
           and encode(sha256(convert_to(email, 'UTF8')), 'hex') = filled.digest",
        by.unit()?.0,
        people,
        digests,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Empties phone numbers that are still what a list filled in.
pub(in crate::roster) async fn empty_phones(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    (people, digests): (&[Uuid], &[String]),
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person_contact set phone = null, version = version + 1, log_seq = $4
         from unnest($2::uuid[], $3::text[]) as filled (person_id, digest)
         where unit_id = $1 and person_contact.person_id = filled.person_id
           and encode(sha256(convert_to(phone, 'UTF8')), 'hex') = filled.digest",
        by.unit()?.0,
        people,
        digests,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// How people whom a list made known, and places that it proposed, are used now.
pub(in crate::roster) struct UseRow {
    pub person_id: Uuid,
    pub first_name: String,
    pub last_name: String,
    pub what: String,
    /// The assignment, the grant, or the troop of a contact.
    pub id: Option<Uuid>,
    pub duty: Option<String>,
    pub ends_at: Option<DateTime<Utc>>,
}

/// What has ended since is no use any more, except a place that was confirmed: it stays on record.
pub(in crate::roster) async fn uses(
    tx: &mut Tx,
    unit: UnitId,
    (people, proposals): (&[Uuid], &[Uuid]),
    (now, real_now): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<UseRow>, ApiError> {
    let rows = sqlx::query_as!(
        UseRow,
        r#"select p.person_id, p.first_name, p.last_name, used.what as "what!", used.id as "id?", used.duty as "duty?",
               used.ends_at as "ends_at?"
           from (
               select person_id, 'confirmed' as what, assignment_id as id, null::text as duty, null::timestamptz as ends_at
               from assignment where unit_id = $1 and assignment_id = any ($3) and confirmed_at is not null
               union select person_id, 'named', assignment_id, null, null from assignment
               where unit_id = $1 and person_id = any ($2) and confirmed_at is not null and not assignment_id = any ($3)
               union select person_id, 'account', null, null, null from membership where unit_id = $1 and person_id = any ($2)
               union select person_id, 'invited', null, null, max(expires_at) from invitation
               where unit_id = $1 and person_id = any ($2) and accepted_at is null and voided_at is null and expires_at > $5
               group by person_id
               union select person_id, 'role', grant_id, null, null from role_grant
               where unit_id = $1 and person_id = any ($2) and ended_at is null and (until_at is null or until_at > $4)
               union select person_id, 'contact', troop_id, duty, null from troop_contact
               where unit_id = $1 and person_id = any ($2) and ended_at is null
           ) used join person p on p.unit_id = $1 and p.person_id = used.person_id
           order by p.last_name, p.first_name, p.person_id, used.what, used.id"#,
        unit.0,
        people,
        proposals,
        now,
        real_now
    );
    Ok(rows.fetch_all(tx.db()).await?)
}
