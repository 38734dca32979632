//! Rendering a message and writing it down, in the transaction of its cause.

use chrono::{DateTime, Utc};
use minijinja::value::Serde;
use minijinja::{Environment, UndefinedBehavior};
use serde_json::{Map, Value};
use uuid::Uuid;

use super::shipped::{self, Wording};
use super::sql::{self, NewMessageRow};
use super::{Kind, grammar};
use crate::auth::Tx;
use crate::auth::seal::Seal;
use crate::common::ids::{MessageId, PersonId, TroopId, UnitId};
use crate::error::ApiError;
use crate::server::run::Surroundings;

/// Stands in a text where a secret link will.
pub const LINK: char = '\u{E000}';

/// The longest text, in characters.
pub const LONGEST_BODY: usize = 10_000;

/// The longest subject, in characters.
pub const LONGEST_SUBJECT: usize = 150;

/// How much work a text may make, in the library's own steps: a list of forty takes some hundreds.
const FUEL: u64 = 50_000;

/// To whom.
#[derive(Clone, Debug)]
pub struct Recipient {
    /// The person.
    pub person: PersonId,
    /// The address, if one is known.
    pub address: Option<String>,
    /// The language in which the person wishes to be written to; the unit's without one.
    pub language: Option<String>,
}

/// A link that opens something, once.
#[derive(Clone, Debug)]
pub struct SecretLink {
    /// The whole address.
    pub link: String,
    /// From when on it opens nothing.
    pub useless_at: DateTime<Utc>,
}

/// A message to be written.
#[derive(Clone, Debug)]
pub struct NewMessage {
    /// What it is for.
    pub kind: Kind,
    /// To whom.
    pub to: Recipient,
    /// The troop that it is about.
    pub troop: Option<TroopId>,
    /// The fields of its kind ([`Kind::fields`], [`Kind::lists`]).
    pub fields: Map<String, Value>,
    /// The secret link in it.
    pub link: Option<SecretLink>,
}

/// A message that was written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Written {
    /// Which one.
    pub message_id: MessageId,
    /// Whether it goes by itself; otherwise it waits as a draft for somebody.
    pub goes: bool,
}

/// A message as it reads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Rendered {
    /// Its language.
    pub language: String,
    /// The subject.
    pub subject: String,
    /// The text.
    pub body: String,
}

/// The language in which somebody is written to: their own, or the unit's.
///
/// # Errors
/// Database faults.
pub async fn language_of(tx: &mut Tx, unit: UnitId, own: Option<&str>) -> Result<String, ApiError> {
    match own {
        Some(own) => Ok(own.to_owned()),
        None => Ok(sql::setting(tx, unit).await?.language),
    }
}

/// Renders a message in the unit's own wording of this language, or the shipped one.
async fn render(
    tx: &mut Tx,
    unit: UnitId,
    (kind, language): (Kind, String),
    fields: &Map<String, Value>,
) -> Result<Rendered, ApiError> {
    let own = sql::template(tx, unit, kind, &language).await?;
    if let Some(own) = own {
        match rendered(&own.wording, fields) {
            Ok((subject, body)) => return Ok(Rendered { language, subject, body }),
            // It was looked at when it was saved; what is shipped is better than nothing.
            Err(error) => tracing::warn!(%error, kind = kind.word(), "a unit's own wording cannot be rendered"),
        }
    }
    let (subject, body) =
        rendered(&shipped::wording(kind, &language), fields).map_err(|error| ApiError::internal(&error))?;
    Ok(Rendered { language, subject, body })
}

