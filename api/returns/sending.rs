//! That a filed return was sent, to whom and how, and what came back.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::find::{ReturnPath, find};
use super::now;
use super::sql::{self, SendingRow};
use crate::auth::Permit;
use crate::auth::permission::{Permission as _, ReturnsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::ReturnId;
use crate::common::page;
use crate::error::{ApiError, Problems};

/// How a return was sent. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SendingWay {
    /// By e-mail.
    Mail,
    /// Entered or uploaded in head office's system.
    HeadOfficeSystem,
    /// Handed over.
    ByHand,
    /// By post.
    Post,
    /// In another way.
    Other,
}

impl SendingWay {
    const ALL: [Self; 5] = [Self::Mail, Self::HeadOfficeSystem, Self::ByHand, Self::Post, Self::Other];

    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Mail => "mail",
            Self::HeadOfficeSystem => "head_office_system",
            Self::ByHand => "by_hand",
            Self::Post => "post",
            Self::Other => "other",
        }
    }
}

/// What came back. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReturnAnswer {
    /// Head office has it.
    Received,
    /// Head office sent it back: a new one is owed.
    SentBack,
}

impl ReturnAnswer {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Self::Received => "received",
            Self::SentBack => "sent_back",
        }
    }
}

/// That a return was sent, and what came back.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct ReturnSending {
    /// Which one.
    pub sending_id: Uuid,
    /// The return.
    pub return_id: ReturnId,
    /// When it was sent.
    pub sent_at: DateTime<Utc>,
    /// To whom: an office or a role.
    #[schema(max_length = 200)]
    pub sent_to: String,
    /// How.
    pub way: SendingWay,
    /// When somebody said so.
    pub noted_at: DateTime<Utc>,
    /// Who said so, as the log names them.
    #[schema(max_length = 60)]
    pub noted_by: String,
    /// What came back; null while nothing did.
    #[schema(required = true)]
    pub answer: Option<ReturnAnswer>,
    /// Why it was sent back; null where nothing was said.
    #[schema(required = true, max_length = 1000)]
    pub answer_reason: Option<String>,
    /// When it came back; null while nothing did.
    #[schema(required = true)]
    pub answered_at: Option<DateTime<Utc>>,
    /// Who said so, as the log names them; null while nothing came back.
    #[schema(required = true, max_length = 60)]
    pub answer_by: Option<String>,
}

impl TryFrom<SendingRow> for ReturnSending {
    type Error = ApiError;

    fn try_from(row: SendingRow) -> Result<Self, ApiError> {
        let way = SendingWay::ALL.into_iter().find(|way| way.name() == row.way);
        let answers = [ReturnAnswer::Received, ReturnAnswer::SentBack];
        Ok(Self {
            sending_id: row.sending_id,
            return_id: ReturnId(row.document_id),
            sent_at: row.sent_at,
            sent_to: row.sent_to,
            way: way.ok_or_else(|| ApiError::broken("a return sent in no known way"))?,
            noted_at: row.noted_at,
            noted_by: row.noted_by,
            answer: answers.into_iter().find(|answer| Some(answer.name()) == row.answer.as_deref()),
            answer_reason: row.answer_reason,
            answered_at: row.answered_at,
            answer_by: row.answer_by,
        })
    }
}

/// Which page of sendings.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct SendingsQuery {
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
    /// The sendings of a return, the newest first.
    ReturnSendingPage of ReturnSending
);

/// List when a return was sent, to whom and how, and what came back, the newest first.
#[utoipa::path(tag = "returns", params(ReturnPath, SendingsQuery), extensions(("x-permission" = json!(ReturnsRead::NAME))), responses((status = 200, description = "The sendings.", body = ReturnSendingPage), Problems))]
#[get("/v1/units/{unit_id}/returns/{return_id}/sendings")]
pub async fn list_return_sendings(
    permit: Permit<ReturnsRead>,
    request: HttpRequest,
    path: Path<ReturnPath>,
    query: Query<SendingsQuery>,
) -> Result<Answer<ReturnSendingPage>, ApiError> {
    let SendingsQuery { limit, cursor } = query.0;
    let filters = ("return_sendings", path.return_id);
    let before: Option<Uuid> = page::decode(cursor.as_deref(), &filters)?;
    let unit = now::whole_unit(&permit)?;
    let mut tx = permit.tx()?;
    find(&mut tx, unit, path.return_id).await?;
    let mut rows = sql::list(&mut tx, unit, path.return_id, before, i64::from(limit) + 1).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<ReturnSending> = rows.into_iter().map(ReturnSending::try_from).collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.sending_id, &filters)).transpose()?;
    let page = ReturnSendingPage { items, next_cursor };
    Ok(Answer::new(&page)?.next_page(&request, page.next_cursor.as_deref()))
}
