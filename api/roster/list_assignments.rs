//! Who coordinates which troop.

use actix_web::{HttpRequest, get};
use chrono::{DateTime, Utc};
use garde::Validate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::list_troops::RosterPath;
use super::sql::assignments::{self, AssignmentRow, Wanted};
use crate::auth::Permit;
use crate::auth::permission::{AssignmentsRead, Permission as _};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::etag::etag;
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};
use crate::seasons;

/// A person's place as coordinator of a troop in a season. While it is confirmed and lasts, it is the person's scope.
#[derive(Debug, Serialize, ToSchema)]
pub struct Assignment {
    /// Which one.
    pub assignment_id: AssignmentId,
    /// The troop.
    pub troop_id: TroopId,
    /// The season.
    pub season_id: SeasonId,
    /// The person.
    pub person_id: PersonId,
    /// Whether as the troop's lead coordinator.
    pub lead: bool,
    /// From when.
    pub from_at: DateTime<Utc>,
    /// Until when; null if no end is settled.
    #[schema(required = true)]
    pub until_at: Option<DateTime<Utc>>,
    /// When a list proposed it; null if a person named the coordinator.
    #[schema(required = true)]
    pub proposed_at: Option<DateTime<Utc>>,
    /// When a person confirmed it; null while it counts nothing.
    #[schema(required = true)]
    pub confirmed_at: Option<DateTime<Utc>>,
    /// When a person declined the proposal; null otherwise.
    #[schema(required = true)]
    pub declined_at: Option<DateTime<Utc>>,
    /// When it was ended; null otherwise.
    #[schema(required = true)]
    pub ended_at: Option<DateTime<Utc>>,
    /// Why it ended, or will end; null while it goes on, and where nobody said.
    #[schema(required = true)]
    pub ended_because: Option<EndedBecause>,
    /// The version of these fields.
    #[schema(max_length = 30, example = "\"v1\"")]
    pub etag: String,
}

/// Why an assignment ended. New values may come.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EndedBecause {
    /// The coordinator stood down.
    StoodDown,
    /// Somebody else took over.
    Replaced,
    /// The person left the unit.
    Left,
    /// Its time was over.
    RanOut,
    /// It was one person's twice, before two rows of that person became one.
    Merged,
    /// The troop went into another one, or a part of it became a troop of its own.
    Regrouped,
}

impl EndedBecause {
    const ALL: [Self; 6] = [Self::StoodDown, Self::Replaced, Self::Left, Self::RanOut, Self::Merged, Self::Regrouped];

    pub(super) fn name(self) -> &'static str {
        match self {
            Self::StoodDown => "stood_down",
            Self::Replaced => "replaced",
            Self::Left => "left",
            Self::RanOut => "ran_out",
            Self::Merged => "merged",
            Self::Regrouped => "regrouped",
        }
    }

    fn named(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|reason| reason.name() == name)
    }
}

impl From<AssignmentRow> for Assignment {
    fn from(row: AssignmentRow) -> Self {
        Self {
            assignment_id: AssignmentId(row.assignment_id),
            troop_id: TroopId(row.troop_id),
            season_id: SeasonId(row.season_id),
            person_id: PersonId(row.person_id),
            lead: row.lead,
            from_at: row.from_at,
            until_at: row.until_at,
            proposed_at: row.proposed_at,
            confirmed_at: row.confirmed_at,
            declined_at: row.declined_at,
            ended_at: row.ended_at,
            ended_because: row.ended_because.as_deref().and_then(EndedBecause::named),
            etag: etag(row.version),
        }
    }
}

/// Which assignments.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct AssignmentsQuery {
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// Of this troop only.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// Of this person only.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
    /// True: only proposals that wait for a person; false: everything else.
    #[garde(skip)]
    proposed: Option<bool>,
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
    /// Assignments, the oldest first.
    AssignmentPage of Assignment, since
);

/// List who coordinates which troop, has done so, or is proposed to, the oldest first.
#[utoipa::path(tag = "roster", params(RosterPath, AssignmentsQuery), extensions(("x-permission" = json!(AssignmentsRead::NAME))), responses((status = 200, description = "The assignments.", body = AssignmentPage), Problems))]
#[get("/v1/units/{unit_id}/assignments")]
pub async fn list_assignments(
    permit: Permit<AssignmentsRead>,
    request: HttpRequest,
    _path: Path<RosterPath>,
    query: Query<AssignmentsQuery>,
) -> Result<Answer<AssignmentPage>, ApiError> {
    let AssignmentsQuery { season, troop, person, proposed, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("assignments", unit, season, troop, person, proposed, updated_since);
    let after: Option<AssignmentId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?.season_id;
    let since = updated_since.map(Since::seq);
    let wanted = Wanted { season, troop, person, proposed, since, after, limit: i64::from(limit) + 1 };
    let mut rows = assignments::list(&mut tx, unit, permit.read_scope(), wanted).await?;
    let more = page::cut(&mut rows, limit);
    let items: Vec<Assignment> = rows.into_iter().map(Assignment::from).collect();
    let next_cursor =
        items.last().filter(|_| more).map(|row| page::encode(&row.assignment_id, &filters)).transpose()?;
    let page = AssignmentPage { log_seq, items, next_cursor };
    Ok(Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref()))
}
