//! Every query of mail.

pub(super) mod account;
pub(super) mod people;
pub(super) mod sending;
mod wordings;

pub(super) use wordings::{
    SettingRow, TemplateRow, drop_template, keep_setting, keep_template, lock_setting, setting, template, templates,
};

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::Kind;
use crate::auth::permission::MessagesSend;
use crate::auth::{Permission, Permit, Tx};
use crate::common::ids::{MessageId, PersonId, TroopId, UnitId};
use crate::error::{ApiError, Code};

/// A message to be kept.
pub(super) struct NewMessageRow<'a> {
    pub message_id: MessageId,
    pub kind: Kind,
    pub person: PersonId,
    pub troop: Option<TroopId>,
    pub language: &'a str,
    pub to_address: Option<&'a str>,
    pub subject: &'a str,
    pub body: &'a str,
    pub link_sealed: Option<&'a [u8]>,
    pub useless_at: Option<DateTime<Utc>>,
    pub goes: bool,
    pub log_seq: i64,
}

pub(super) async fn insert(tx: &mut Tx, unit: UnitId, new: NewMessageRow<'_>) -> Result<(), ApiError> {
    let (at, by) = (tx.logged_at(), tx.actor().to_owned());
    let queued_at = new.goes.then(|| tx.real_now());
    sqlx::query!(
        "insert into message (unit_id, message_id, kind, person_id, troop_id, language, to_address, subject, body, link_sealed, state,
                              sent_by_hand, written_at, written_by, queued_at, due_at, useless_at, attempts, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, false, $12, $13, $14, $14, $15, 0, 1, $16)",
        unit.0,
        new.message_id.0,
        new.kind.word(),
        new.person.0,
        new.troop.map(|troop| troop.0),
        new.language,
        new.to_address,
        new.subject,
        new.body,
        new.link_sealed,
        if new.goes { "waiting" } else { "draft" },
        at,
        by,
        queued_at,
        new.useless_at,
        new.log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Whether the newest message to this address that is known to have arrived or not came back.
pub(super) async fn came_back(tx: &mut Tx, unit: UnitId, address: &str) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!(
        r#"select bounced_at is not null as "bounced!" from message
           where unit_id = $1 and lower(to_address) = lower($2) and state = 'sent'
           order by message_id desc limit 1"#,
        unit.0,
        address
    );
    Ok(found.fetch_optional(tx.db()).await?.unwrap_or(false))
}

/// Whether a message of this kind was written to somebody since then, and not discarded.
pub(super) async fn written_since(
    tx: &mut Tx,
    unit: UnitId,
    (person, kind): (PersonId, Kind),
    since: DateTime<Utc>,
) -> Result<bool, ApiError> {
    let found = sqlx::query_scalar!(
        r#"select exists (select from message where unit_id = $1 and person_id = $2 and kind = $3 and written_at >= $4
               and state <> 'discarded') as "found!""#,
        unit.0,
        person.0,
        kind.word(),
        since
    );
    Ok(found.fetch_one(tx.db()).await?)
}

/// A message as it stands.
#[derive(Clone, Debug)]
pub(super) struct MessageRow {
    pub message_id: Uuid,
    pub kind: String,
    pub person_id: Uuid,
    pub troop_id: Option<Uuid>,
    pub language: String,
    pub to_address: Option<String>,
    pub subject: String,
    pub body: String,
    pub state: String,
    pub sent_by_hand: bool,
    pub written_at: DateTime<Utc>,
    pub written_by: String,
    pub due_at: Option<DateTime<Utc>>,
    pub ended_at: Option<DateTime<Utc>>,
    pub bounced_at: Option<DateTime<Utc>>,
    pub attempts: i32,
    pub last_answer: Option<String>,
    pub version: i64,
}

pub(super) async fn find(tx: &mut Tx, unit: UnitId, message: MessageId) -> Result<Option<MessageRow>, ApiError> {
    let row = sqlx::query_as!(
        MessageRow,
        "select message_id, kind, person_id, troop_id, language, to_address, subject, body, state, sent_by_hand, written_at, written_by,
                due_at, ended_at, bounced_at, attempts, last_answer, version
         from message where unit_id = $1 and message_id = $2",
        unit.0,
        message.0
    );
    Ok(row.fetch_optional(tx.db()).await?)
}

/// Locks a message for an act on it.
pub(super) async fn lock<P: Permission>(
    tx: &mut Tx,
    by: &Permit<P>,
    message: MessageId,
) -> Result<MessageRow, ApiError> {
    let unit = by.unit()?;
    let held =
        sqlx::query!("select from message where unit_id = $1 and message_id = $2 for no key update", unit.0, message.0);
    held.fetch_optional(tx.db()).await?.ok_or(Code::NotFound)?;
    find(tx, unit, message).await?.ok_or_else(|| Code::NotFound.into())
}

