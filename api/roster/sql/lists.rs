//! Every query that posted lists need of the roster: all that is known, and what a list adds.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::auth::permission::IntakesApply;
use crate::auth::{Permit, Tx};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId, UnitId};
use crate::error::{ApiError, Code, OnConstraint as _};

#[derive(Clone, Debug)]
pub(in crate::roster) struct KnownPersonRow {
    pub person_id: Uuid,
    pub first_name: String,
    pub last_name: String,
    pub membership_number: Option<String>,
    pub email: Option<String>,
    pub phone: Option<String>,
}

pub(in crate::roster) async fn people(tx: &mut Tx, unit: UnitId) -> Result<Vec<KnownPersonRow>, ApiError> {
    let rows = sqlx::query_as!(
        KnownPersonRow,
        r#"select p.person_id, p.first_name, p.last_name, p.membership_number, c.email as "email?", c.phone as "phone?"
           from person p left join person_contact c using (unit_id, person_id)
           where p.unit_id = $1 and p.merged_into is null and p.erased_at is null order by p.person_id"#,
        unit.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

#[derive(Clone, Debug)]
pub(in crate::roster) struct KnownTroopRow {
    pub troop_id: Uuid,
    pub number: String,
    pub name: String,
    pub meeting_place: Option<String>,
    pub age_band: Option<String>,
    pub selling_youths: Option<i32>,
    pub first_season: Option<bool>,
    pub ended: bool,
}

pub(in crate::roster) async fn troops(
    tx: &mut Tx,
    unit: UnitId,
    season: SeasonId,
) -> Result<Vec<KnownTroopRow>, ApiError> {
    let rows = sqlx::query_as!(
        KnownTroopRow,
        r#"select t.troop_id, t.number, t.name, t.meeting_place, ts.age_band as "age_band?",
               ts.selling_youths as "selling_youths?", ts.first_season as "first_season?",
               exists (select from troop_season gone where gone.unit_id = $1 and gone.troop_id = t.troop_id
                   and gone.season_id = $2 and gone.ended_at is not null) as "ended!"
           from troop t
           left join troop_season ts on ts.unit_id = t.unit_id and ts.troop_id = t.troop_id and ts.season_id = $2
               and ts.ended_at is null
           where t.unit_id = $1 order by t.troop_id"#,
        unit.0,
        season.0
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

#[derive(Clone, Debug)]
pub(in crate::roster) struct TieRow {
    pub troop_id: Uuid,
    pub person_id: Uuid,
    pub assigned: bool,
    pub lead: bool,
}

/// Who has, had or is proposed for a place in which troop: as coordinator in this season (whatever became of it), as
/// coordinator in another season, or as a contact.
pub(in crate::roster) async fn ties(tx: &mut Tx, unit: UnitId, season: SeasonId) -> Result<Vec<TieRow>, ApiError> {
    let now = tx.now();
    let rows = sqlx::query_as!(
        TieRow,
        r#"select tie.troop_id as "troop_id!", tie.person_id as "person_id!", bool_or(tie.assigned) as "assigned!",
               bool_or(tie.lead) as "lead!"
           from (
               -- Who has run out leads no more.
               select troop_id, person_id, season_id = $2 and withdrawn_at is null as assigned,
                   season_id = $2 and lead and ended_at is null and declined_at is null
                       and (until_at is null or until_at > $3) as lead
               from assignment where unit_id = $1
               union all
               select troop_id, person_id, false, false from troop_contact where unit_id = $1 and ended_at is null
           ) tie
           group by tie.troop_id, tie.person_id order by tie.troop_id, tie.person_id"#,
        unit.0,
        season.0,
        now
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

pub(in crate::roster) async fn insert_person(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    row: &KnownPersonRow,
    email_key: Option<&str>,
    log_seq: i64,
) -> Result<(), ApiError> {
    let unit = by.unit()?;
    sqlx::query!(
        "insert into person (unit_id, person_id, first_name, last_name, membership_number, version, log_seq)
         values ($1, $2, $3, $4, $5, 1, $6)",
        unit.0,
        row.person_id,
        row.first_name,
        row.last_name,
        row.membership_number,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("person_membership_number_unique", Code::MembershipNumberTaken)?;
    if row.email.is_some() || row.phone.is_some() {
        fill_contact(tx, by, row, email_key, log_seq).await?;
    }
    Ok(())
}

/// Fills in contact details that nobody has entered; what is there stays.
pub(in crate::roster) async fn fill_contact(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    row: &KnownPersonRow,
    email_key: Option<&str>,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into person_contact (unit_id, person_id, email, email_key, phone, version, log_seq)
         values ($1, $2, $3, $4, $5, 1, $6)
         on conflict (unit_id, person_id) do update
         set email = coalesce(person_contact.email, $3),
             email_key = case when person_contact.email is null then $4 else person_contact.email_key end,
             phone = coalesce(person_contact.phone, $5), version = person_contact.version + 1, log_seq = $6",
        by.unit()?.0,
        row.person_id,
        row.email,
        email_key,
        row.phone,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Fills in a membership number that nobody has entered; what is there stays.
pub(in crate::roster) async fn fill_membership_number(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    person: PersonId,
    membership_number: &str,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update person set membership_number = $3, version = version + 1, log_seq = $4
         where unit_id = $1 and person_id = $2 and membership_number is null",
        by.unit()?.0,
        person.0,
        membership_number,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("person_membership_number_unique", Code::MembershipNumberTaken)?;
    Ok(())
}

/// A proposal of a list: it counts nothing until a person confirms it.
#[derive(Clone, Copy, Debug)]
pub(in crate::roster) struct Proposal {
    pub assignment: AssignmentId,
    pub season: SeasonId,
    pub troop: TroopId,
    pub person: PersonId,
    pub lead: bool,
    pub at: DateTime<Utc>,
}

pub(in crate::roster) async fn insert_proposal(
    tx: &mut Tx,
    by: &Permit<IntakesApply>,
    proposal: Proposal,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, proposed_at,
             version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $7, 1, $8)",
        by.unit()?.0,
        proposal.assignment.0,
        proposal.troop.0,
        proposal.season.0,
        proposal.person.0,
        proposal.lead,
        proposal.at,
        log_seq
    )
    .execute(tx.db())
    .await
    .on_constraint("assignment_person_once", Code::AlreadyAssigned)?;
    Ok(())
}
