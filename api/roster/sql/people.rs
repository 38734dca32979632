//! Every query of people and their contact details.

use chrono::NaiveDate;
use uuid::Uuid;

use crate::auth::permission::PeopleChange;
use crate::auth::{Permission, Permit, Scope, Tx};
use crate::common::ids::{AccountId, PersonId, UnitId};
use crate::error::{ApiError, Code, FieldError, OnConstraint as _};

#[derive(Clone, Debug)]
pub(in crate::roster) struct PersonRow {
    pub person_id: Uuid,
    pub first_name: String,
    pub last_name: String,
    pub membership_number: Option<String>,
    pub left_on: Option<NaiveDate>,
    pub version: i64,
}

/// A person within a scope. Within own troops: who coordinates them now or later, those proposed, their contacts, and oneself;
/// not who did once.
pub(super) async fn find_within(
    tx: &mut Tx,
    unit: UnitId,
    scope: &Scope,
    oneself: PersonId,
    person: PersonId,
) -> Result<Option<PersonRow>, ApiError> {
    let (within, now) = (scope.troops(), tx.now());
    let row = sqlx::query_as!(
        PersonRow,
        "select p.person_id, p.first_name, p.last_name, p.membership_number, p.left_on, p.version from person p
         where p.unit_id = $1 and p.person_id = $4 and p.merged_into is null and ($2::uuid[] is null or p.person_id = $3
             or exists (select from assignment a join season s using (unit_id, season_id)
                 where a.unit_id = $1 and a.person_id = p.person_id
                 and a.troop_id = any ($2) and a.ended_at is null and a.declined_at is null and (a.until_at is null or a.until_at > $5)
                 and season_gives_reach(s.is_current, s.closed_at, s.ends_on, s.time_zone, $5))
             or exists (select from troop_contact c where c.unit_id = $1 and c.person_id = p.person_id
                 and c.troop_id = any ($2) and (c.ended_at is null or c.ended_at > $5)))",
        unit.0,
        within.as_deref(),
        oneself.0,
        person.0,
        now
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// A person in reach of this permit.
///
/// # Errors
/// 404 if the person cannot be seen, 403 if seen but not to be acted on.
pub(in crate::roster) async fn reach<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
) -> Result<PersonRow, ApiError> {
    let (unit, oneself) = (by.unit()?, by.person()?);
    let row = find_within(tx, unit, by.read_scope(), oneself, person).await?.ok_or(Code::NotFound)?;
    if by.scope() != by.read_scope() && find_within(tx, unit, by.scope(), oneself, person).await?.is_none() {
        return Err(ApiError::new(Code::OutOfScope)
            .detail(format!("Your permission {} does not reach this person. Ask the unit manager.", P::NAME)));
    }
    Ok(row)
}

/// Locks a person who is to be given something in the unit: not one who was erased, went into another row, or has left.
///
/// # Errors
/// 422 at `/person_id`.
pub(in crate::roster) async fn lock_present<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
) -> Result<(), ApiError> {
    let today = tx.now().date_naive();
    let fault = |code: &'static str, expected: &str| {
        let fault = FieldError::at("/person_id", code, expected);
        Err(ApiError::new(Code::UnknownReference).errors(vec![fault]))
    };
    if !lock(tx, by, person).await? {
        return fault("unknown", "the id of a person of this unit (list_people)");
    }
    let left = sqlx::query_scalar!(
        r#"select left_on as "left_on?" from person where unit_id = $1 and person_id = $2"#,
        by.unit()?.0,
        person.0
    );
    match left.fetch_one(tx.db()).await? {
        Some(day) if day <= today => fault(
            "left",
            "somebody who is in the unit: this person has left. If the person is back, clear left_on first (change_person)",
        ),
        _ => Ok(()),
    }
}

/// Locks a person whose own row is to be changed; one who was erased or went into another row is not found.
pub(in crate::roster) async fn lock_own<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
) -> Result<(), ApiError> {
    if lock(tx, by, person).await? { Ok(()) } else { Err(Code::NotFound.into()) }
}

/// Locks a person. What it says is to be read in the next statement.
pub(in crate::roster) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!(
        "select person_id from person
         where unit_id = $1 and person_id = $2 and merged_into is null and erased_at is null for no key update",
        by.unit()?.0,
        person.0
    );
    Ok(found.fetch_optional(tx.db()).await?.is_some())
}

/// Which people are asked for.
#[derive(Clone, Debug)]
pub(in crate::roster) struct Wanted<'a> {
    pub membership_number: Option<&'a str>,
    /// Who signs in with it.
    pub account: Option<AccountId>,
    /// Only those that changed after this number of the log.
    pub since: Option<i64>,
    pub after: Option<PersonId>,
    /// None for all of them, where what was typed has yet to be looked for.
    pub limit: Option<i64>,
}

/// The names of everybody who is there, by id; read to say that a new name is known already.
pub(in crate::roster) async fn names(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
) -> Result<Vec<(Uuid, String, String)>, ApiError> {
    let rows = sqlx::query!(
        "select person_id, first_name, last_name from person
         where unit_id = $1 and merged_into is null and erased_at is null order by person_id",
        by.unit()?.0
    );
    let rows = rows.fetch_all(tx.db()).await?;
    Ok(rows.into_iter().map(|row| (row.person_id, row.first_name, row.last_name)).collect())
}