/// Writes a message in the transaction of its cause. It waits for the worker if the unit sends, the person has an address, and
/// no message to it has come back; otherwise it stays a draft.
///
/// # Errors
/// Database faults.
pub async fn write(tx: &mut Tx, unit: UnitId, around: &Surroundings, new: NewMessage) -> Result<Written, ApiError> {
    let NewMessage { kind, to, troop, mut fields, link } = new;
    if link.is_some() {
        fields.insert("link".to_owned(), Value::String(LINK.to_string()));
    }
    let setting = sql::setting(tx, unit).await?;
    let language = to.language.unwrap_or(setting.language);
    let Rendered { language, subject, body } = render(tx, unit, (kind, language), &fields).await?;
    let message_id = MessageId::new();
    let link_sealed = seal_link(&around.seal, link.as_ref().map(|link| link.link.as_str()), &message_id.0)?;
    let sends = setting.sends && around.mail.of_unit(unit).is_some();
    let goes = match &to.address {
        Some(address) => sends && !sql::came_back(tx, unit, address).await?,
        None => false,
    };
    let log_seq = tx.seq().await?;
    sql::insert(
        tx,
        unit,
        NewMessageRow {
            message_id,
            kind,
            person: to.person,
            troop,
            language: &language,
            to_address: to.address.as_deref(),
            subject: &subject,
            body: &body,
            link_sealed: link_sealed.as_deref(),
            useless_at: link.map(|link| link.useless_at),
            goes,
            log_seq,
        },
    )
    .await?;
    tx.about("message", message_id);
    Ok(Written { message_id, goes })
}

/// A link, sealed for the message that it goes out with.
pub(super) fn seal_link(seal: &Seal, link: Option<&str>, message: &Uuid) -> Result<Option<Vec<u8>>, ApiError> {
    let Some(link) = link else { return Ok(None) };
    let sealed = seal.close(link.as_bytes(), &message.to_string());
    sealed.map(Some).ok_or_else(|| ApiError::broken("a link that cannot be sealed"))
}

/// How a message would read: in a wording that is being tried, or the present one.
///
/// # Errors
/// Database faults.
pub async fn preview(
    tx: &mut Tx,
    unit: UnitId,
    (kind, language): (Kind, &str),
    tried: Option<&Wording>,
    fields: &Map<String, Value>,
) -> Result<Rendered, ApiError> {
    match tried {
        Some(wording) => {
            let (subject, body) = rendered(wording, fields).map_err(|error| ApiError::internal(&error))?;
            Ok(Rendered { language: language.to_owned(), subject, body })
        }
        None => render(tx, unit, (kind, language.to_owned()), fields).await,
    }
}

/// A message as a mail program shows it.
#[must_use]
pub fn html(message: &Rendered, own_address: &str) -> String {
    super::compose::html(&message.subject, &message.body, own_address, &message.language)
}

/// Whether a message of this kind was written to somebody since then, and not discarded.
///
/// # Errors
/// Database faults.
pub async fn written_since(
    tx: &mut Tx,
    unit: UnitId,
    (person, kind): (PersonId, Kind),
    since: DateTime<Utc>,
) -> Result<bool, ApiError> {
    sql::written_since(tx, unit, (person, kind), since).await
}

/// Subject and text of a wording with these fields.
pub(super) fn rendered(wording: &Wording, fields: &Map<String, Value>) -> Result<(String, String), minijinja::Error> {
    let mut environment = Environment::empty();
    environment.set_undefined_behavior(UndefinedBehavior::SemiStrict);
    environment.set_fuel(Some(FUEL));
    let fields = minijinja::Value::from(Serde(tidied(&Value::Object(fields.clone()))));
    let subject = environment.render_str(&wording.subject, &fields)?;
    let body = environment.render_str(&wording.body, &fields)?;
    let subject: String = one_line(&subject).chars().take(LONGEST_SUBJECT).collect();
    let body: String = body.trim_end().chars().take(LONGEST_BODY * 2).chain(['\n']).collect();
    Ok((subject, body))
}

/// Values as they may stand in a line: no line end, no other control character, no stand-in for a link but the one.
fn tidied(value: &Value) -> Value {
    match value {
        Value::String(text) if *text == LINK.to_string() => value.clone(),
        Value::String(text) => Value::String(one_line(&text.replace(LINK, " "))),
        Value::Array(items) => Value::Array(items.iter().map(tidied).collect()),
        Value::Object(fields) => {
            Value::Object(fields.iter().map(|(key, value)| (key.clone(), tidied(value))).collect())
        }
        other => other.clone(),
    }
}

