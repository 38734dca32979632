//! Every query of how a unit sends, and of its wordings.

use crate::auth::permission::MailChange;
use crate::auth::{Permit, Tx};
use crate::common::ids::UnitId;
use crate::error::ApiError;
use crate::mail::Kind;
use crate::mail::shipped::Wording;

/// How a unit sends.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(in crate::mail) struct SettingRow {
    pub sends: bool,
    pub reply_to: Option<String>,
    pub language: String,
    pub version: i64,
}

/// How the unit sends; nothing, in English, as long as nobody has said otherwise.
pub(in crate::mail) async fn setting(tx: &mut Tx, unit: UnitId) -> Result<SettingRow, ApiError> {
    let row = sqlx::query_as!(
        SettingRow,
        "select sends, reply_to, language, version from mail_setting where unit_id = $1",
        unit.0
    );
    let row = row.fetch_optional(tx.db()).await?;
    Ok(row.unwrap_or(SettingRow { sends: false, reply_to: None, language: "en".to_owned(), version: 0 }))
}

/// The unit's settings, held until the transaction ends: wordings are held by them too.
pub(in crate::mail) async fn lock_setting(tx: &mut Tx, by: &Permit<MailChange>) -> Result<SettingRow, ApiError> {
    let unit = by.unit()?;
    sqlx::query!(
        "insert into mail_setting (unit_id, sends, language, version, log_seq) values ($1, false, 'en', 0, 0) on conflict do nothing",
        unit.0
    )
    .execute(tx.db())
    .await?;
    sqlx::query!("select from mail_setting where unit_id = $1 for update", unit.0).fetch_one(tx.db()).await?;
    setting(tx, unit).await
}

pub(in crate::mail) async fn keep_setting(
    tx: &mut Tx,
    by: &Permit<MailChange>,
    row: &SettingRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "update mail_setting set sends = $2, reply_to = $3, language = $4, version = $5, log_seq = $6 where unit_id = $1",
        by.unit()?.0,
        row.sends,
        row.reply_to,
        row.language,
        row.version,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

/// A unit's own wording.
#[derive(Clone, Debug)]
pub(in crate::mail) struct TemplateRow {
    pub wording: Wording,
    pub version: i64,
}

pub(in crate::mail) async fn template(
    tx: &mut Tx,
    unit: UnitId,
    kind: Kind,
    language: &str,
) -> Result<Option<TemplateRow>, ApiError> {
    let row = sqlx::query!(
        "select subject, body, version from mail_template where unit_id = $1 and kind = $2 and language = $3",
        unit.0,
        kind.word(),
        language
    );
    let row = row.fetch_optional(tx.db()).await?;
    Ok(row.map(|row| TemplateRow { wording: Wording { subject: row.subject, body: row.body }, version: row.version }))
}

/// The unit's own wordings, by kind and language.
pub(in crate::mail) async fn templates(
    tx: &mut Tx,
    unit: UnitId,
) -> Result<Vec<(String, String, TemplateRow)>, ApiError> {
    let rows =
        sqlx::query!("select kind, language, subject, body, version from mail_template where unit_id = $1", unit.0);
    let rows = rows.fetch_all(tx.db()).await?;
    let own = rows.into_iter().map(|row| {
        let wording = Wording { subject: row.subject, body: row.body };
        (row.kind, row.language, TemplateRow { wording, version: row.version })
    });
    Ok(own.collect())
}

pub(in crate::mail) async fn keep_template(
    tx: &mut Tx,
    by: &Permit<MailChange>,
    (kind, language): (Kind, &str),
    row: &TemplateRow,
    log_seq: i64,
) -> Result<(), ApiError> {
    sqlx::query!(
        "insert into mail_template (unit_id, kind, language, subject, body, version, log_seq) values ($1, $2, $3, $4, $5, $6, $7)
         on conflict (unit_id, kind, language) do update set subject = $4, body = $5, version = $6, log_seq = $7",
        by.unit()?.0,
        kind.word(),
        language,
        row.wording.subject,
        row.wording.body,
        row.version,
        log_seq
    )
    .execute(tx.db())
    .await?;
    Ok(())
}

pub(in crate::mail) async fn drop_template(
    tx: &mut Tx,
    by: &Permit<MailChange>,
    kind: Kind,
    language: &str,
) -> Result<(), ApiError> {
    sqlx::query!(
        "delete from mail_template where unit_id = $1 and kind = $2 and language = $3",
        by.unit()?.0,
        kind.word(),
        language
    )
    .execute(tx.db())
    .await?;
    Ok(())
}