/// By last name, then first name.
pub(in crate::roster) async fn list(
    tx: &mut Tx,
    unit: UnitId,
    (scope, oneself): (&Scope, PersonId),
    wanted: Wanted<'_>,
) -> Result<Vec<PersonRow>, ApiError> {
    let (within, now) = (scope.troops(), tx.now());
    let rows = sqlx::query_as!(
        PersonRow,
        "select p.person_id, p.first_name, p.last_name, p.membership_number, p.left_on, p.version from person p
         where p.unit_id = $1 and p.merged_into is null and p.erased_at is null and ($2::uuid[] is null or p.person_id = $3
             or exists (select from assignment a join season s using (unit_id, season_id)
                 where a.unit_id = $1 and a.person_id = p.person_id
                 and a.troop_id = any ($2) and a.ended_at is null and a.declined_at is null and (a.until_at is null or a.until_at > $7)
                 and season_gives_reach(s.is_current, s.closed_at, s.ends_on, s.time_zone, $7))
             or exists (select from troop_contact c where c.unit_id = $1 and c.person_id = p.person_id
                 and c.troop_id = any ($2) and (c.ended_at is null or c.ended_at > $7)))
           and ($4::text is null or lower(replace(p.membership_number, ' ', '')) = lower(replace($4, ' ', '')))
           and ($9::uuid is null or exists (select from membership m
                 where m.unit_id = $1 and m.person_id = p.person_id and m.account_id = $9)) and ($8::bigint is null or p.log_seq > $8)
           and ($5::uuid is null or (lower(p.last_name), lower(p.first_name), p.person_id)
               > (select lower(last.last_name), lower(last.first_name), last.person_id from person last
                  where last.unit_id = $1 and last.person_id = $5))
         order by lower(p.last_name), lower(p.first_name), p.person_id limit $6",
        unit.0,
        within.as_deref(),
        oneself.0,
        wanted.membership_number,
        wanted.after.map(|person| person.0),
        wanted.limit,
        now,
        wanted.since,
        wanted.account.map(|account| account.0)
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in crate::roster) async fn insert(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    row: &PersonRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into person (unit_id, person_id, first_name, last_name, membership_number, left_on, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
        by.unit()?.0,
        row.person_id,
        row.first_name,
        row.last_name,
        row.membership_number,
        row.left_on,
        row.version,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("person_membership_number_unique", Code::MembershipNumberTaken)?;
    Ok(())
}

/// Writes the new fields of a person; the version goes up by one.
pub(in crate::roster) async fn update(
    tx: &mut Tx,
    by: &Permit<PeopleChange>,
    row: &PersonRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person set first_name = $3, last_name = $4, membership_number = $5, left_on = $6, version = version + 1,
             log_seq = $7
         where unit_id = $1 and person_id = $2",
        by.unit()?.0,
        row.person_id,
        row.first_name,
        row.last_name,
        row.membership_number,
        row.left_on,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("person_membership_number_unique", Code::MembershipNumberTaken)?;
    Ok(())
}

/// First and last name.
pub(in crate::roster) async fn name(
    tx: &mut Tx,
    unit: UnitId,
    person: PersonId,
) -> Result<Option<(String, String)>, ApiError> {
    let row = sqlx::query!(
        "select first_name, last_name from person where unit_id = $1 and person_id = $2",
        unit.0,
        person.0
    );
    Ok(row.fetch_optional(tx.db()).await?.map(|row| (row.first_name, row.last_name)))
}

/// Contact details; version 0 stands for "none kept yet".
#[derive(Clone, Debug, Default)]
pub(in crate::roster) struct ContactRow {
    pub email: Option<String>,
    pub phone: Option<String>,
    pub language: Option<String>,
    pub version: i64,
}

/// Of a person whom [`reach`] has found.
pub(in crate::roster) async fn contact(tx: &mut Tx, unit: UnitId, person: PersonId) -> Result<ContactRow, ApiError> {
    let row = sqlx::query_as!(
        ContactRow,
        "select email, phone, language, version from person_contact where unit_id = $1 and person_id = $2",
        unit.0,
        person.0
    );
    Ok(row.fetch_optional(tx.db()).await?.unwrap_or_default())
}

/// Writes contact details, new or changed; the version goes up by one.
pub(in crate::roster) async fn keep_contact<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    person: PersonId,
    row: &ContactRow,
    email_key: Option<&str>,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into person_contact (unit_id, person_id, email, email_key, phone, version, log_seq, language)
         values ($1, $2, $3, $4, $5, 1, $6, $7)
         on conflict (unit_id, person_id)
         do update set email = $3, email_key = $4, phone = $5, language = $7, version = person_contact.version + 1, log_seq = $6",
        by.unit()?.0,
        person.0,
        row.email,
        email_key,
        row.phone,
        log_seq,
        row.language
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
