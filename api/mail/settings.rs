//! How the unit sends: whether anything leaves by itself, where answers go, and in which language people are written to.

use actix_web::{get, patch};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::{self, SettingRow};
use crate::auth::Permit;
use crate::auth::permission::{MailChange, MailRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Patch, Path};
use crate::common::etag::{IfMatch, etag};
use crate::common::ids::UnitId;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct MailPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// How a unit sends its mail.
#[derive(Debug, Serialize, ToSchema)]
pub struct MailSettings {
    /// Whether messages leave by themselves. While it is off, each waits as a draft.
    pub sends: bool,
    /// Whether this server has a mail server to hand messages to, for this unit.
    pub mail_server: bool,
    /// What becomes of a message, in a sentence.
    #[schema(max_length = 300)]
    pub in_words: String,
    /// Where answers go; null: to the address that sends.
    #[schema(required = true, max_length = 254, example = "sale@juniper-ridge.example.org")]
    pub reply_to: Option<String>,
    /// The language for whoever has none of their own (ISO 639).
    #[schema(max_length = 3, example = "en")]
    pub language: String,
    /// The version of these settings.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

fn shown(row: SettingRow, mail_server: bool) -> MailSettings {
    let SettingRow { sends, reply_to, language, version } = row;
    let in_words = match (mail_server, sends) {
        (true, true) => "Messages leave by themselves, within seconds.",
        (true, false) => {
            "Messages wait as drafts: look at some, then switch `sends` on, or send each by itself (send_message)."
        }
        (false, _) => {
            "This server has no mail server to hand messages to: each waits as a draft with a link that opens it in your own mail program. Whoever runs the server can name one ([mail] in its settings)."
        }
    };
    MailSettings { sends, mail_server, in_words: in_words.to_owned(), reply_to, language, etag: etag(version) }
}

/// Show how the unit sends its mail.
#[utoipa::path(tag = "mail", params(MailPath), extensions(("x-permission" = json!(MailRead::NAME))), responses((status = 200, description = "How it sends.", body = MailSettings), Problems))]
#[get("/v1/units/{unit_id}/mail-settings")]
pub async fn find_mail_settings(
    permit: Permit<MailRead>,
    around: Around,
    _path: Path<MailPath>,
) -> Result<Answer<MailSettings>, ApiError> {
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let row = sql::setting(&mut tx, unit).await?;
    Answer::new(&shown(row, around.mail.of_unit(unit).is_some()))
}

/// What to change of how the unit sends; a field that is left out stays.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"sends": true, "reply_to": "sale@juniper-ridge.example.org"}))]
pub struct MailSettingsChange {
    /// Whether messages leave by themselves. What waits as a draft stays one.
    #[garde(skip)]
    #[serde(default)]
    #[schema(value_type = Option<bool>)]
    sends: Patch<bool>,
    /// Where answers go; null: to the address that sends.
    #[garde(inner(length(min = 3, max = 254)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 3, max_length = 254)]
    reply_to: Patch<String>,
    /// The language for whoever has none of their own: two or three small letters (ISO 639).
    #[garde(inner(length(min = 2, max = 3)))]
    #[serde(default)]
    #[schema(value_type = Option<String>, min_length = 2, max_length = 3, pattern = "^[a-z]{2,3}$")]
    language: Patch<String>,
}

/// Whether a text has the form of a language's code.
#[must_use]
pub fn is_language(text: &str) -> bool {
    (2..=3).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_lowercase())
}

/// Change how the unit sends its mail.
///
/// Nothing leaves a unit before somebody has switched it on here. Switched on, messages are handed over within seconds of
/// their cause, and `list_messages` tells what became of each.
#[utoipa::path(tag = "mail", params(MailPath), request_body = MailSettingsChange, extensions(("x-permission" = json!(MailChange::NAME))), responses((status = 200, description = "How it sends now.", body = MailSettings), Problems))]
#[patch("/v1/units/{unit_id}/mail-settings")]
pub async fn change_mail_settings(
    permit: Permit<MailChange>,
    around: Around,
    _path: Path<MailPath>,
    body: Json<MailSettingsChange>,
    if_match: IfMatch,
) -> Result<Answer<MailSettings>, ApiError> {
    let MailSettingsChange { sends, reply_to, language } = body.0;
    let address = reply_to.value().filter(|address| address.trim().parse::<lettre::Address>().is_err());
    let mut faults: Vec<FieldError> = Vec::new();
    faults.extend(
        address.map(|_| FieldError::at("/reply_to", "not_an_address", "one address, such as sale@example.org")),
    );
    if language.value().is_some_and(|text| !is_language(text)) {
        faults.push(FieldError::at("/language", "not_a_language", "two or three small letters, such as en or es"));
    }
    for (cleared, pointer) in [(sends == Patch::Clear, "/sends"), (language == Patch::Clear, "/language")] {
        if cleared {
            faults.push(FieldError::at(pointer, "null", "a value, or leave it out"));
        }
    }
    if !faults.is_empty() {
        return Err(ApiError::new(Code::Invalid).errors(faults));
    }
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut row = sql::lock_setting(&mut tx, &permit).await?;
    if_match.require(row.version)?;
    row.sends = sends.value().copied().unwrap_or(row.sends);
    row.reply_to = reply_to.apply(row.reply_to).map(|address| address.trim().to_owned());
    row.language = language.value().cloned().unwrap_or(row.language);
    row.version += 1;
    let log_seq = tx.seq().await?;
    sql::keep_setting(&mut tx, &permit, &row, log_seq).await?;
    tx.about("mail_setting", unit);
    let version = row.version;
    tx.commit_with(Answer::new(&shown(row, around.mail.of_unit(unit).is_some()))?.version(version)).await
}
