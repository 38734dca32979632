//! The unit's own wording of a kind of message.

use actix_web::{post, put};
use garde::Validate;
use serde::Deserialize;
use utoipa::ToSchema;

use super::Kind;
use super::list_templates::{MailTemplate, present};
use super::settings::{MailPath, is_language};
use super::shipped::Wording;
use super::sql::{self, TemplateRow};
use super::write::{LINK, wording_faults};
use crate::auth::Permit;
use crate::auth::permission::{MailChange, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Json, Path};
use crate::common::etag::IfMatch;
use crate::error::{ApiError, Code, FieldError, Problems};

/// A wording of the unit's own.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kind": "missing", "language": "en", "subject": "Troop {{ troop }}: what is still open", "body": "Dear {{ first_name }},\n\nfor troop {{ troop }} this is still open:\n{% for one in missing %}\n- {{ one.title }}: {{ one.how }}\n{%- endfor %}\n\n{{ from_name }}\n"}))]
pub struct NewWording {
    /// What it is for.
    #[garde(skip)]
    kind: Kind,
    /// Its language: two or three small letters (ISO 639).
    #[garde(length(min = 2, max = 3))]
    #[schema(min_length = 2, max_length = 3, pattern = "^[a-z]{2,3}$")]
    language: String,
    /// The subject, with fields between {{ and }}; in one line.
    #[garde(length(chars, min = 1, max = 400))]
    #[schema(min_length = 1, max_length = 400)]
    subject: String,
    /// The text, in plain lines, with fields between {{ and }}.
    #[garde(length(chars, min = 1, max = 10_000))]
    #[schema(min_length = 1, max_length = 10000)]
    body: String,
}

/// The most wordings of its own that a unit has: every kind in twenty languages.
const MOST: usize = 100;

/// Everything that is wrong with it, each with its line.
fn faults(kind: Kind, wording: &Wording) -> Vec<FieldError> {
    let mut found: Vec<FieldError> = Vec::new();
    if wording.subject.chars().any(char::is_control) {
        found.push(FieldError::at("/subject", "not_one_line", "one line"));
    }
    let hidden = |char: char| (char.is_control() && !matches!(char, '\n' | '\t')) || char == LINK;
    if wording.body.contains(hidden) || wording.subject.contains(LINK) {
        found.push(FieldError::at("/body", "control_characters", "text without characters that cannot be seen"));
    }
    let told = wording_faults(kind, wording);
    found.extend(told.into_iter().take(50).map(|(pointer, fault)| {
        FieldError::at(pointer, fault.code, format!("line {}: {}", fault.line, fault.expected))
    }));
    found
}

/// Put a wording of the unit's own in the place of the shipped one.
///
/// It is looked at as a whole: a field that the kind does not have is refused with its line, and so is whatever else but
/// fields, `if` and one list. It serves from the next message on; what is written already stays as it was.
#[utoipa::path(tag = "mail", params(MailPath), request_body = NewWording, extensions(("x-permission" = json!(MailChange::NAME))), responses((status = 200, description = "The wording as it is now.", body = MailTemplate), Problems))]
#[put("/v1/units/{unit_id}/mail-templates")]
pub async fn change_mail_template(
    permit: Permit<MailChange>,
    _path: Path<MailPath>,
    body: Json<NewWording>,
    if_match: IfMatch,
) -> Result<Answer<MailTemplate>, ApiError> {
    let NewWording { kind, language, subject, body } = body.0;
    let wording = self::wording(kind, &language, subject, &body)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    sql::lock_setting(&mut tx, &permit).await?;
    let (_, version) = present(&mut tx, unit, kind, &language).await?;
    if_match.require(version)?;
    if version == 0 && sql::templates(&mut tx, unit).await?.len() >= MOST {
        return Err(ApiError::new(Code::Conflict).detail("A unit has a hundred wordings of its own at most: go back to the shipped one where one is not needed (restore_mail_template)."));
    }
    let log_seq = tx.seq().await?;
    // Versions follow the log, so that one of a wording that was taken back never comes again.
    sql::keep_template(&mut tx, &permit, (kind, &language), &TemplateRow { wording, version: log_seq }, log_seq)
        .await?;
    let (template, version) = present(&mut tx, unit, kind, &language).await?;
    tx.about("mail_template", format_args!("{}-{language}", kind.word()));
    tx.commit_with(Answer::new(&template)?.version(version)).await
}

/// A wording that is being tried, if nothing is wrong with it.
///
/// # Errors
/// 422 with everything that is wrong, each with its line.
pub fn wording(kind: Kind, language: &str, subject: String, body: &str) -> Result<Wording, ApiError> {
    let wording = Wording { subject, body: body.replace("\r\n", "\n") };
    let mut faults = faults(kind, &wording);
    faults.extend(language_fault(language));
    if faults.is_empty() { Ok(wording) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}

/// Refuses what has not the form of a language.
///
/// # Errors
/// 422.
pub fn wording_language(language: &str) -> Result<(), ApiError> {
    match language_fault(language) {
        Some(fault) => Err(ApiError::new(Code::Invalid).errors(vec![fault])),
        None => Ok(()),
    }
}

fn language_fault(language: &str) -> Option<FieldError> {
    (!is_language(language))
        .then(|| FieldError::at("/language", "not_a_language", "two or three small letters, such as en or es"))
}

/// Which wording.
#[derive(Debug, Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kind": "missing", "language": "en"}))]
pub struct WhichWording {
    /// What it is for.
    #[garde(skip)]
    kind: Kind,
    /// Its language: two or three small letters (ISO 639).
    #[garde(length(min = 2, max = 3))]
    #[schema(min_length = 2, max_length = 3, pattern = "^[a-z]{2,3}$")]
    language: String,
}

/// Go back to the shipped wording of a kind in a language; the unit's own is gone.
#[utoipa::path(tag = "mail", params(MailPath), request_body = WhichWording, extensions(("x-permission" = json!(MailChange::NAME))), responses((status = 200, description = "The shipped wording.", body = MailTemplate), Problems))]
#[post("/v1/units/{unit_id}/mail-templates/restore")]
pub async fn restore_mail_template(
    permit: Permit<MailChange>,
    _path: Path<MailPath>,
    body: Json<WhichWording>,
) -> Result<Answer<MailTemplate>, ApiError> {
    let WhichWording { kind, language } = body.0;
    wording_language(&language)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    sql::lock_setting(&mut tx, &permit).await?;
    tx.replay().await?;
    let (_, version) = present(&mut tx, unit, kind, &language).await?;
    if version == 0 {
        return Err(ApiError::new(Code::WrongState)
            .detail("The unit has no wording of its own for this: the shipped one serves already."));
    }
    sql::drop_template(&mut tx, &permit, kind, &language).await?;
    let (template, _) = present(&mut tx, unit, kind, &language).await?;
    tx.about("mail_template", format_args!("{}-{language}", kind.word()));
    tx.commit_with(Answer::new(&template)?).await
}
