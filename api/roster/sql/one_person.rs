//! Every query by which two rows become one person.

use chrono::{DateTime, Utc};

use crate::auth::permission::PeopleChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::{SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};
use crate::one_person::OnePerson;

/// Every troop's season in which one of two people has or had a place.
pub(in crate::roster) async fn places(
    tx: &mut Tx,
    unit: UnitId,
    one: &OnePerson,
) -> Result<Vec<(SeasonId, TroopId)>, ApiError> {
    let rows = sqlx::query!(
        "select distinct season_id, troop_id from assignment where unit_id = $1 and person_id in ($2, $3)
         order by season_id, troop_id",
        unit.0,
        one.from.0,
        one.into.0
    );
    let rows = rows.fetch_all(tx.db()).await?;
    Ok(rows.into_iter().map(|row| (SeasonId(row.season_id), TroopId(row.troop_id))).collect())
}

/// The numbers of troops that both coordinate at once: one of the two has to stand down first.
pub(in crate::roster) async fn both_in(tx: &mut Tx, unit: UnitId, one: &OnePerson) -> Result<Vec<String>, ApiError> {
    let numbers = sqlx::query_scalar!(
        "select distinct t.number from assignment a
         join assignment b on b.unit_id = a.unit_id and b.season_id = a.season_id and b.troop_id = a.troop_id
         join troop t on t.unit_id = a.unit_id and t.troop_id = a.troop_id
         where a.unit_id = $1 and a.person_id = $2 and b.person_id = $3 and a.ended_at is null and b.ended_at is null
           and a.confirmed_at is not null and b.confirmed_at is not null
         order by 1",
        unit.0,
        one.from.0,
        one.into.0
    );
    Ok(numbers.fetch_all(tx.db()).await?)
}

/// Whether a role would pass from one account to another: both rows can sign in, and the one that goes has a role.
pub(in crate::roster) async fn roles_change_hands(
    tx: &mut Tx,
    unit: UnitId,
    one: &OnePerson,
) -> Result<bool, ApiError> {
    let now = tx.now();
    let found = sqlx::query_scalar!(
        r#"select exists (select from membership where unit_id = $1 and person_id = $2)
              and exists (select from membership where unit_id = $1 and person_id = $3)
              and exists (select from role_grant where unit_id = $1 and person_id = $2 and ended_at is null
                          and (until_at is null or until_at > $4)) as "yes!""#,
        unit.0,
        one.from.0,
        one.into.0,
        now
    );
    Ok(found.fetch_one(tx.db()).await?)
}

/// Declines what a list proposes for one of two people who are one, where the other has the place or its proposal too.
pub(in crate::roster) async fn decline_doubles(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    one: &OnePerson,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    sqlx::query!(
        "update assignment a set declined_at = $4, version = a.version + 1, log_seq = $5
         from assignment b
         where b.unit_id = a.unit_id and b.season_id = a.season_id and b.troop_id = a.troop_id and a.unit_id = $1
           and ((a.person_id = $2 and b.person_id = $3) or (a.person_id = $3 and b.person_id = $2 and b.confirmed_at is not null))
           and a.confirmed_at is null and a.ended_at is null and a.declined_at is null
           and b.ended_at is null and b.declined_at is null",
        by.unit()?.0,
        one.from.0,
        one.into.0,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Assignments, roles and mail of one row become the other's.
pub(in crate::roster) async fn hand_over(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    one: &OnePerson,
    (at, log_seq): (DateTime<Utc>, i64),
) -> Result<(), ApiError> {
    let (unit, from, into) = (by.unit()?.0, one.from.0, one.into.0);
    sqlx::query!(
        "update assignment set person_id = $3, version = version + 1, log_seq = $4 where unit_id = $1 and person_id = $2",
        unit,
        from,
        into,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("assignment_person_once", Code::AlreadyAssigned)?;
    // Of two grants of one role at one time the one that lasts longer is left, so that ending it ends the role.
    sqlx::query!(
        "update role_grant a set ended_at = $4, log_seq = $5
         from role_grant b
         where b.unit_id = a.unit_id and b.role = a.role and a.unit_id = $1 and a.ended_at is null and b.ended_at is null
           and (a.until_at is null or a.until_at > $4) and (b.until_at is null or b.until_at > $4)
           and ((a.person_id = $2 and b.person_id = $3
                 and coalesce(a.until_at, 'infinity') <= coalesce(b.until_at, 'infinity'))
             or (a.person_id = $3 and b.person_id = $2
                 and coalesce(a.until_at, 'infinity') < coalesce(b.until_at, 'infinity')))",
        unit,
        from,
        into,
        at,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update role_grant set person_id = $3, log_seq = $4 where unit_id = $1 and person_id = $2",
        unit,
        from,
        into,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Duties in troops and contact details of one row become the other's, where the other has none of its own.
pub(in crate::roster) async fn hand_over_contacts(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    one: &OnePerson,
    log_seq: i64,
) -> Result<(), ApiError> {
    let (unit, from, into) = (by.unit()?.0, one.from.0, one.into.0);
    sqlx::query!(
        "update troop_contact a set ended_at = null, log_seq = $4
         from troop_contact b
         where b.unit_id = a.unit_id and b.troop_id = a.troop_id and b.duty = a.duty and a.unit_id = $1
           and a.person_id = $3 and b.person_id = $2 and b.ended_at is null",
        unit,
        from,
        into,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update troop_contact a set person_id = $3, log_seq = $4
         where unit_id = $1 and person_id = $2 and not exists (select from troop_contact b
             where b.unit_id = a.unit_id and b.troop_id = a.troop_id and b.duty = a.duty and b.person_id = $3)",
        unit,
        from,
        into,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "insert into person_contact (unit_id, person_id, email, email_key, phone, language, version, log_seq)
         select unit_id, $3, email, email_key, phone, language, 1, $4 from person_contact where unit_id = $1 and person_id = $2
         on conflict (unit_id, person_id) do update
         set email = coalesce(person_contact.email, excluded.email),
             email_key = coalesce(person_contact.email_key, excluded.email_key),
             phone = coalesce(person_contact.phone, excluded.phone),
             language = coalesce(person_contact.language, excluded.language),
             version = person_contact.version + 1, log_seq = $4",
        unit,
        from,
        into,
        log_seq
    )
    .execute(tx.db())
    .await?;
    sqlx::query!(
        "update person_contact set email = null, email_key = null, phone = null, version = version + 1, log_seq = $3
         where unit_id = $1 and person_id = $2",
        unit,
        from,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Puts one row out of use: from now on the other one is meant.
pub(in crate::roster) async fn retire(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    one: &OnePerson,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person set membership_number = null, merged_into = $3, version = version + 1, log_seq = $4
         where unit_id = $1 and (person_id = $2 or merged_into = $2)",
        by.unit()?.0,
        one.from.0,
        one.into.0,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