/// Control characters become spaces, several spaces one.
pub(super) fn one_line(text: &str) -> String {
    let spaced: String = text.chars().map(|char| if char.is_control() { ' ' } else { char }).collect();
    spaced.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// What is wrong with a wording: its grammar, or that it makes too much of a full message.
pub(super) fn wording_faults(kind: Kind, wording: &Wording) -> Vec<(&'static str, grammar::Fault)> {
    let mut found: Vec<(&'static str, grammar::Fault)> = Vec::new();
    found.extend(grammar::faults(kind, &wording.subject).into_iter().map(|fault| ("/subject", fault)));
    found.extend(grammar::faults(kind, &wording.body).into_iter().map(|fault| ("/body", fault)));
    if found.is_empty()
        && let Err(error) = rendered(wording, &super::texts::sample(kind))
    {
        let line = error.line().unwrap_or(1);
        let expected = "a shorter one: with long names and many lines it makes too much of it".to_owned();
        found.push(("/body", grammar::Fault { line, code: "cannot_be_rendered", expected }));
    }
    found
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::super::texts::sample;
    use super::*;

    fn said(kind: Kind, body: &str, fields: &Value) -> String {
        let wording = Wording { subject: "{{ first_name }}".to_owned(), body: body.to_owned() };
        let fields = fields.as_object().unwrap();
        assert_eq!(grammar::faults(kind, body), []);
        rendered(&wording, fields).unwrap().1
    }

    #[test]
    fn the_shipped_english_reads_as_a_person_would_write_it() {
        let fields = json!({"first_name": "Clara", "unit_name": "Juniper Ridge", "from_name": "Imani Castellanos",
            "season": "Autumn 2040", "troop": "0101", "how_many": 2,
            "missing": [{"title": "Membership", "how": "Renew it with head office."}, {"title": "Training", "how": "Take the course."}]});
        let (subject, body) = rendered(&shipped::wording(Kind::Missing, "en"), fields.as_object().unwrap()).unwrap();
        assert_eq!(subject, "Troop 0101: what is still missing");
        assert_eq!(
            body,
            "Hello Clara,\n\nfor troop 0101 in Autumn 2040 this is still missing, as far as our papers say:\n\n- Membership: Renew it with head office.\n- Training: Take the course.\n\nIf you have done it already, thank you: it shows as soon as the next list from head office is in. If something stands in the way, answer this message.\n\nImani Castellanos\nJuniper Ridge\n"
        );
    }

    #[test]
    fn a_name_with_line_ends_and_tags_stays_a_name() {
        let fields = json!({"first_name": "Ann\r\nBcc: everybody@example.org\u{0}\u{E000}", "unit_name": "{{ link }}"});
        let wording = Wording { subject: "To {{ first_name }}".to_owned(), body: "{{ unit_name }}".to_owned() };
        let (subject, body) = rendered(&wording, fields.as_object().unwrap()).unwrap();
        assert_eq!(subject, "To Ann Bcc: everybody@example.org");
        assert_eq!(body, "{{ link }}\n", "a value is never read as a wording");
    }

    #[test]
    fn a_question_about_a_list_or_a_field_is_answered() {
        let body = "{% if missing %}some{% else %}none{% endif %}{% if not troop %}, no troop{% endif %}";
        assert_eq!(
            said(Kind::Suspended, body, &json!({"first_name": "A", "missing": [], "troop": ""})),
            "none, no troop\n"
        );
        let some = json!({"first_name": "A", "missing": [{"title": "x", "how": "y"}], "troop": "t"});
        assert_eq!(said(Kind::Suspended, body, &some), "some\n");
    }

    #[test]
    fn every_wording_is_tried_on_a_long_message_when_it_is_saved() {
        for kind in Kind::ALL {
            for language in shipped::LANGUAGES {
                assert_eq!(wording_faults(kind, &shipped::wording(kind, language)), []);
            }
            assert!(kind.fields().iter().all(|field| sample(kind).contains_key(*field)), "{kind:?}");
        }
        let endless = "{% for a in missing %}".to_owned() + &"{{ a.title }}".repeat(700) + "{% endfor %}";
        let wording = Wording { subject: "x".to_owned(), body: endless };
        assert_eq!(wording_faults(Kind::Missing, &wording).remove(0).1.code, "cannot_be_rendered");
    }
}