/// Which messages.
#[derive(Clone, Debug, Default)]
pub(super) struct Wanted {
    pub states: Vec<&'static str>,
    pub kind: Option<&'static str>,
    pub person: Option<PersonId>,
    pub troop: Option<TroopId>,
    pub since: Option<i64>,
    pub before: Option<MessageId>,
    pub limit: i64,
}

pub(super) async fn list(tx: &mut Tx, unit: UnitId, wanted: Wanted) -> Result<Vec<MessageRow>, ApiError> {
    let states: Vec<String> = wanted.states.iter().map(|state| (*state).to_owned()).collect();
    let rows = sqlx::query_as!(
        MessageRow,
        "select message_id, kind, person_id, troop_id, language, to_address, subject, body, state, sent_by_hand, written_at, written_by,
                due_at, ended_at, bounced_at, attempts, last_answer, version
         from message
         where unit_id = $1 and (cardinality($2::text[]) = 0 or state = any ($2)) and ($3::text is null or kind = $3)
           and ($4::uuid is null or person_id = $4) and ($5::uuid is null or troop_id = $5)
           and ($6::bigint is null or log_seq > $6) and ($7::uuid is null or message_id < $7)
         order by message_id desc limit $8",
        unit.0,
        &states,
        wanted.kind,
        wanted.person.map(|person| person.0),
        wanted.troop.map(|troop| troop.0),
        wanted.since,
        wanted.before.map(|message| message.0),
        wanted.limit
    );
    Ok(rows.fetch_all(tx.db()).await?)
}

/// A draft, or one that was given up, goes (again).
pub(super) async fn queue(
    tx: &mut Tx,
    by: &Permit<MessagesSend>,
    message: MessageId,
    (to, log_seq): (&str, i64),
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update message set state = 'waiting', to_address = $3, queued_at = $4, due_at = $4, ended_at = null, attempts = 0, last_answer = null,
                version = version + 1, log_seq = $5
         where unit_id = $1 and message_id = $2",
        by.unit()?.0,
        message.0,
        to,
        now,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// It ends: discarded, or sent by hand.
pub(super) async fn end(
    tx: &mut Tx,
    by: &Permit<MessagesSend>,
    message: MessageId,
    (state, by_hand, log_seq): (&str, bool, i64),
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update message set state = $3, sent_by_hand = $4, due_at = null, claimed_at = null, ended_at = $5, link_sealed = null,
                version = version + 1, log_seq = $6
         where unit_id = $1 and message_id = $2",
        by.unit()?.0,
        message.0,
        state,
        by_hand,
        now,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// It came back.
pub(super) async fn bounced(
    tx: &mut Tx,
    by: &Permit<MessagesSend>,
    message: MessageId,
    log_seq: i64,
) -> Result<(), ApiError> {
    let now = tx.real_now();
    sqlx::query!(
        "update message set bounced_at = $3, version = version + 1, log_seq = $4 where unit_id = $1 and message_id = $2",
        by.unit()?.0,
        message.0,
        now,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// The sealed link of a message that has not ended.
pub(super) async fn sealed_link(tx: &mut Tx, unit: UnitId, message: MessageId) -> Result<Option<Vec<u8>>, ApiError> {
    let sealed = sqlx::query_scalar!(
        "select link_sealed from message where unit_id = $1 and message_id = $2",
        unit.0,
        message.0
    );
    Ok(sealed.fetch_optional(tx.db()).await?.flatten())
}

/// How many messages of the unit wait as drafts, and which were given up: id, person, when.
pub(super) async fn waiting_for_somebody(
    tx: &mut Tx,
    unit: UnitId,
) -> Result<(i64, Option<DateTime<Utc>>, Vec<(Uuid, Uuid, Option<String>)>), ApiError> {
    let drafts = sqlx::query!(
        r#"select count(*) as "count!", min(written_at) as first from message
           where unit_id = $1 and state = 'draft' and not (kind = 'invitation' and exists (select from membership m
               where m.unit_id = message.unit_id and m.person_id = message.person_id))"#,
        unit.0
    );
    let drafts = drafts.fetch_one(tx.db()).await?;
    let lost = sqlx::query!(
        "select message_id, person_id, last_answer from message
         where unit_id = $1 and (state = 'given_up' or (state = 'sent' and bounced_at is not null))
           and not exists (select from message later where later.unit_id = $1 and later.person_id = message.person_id
               and later.message_id > message.message_id and (later.state = 'sent' and later.bounced_at is null))
         order by message_id limit 200",
        unit.0
    );
    let lost = lost.fetch_all(tx.db()).await?;
    let lost = lost.into_iter().map(|row| (row.message_id, row.person_id, row.last_answer)).collect();
    Ok((drafts.count, drafts.first, lost))
}
