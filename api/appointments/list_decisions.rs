//! The decisions of a season, with their reasons.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::sql::{self, DecisionRow};
use crate::auth::Permit;
use crate::auth::permission::{EvidenceRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{AssignmentId, DecisionId, PersonId, SeasonId, TroopId, UnitId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings;
use crate::standings::rules::DecisionKind;

/// Which unit.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Path)]
pub struct DecisionsPath {
    /// The unit.
    #[param(value_type = uuid::Uuid)]
    #[expect(dead_code, reason = "the middleware reads it from the path, before any handler")]
    unit_id: UnitId,
}

/// Which decisions.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DecisionsQuery {
    /// The season; without it the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Only those about this troop and its coordinators.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// Only those about this person, in any troop.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
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

/// A decision as it was taken.
#[derive(Debug, Serialize, ToSchema)]
pub struct DecisionOnRecord {
    /// Which one.
    pub decision_id: DecisionId,
    /// What was decided.
    pub decision: DecisionKind,
    /// The troop.
    pub troop_id: TroopId,
    /// The assignment; null for the troop's season.
    #[schema(required = true)]
    pub assignment_id: Option<AssignmentId>,
    /// The coordinator; null for the troop's season.
    #[schema(required = true)]
    pub person_id: Option<PersonId>,
    /// Why; null when nothing was said, or it was erased.
    #[schema(required = true, max_length = 400)]
    pub reason: Option<String>,
    /// When.
    pub decided_at: DateTime<Utc>,
    /// By whom, as the log names them.
    #[schema(max_length = 60)]
    pub decided_by: String,
}

impl TryFrom<DecisionRow> for DecisionOnRecord {
    type Error = ApiError;

    fn try_from(row: DecisionRow) -> Result<Self, ApiError> {
        Ok(Self {
            decision_id: DecisionId(row.decision_id),
            decision: standings::decision_kind(&row.kind)?,
            troop_id: TroopId(row.troop_id),
            assignment_id: row.assignment_id.map(AssignmentId),
            person_id: row.person_id.map(PersonId),
            reason: row.reason,
            decided_at: row.decided_at,
            decided_by: row.decided_by,
        })
    }
}

crate::page!(
    /// Decisions, the newest first.
    DecisionPage of DecisionOnRecord, since
);

/// List the decisions of a season, the newest first: who was appointed, suspended or restored, when, by whom and why.
#[utoipa::path(tag = "appointments", params(DecisionsPath, DecisionsQuery), extensions(("x-permission" = json!(EvidenceRead::NAME))), responses((status = 200, description = "The decisions.", body = DecisionPage), Problems))]
#[get("/v1/units/{unit_id}/decisions")]
pub async fn list_decisions(
    permit: Permit<EvidenceRead>,
    request: HttpRequest,
    _path: Path<DecisionsPath>,
    query: Query<DecisionsQuery>,
) -> Result<Answer<DecisionPage>, ApiError> {
    let DecisionsQuery { season, troop, person, updated_since, limit, cursor } = query.0;
    let filters = ("decisions", season, troop, person, updated_since);
    let before: Option<DecisionId> = page::decode(cursor.as_deref(), &filters)?;
    let (mut tx, unit) = (permit.tx()?, permit.unit()?);
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?;
    let since = updated_since.map(Since::seq);
    let wanted = sql::WantedDecisions { troop, person, since, before, limit: i64::from(limit) + 1 };
    let mut rows = sql::decisions(&mut tx, &permit, season.season_id, wanted).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<DecisionOnRecord> = rows.into_iter().map(DecisionOnRecord::try_from).collect::<Result<_, _>>()?;
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.decision_id, &filters)).transpose()?;
    let page = DecisionPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
