//! What was written to people, and what became of it.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::Kind;
use super::settings::MailPath;
use super::sql::{self, MessageRow, Wanted};
use crate::auth::Permit;
use crate::auth::permission::{MessagesRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::{MessageId, PersonId, TroopId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};

/// How far a message is. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MessageState {
    /// Waits for somebody to send it.
    Draft,
    /// Waits to be handed to the mail server.
    Waiting,
    /// Is being handed over.
    Sending,
    /// The mail server has it, or somebody sent it by hand.
    Sent,
    /// It cannot be delivered; `last_answer` says why.
    GivenUp,
    /// Somebody decided against it.
    Discarded,
}

impl MessageState {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Draft => "draft",
            Self::Waiting => "waiting",
            Self::Sending => "sending",
            Self::Sent => "sent",
            Self::GivenUp => "given_up",
            Self::Discarded => "discarded",
        }
    }

    pub(super) fn of(word: &str) -> Option<Self> {
        let all = [Self::Draft, Self::Waiting, Self::Sending, Self::Sent, Self::GivenUp, Self::Discarded];
        all.into_iter().find(|state| state.word() == word)
    }
}

/// A message, without its text.
#[derive(Debug, Serialize, ToSchema)]
pub struct MessageLine {
    /// Which one.
    pub message_id: MessageId,
    /// What it is for.
    pub kind: Kind,
    /// To whom.
    pub person_id: PersonId,
    /// The troop that it is about; null for none.
    #[schema(required = true)]
    pub troop_id: Option<TroopId>,
    /// To which address; null when the person has none, or was erased.
    #[schema(required = true, max_length = 254)]
    pub to_address: Option<String>,
    /// Its language (ISO 639).
    #[schema(max_length = 3)]
    pub language: String,
    /// The subject.
    #[schema(max_length = 150)]
    pub subject: String,
    /// How far it is.
    pub state: MessageState,
    /// Whether somebody sent it by hand.
    pub sent_by_hand: bool,
    /// When it was written.
    pub written_at: DateTime<Utc>,
    /// By whom, as the log names them.
    #[schema(max_length = 60)]
    pub written_by: String,
    /// How often it was tried.
    #[schema(minimum = 0)]
    pub attempts: i32,
    /// When it is tried next; null when it is not.
    #[schema(required = true)]
    pub due_at: Option<DateTime<Utc>>,
    /// When it was sent, given up or discarded, by the real clock; null before.
    #[schema(required = true)]
    pub ended_at: Option<DateTime<Utc>>,
    /// When it was noted that it came back; null if it was not.
    #[schema(required = true)]
    pub bounced_at: Option<DateTime<Utc>>,
    /// What the mail server said last; null if nothing was amiss.
    #[schema(required = true, max_length = 300)]
    pub last_answer: Option<String>,
    /// Its version.
    #[schema(max_length = 30)]
    pub etag: String,
}

impl TryFrom<MessageRow> for MessageLine {
    type Error = ApiError;

    fn try_from(row: MessageRow) -> Result<Self, ApiError> {
        Ok(Self {
            message_id: MessageId(row.message_id),
            kind: Kind::of(&row.kind).ok_or_else(|| ApiError::broken("a message of no kind"))?,
            person_id: PersonId(row.person_id),
            troop_id: row.troop_id.map(TroopId),
            to_address: row.to_address,
            language: row.language,
            subject: row.subject,
            state: MessageState::of(&row.state).ok_or_else(|| ApiError::broken("a message in no state"))?,
            sent_by_hand: row.sent_by_hand,
            written_at: row.written_at,
            written_by: row.written_by,
            attempts: row.attempts,
            due_at: row.due_at,
            ended_at: row.ended_at,
            bounced_at: row.bounced_at,
            last_answer: row.last_answer,
            etag: etag(row.version),
        })
    }
}

/// Which messages.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct MessagesQuery {
    /// Only those that are so far; repeat it for several.
    #[garde(length(max = 6))]
    #[serde(default)]
    #[param(max_items = 6)]
    state: Vec<MessageState>,
    /// Only those of this kind.
    #[garde(skip)]
    kind: Option<Kind>,
    /// Only those to this person.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
    /// Only those about this troop.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// What changed after this number of the unit's log.
    #[garde(dive)]
    #[param(value_type = Option<i64>, minimum = 0)]
    updated_since: Option<Since>,
    /// How many rows a page has.
    #[garde(range(min = 1, max = 200))]
    #[serde(default = "page::default_limit")]
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: u16,
    /// Where the page begins: `next_cursor` of the page before.
    #[garde(length(max = 1000))]
    #[param(max_length = 1000)]
    cursor: Option<String>,
}

crate::page!(
    /// Messages, the newest first.
    MessagePage of MessageLine, since
);

/// List what was written to people, the newest first, and what became of it.
#[utoipa::path(tag = "mail", params(MailPath, MessagesQuery), extensions(("x-permission" = json!(MessagesRead::NAME))), responses((status = 200, description = "The messages.", body = MessagePage), Problems))]
#[get("/v1/units/{unit_id}/messages")]
pub async fn list_messages(
    permit: Permit<MessagesRead>,
    request: HttpRequest,
    _path: Path<MailPath>,
    query: Query<MessagesQuery>,
) -> Result<Answer<MessagePage>, ApiError> {
    let MessagesQuery { state, kind, person, troop, updated_since, limit, cursor } = query.0;
    let filters = ("messages", &state, kind, person, troop, updated_since);
    let before: Option<MessageId> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let log_seq = tx.log_seq().await?;
    let wanted = Wanted {
        states: state.iter().map(|state| state.word()).collect(),
        kind: kind.map(Kind::word),
        person,
        troop,
        since: updated_since.map(Since::seq),
        before,
        limit: i64::from(limit) + 1,
    };
    let mut rows = sql::list(&mut tx, unit, wanted).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<MessageLine> = rows.into_iter().map(MessageLine::try_from).collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.message_id, &filters)).transpose()?;
    let page = MessagePage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
