//! The people of a troop who are not its coordinators.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::find_troop::TroopPath;
use super::sql::contacts::{self, TroopContactRow};
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{PersonId, TroopId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Code, Problems};

/// What a contact does in the troop. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Duty {
    /// Leads the troop.
    Leader,
    /// Keeps its money.
    Treasurer,
    /// Anything else.
    Other,
}

impl Duty {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Leader => "leader",
            Self::Treasurer => "treasurer",
            Self::Other => "other",
        }
    }

    fn named(name: &str) -> Self {
        [Self::Leader, Self::Treasurer].into_iter().find(|duty| duty.name() == name).unwrap_or(Self::Other)
    }
}

/// A person of a troop who is not its coordinator: a vacant troop is chased through them. It gives no scope.
#[derive(Clone, Debug, Serialize, ToSchema)]
pub struct TroopContact {
    /// The troop.
    pub troop_id: TroopId,
    /// The person.
    pub person_id: PersonId,
    /// What the person does there.
    pub duty: Duty,
    /// Since when (the first time, if it was ended and taken up again).
    pub from_at: DateTime<Utc>,
    /// When it was ended; null otherwise.
    #[schema(required = true)]
    pub ended_at: Option<DateTime<Utc>>,
}

impl From<TroopContactRow> for TroopContact {
    fn from(row: TroopContactRow) -> Self {
        let TroopContactRow { troop_id, person_id, duty, from_at, ended_at } = row;
        let (troop_id, person_id, duty) = (TroopId(troop_id), PersonId(person_id), Duty::named(&duty));
        Self { troop_id, person_id, duty, from_at, ended_at }
    }
}

/// Which page of contacts.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct TroopContactsQuery {
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
    /// Contacts of a troop.
    TroopContactPage of TroopContact, since
);

/// List a troop's contacts: its leader, its treasurer, also those who have ended.
#[utoipa::path(tag = "roster", params(TroopPath, TroopContactsQuery), extensions(("x-permission" = json!(AssignmentsRead::NAME))), responses((status = 200, description = "The contacts.", body = TroopContactPage), Problems))]
#[get("/v1/units/{unit_id}/troops/{troop_id}/contacts")]
pub async fn list_troop_contacts(
    permit: Permit<AssignmentsRead>,
    request: HttpRequest,
    path: Path<TroopPath>,
    query: Query<TroopContactsQuery>,
) -> Result<Answer<TroopContactPage>, ApiError> {
    let TroopContactsQuery { updated_since, limit, cursor } = query.0;
    let (unit, troop) = (permit.unit()?, path.troop_id);
    let filters = ("troop_contacts", troop, updated_since);
    let after: Option<(PersonId, String)> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    if !permit.read_scope().reaches(troop) || !contacts::troop_exists(&mut tx, unit, troop).await? {
        return Err(Code::NotFound.into());
    }
    let mut rows =
        contacts::list(&mut tx, unit, troop, updated_since.map(Since::seq), (after, i64::from(limit) + 1)).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<TroopContact> = rows.into_iter().map(TroopContact::from).collect();
    let last = items.last().filter(|_| more);
    let next_cursor = last.map(|row| page::encode(&(row.person_id, row.duty.name()), &filters)).transpose()?;
    let page = TroopContactPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
