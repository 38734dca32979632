//! The wordings of the unit: its own, and those that are shipped.

use actix_web::get;
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::settings::MailPath;
use super::shipped::{self, Wording};
use super::{Kind, sql};
use crate::auth::permission::{MailRead, Permission as _};
use crate::auth::{Permit, Tx};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::UnitId;
use crate::common::short_text::ShortText;
use crate::error::{ApiError, Problems};

/// A wording.
#[derive(Debug, Serialize, ToSchema)]
pub struct MailTemplate {
    /// What it is for.
    pub kind: Kind,
    /// Its language (ISO 639).
    #[schema(max_length = 3, example = "en")]
    pub language: String,
    /// Whether it is the unit's own; otherwise it came with the program.
    pub own: bool,
    /// The subject, with fields between {{ and }}.
    #[schema(max_length = 400)]
    pub subject: String,
    /// The text, in plain lines: an empty line between paragraphs, `- ` before what is a list.
    #[schema(max_length = 10000)]
    pub body: String,
    /// The fields that it can name.
    #[schema(max_items = 40, value_type = Vec<ShortText>)]
    pub fields: Vec<String>,
    /// The lists that it can go through (`{% for one in missing %}`), each with the fields of its items.
    #[schema(max_items = 10, value_type = Vec<ShortText>)]
    pub lists: Vec<String>,
    /// Its version; `"v0"` for one that came with the program.
    #[schema(max_length = 30, example = "\"v0\"")]
    pub etag: String,
}

/// The wordings that there are.
#[derive(Debug, Serialize, ToSchema)]
pub struct MailTemplates {
    /// By kind and language.
    #[schema(max_items = 200)]
    pub items: Vec<MailTemplate>,
}

/// Which wordings.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct MailTemplatesQuery {
    /// Only those of this kind of message.
    #[garde(skip)]
    kind: Option<Kind>,
    /// Only those in this language (ISO 639).
    #[garde(length(min = 2, max = 3))]
    #[param(min_length = 2, max_length = 3)]
    language: Option<String>,
}

fn shown(kind: Kind, language: &str, own: bool, (wording, version): (Wording, i64)) -> MailTemplate {
    let lists =
        kind.lists().iter().flat_map(|(list, fields)| fields.iter().map(move |field| format!("{list}.{field}")));
    MailTemplate {
        kind,
        language: language.to_owned(),
        own,
        subject: wording.subject,
        body: wording.body,
        fields: kind.fields().iter().map(|field| (*field).to_owned()).collect(),
        lists: lists.collect(),
        etag: etag(version),
    }
}

/// The wording of a kind in a language as it is now: the unit's own, or the shipped one (in English where there is none).
pub(super) async fn present(
    tx: &mut Tx,
    unit: UnitId,
    kind: Kind,
    language: &str,
) -> Result<(MailTemplate, i64), ApiError> {
    let own = sql::template(tx, unit, kind, language).await?;
    let is_own = own.is_some();
    let (wording, version) =
        own.map_or_else(|| (shipped::wording(kind, language), 0), |row| (row.wording, row.version));
    Ok((shown(kind, language, is_own, (wording, version)), version))
}

/// List the wordings of messages, with the fields that each can name: the unit's own, and the shipped ones where it has none.
#[utoipa::path(tag = "mail", params(MailPath, MailTemplatesQuery), extensions(("x-permission" = json!(MailRead::NAME))), responses((status = 200, description = "The wordings.", body = MailTemplates), Problems))]
#[get("/v1/units/{unit_id}/mail-templates")]
pub async fn list_mail_templates(
    permit: Permit<MailRead>,
    _path: Path<MailPath>,
    query: Query<MailTemplatesQuery>,
) -> Result<Answer<MailTemplates>, ApiError> {
    let MailTemplatesQuery { kind: only, language: within } = query.0;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let mut items: Vec<MailTemplate> = Vec::new();
    for (word, language, row) in sql::templates(&mut tx, unit).await? {
        let kind = Kind::of(&word).ok_or_else(|| ApiError::broken("a wording of no kind"))?;
        items.push(shown(kind, &language, true, (row.wording, row.version)));
    }
    for kind in Kind::ALL {
        for language in shipped::LANGUAGES {
            if !items.iter().any(|item| item.kind == kind && item.language == language) {
                items.push(shown(kind, language, false, (shipped::wording(kind, language), 0)));
            }
        }
    }
    items.retain(|item| only.is_none_or(|kind| item.kind == kind));
    items.retain(|item| within.as_ref().is_none_or(|language| item.language == *language));
    items.sort_by(|a, b| (a.kind, &a.language).cmp(&(b.kind, &b.language)));
    Answer::new(&MailTemplates { items })
}
