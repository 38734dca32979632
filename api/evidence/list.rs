//! List the facts that were recorded, one by one.

use actix_web::{HttpRequest, get};
use garde::Validate;
use serde::Deserialize;
use utoipa::IntoParams;

use super::record::EvidencePath;
use crate::auth::Permit;
use crate::auth::permission::{EvidenceRead, Permission as _, ScreeningsRead};
use crate::common::answer::Answer;
use crate::common::body::{Path, Query};
use crate::common::ids::{EvidenceId, PersonId, SeasonId, TroopId};
use crate::common::page;
use crate::common::since::Since;
use crate::error::{ApiError, Problems};
use crate::seasons;
use crate::standings::{self, FactsWanted, RecordedFact};

/// Which facts.
#[derive(Debug, Deserialize, Validate, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FactsQuery {
    /// The season meant; without it, the current one.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    season: Option<SeasonId>,
    /// About this person only.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    person: Option<PersonId>,
    /// About this troop only.
    #[garde(skip)]
    #[param(value_type = Option<uuid::Uuid>)]
    troop: Option<TroopId>,
    /// About this requirement only, by its code.
    #[garde(length(min = 1, max = 40))]
    #[param(min_length = 1, max_length = 40)]
    requirement: Option<String>,
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
    /// Facts as they were recorded, the newest first.
    FactPage of RecordedFact, since
);

/// List the facts about requirements as they were recorded, the newest first: by whom, from which list and row, and what
/// was withdrawn.
///
/// Screenings are among them for whoever may see them (`screenings.read`); looking at one is noted in the unit's log.
#[utoipa::path(tag = "evidence", params(EvidencePath, FactsQuery), extensions(("x-permission" = json!(EvidenceRead::NAME))), responses((status = 200, description = "The facts.", body = FactPage), Problems))]
#[get("/v1/units/{unit_id}/evidence")]
pub async fn list_evidence(
    permit: Permit<EvidenceRead>,
    request: HttpRequest,
    _path: Path<EvidencePath>,
    query: Query<FactsQuery>,
) -> Result<Answer<FactPage>, ApiError> {
    let FactsQuery { season, person, troop, requirement, updated_since, limit, cursor } = query.0;
    let unit = permit.unit()?;
    let filters = ("evidence", season, person, troop, requirement.clone(), updated_since);
    let after: Option<EvidenceId> = page::decode(cursor.as_deref(), &filters)?;
    let mut tx = permit.tx()?;
    let log_seq = tx.log_seq().await?;
    let season = seasons::resolve(&mut tx, unit, season).await?.season_id;
    let screenings = permit.holds::<ScreeningsRead>();
    let since = updated_since.map(Since::seq);
    let wanted = FactsWanted { person, troop, requirement, screenings, since, after, limit: i64::from(limit) + 1 };
    let mut items = standings::facts_on_record(&mut tx, unit, season, &wanted).await?;
    let more = page::cut(&mut items, limit);
    let next_cursor = items.last().filter(|_| more).map(|row| page::encode(&row.evidence_id, &filters)).transpose()?;
    let looked_at: Vec<EvidenceId> = items.iter().filter(|fact| fact.screening).map(|fact| fact.evidence_id).collect();
    let page = FactPage { log_seq, items, next_cursor };
    let answer = Answer::new(&page)?.tag_without(&["log_seq"]).next_page(&request, page.next_cursor.as_deref());
    if looked_at.is_empty() {
        return Ok(answer);
    }
    for fact in looked_at {
        tx.about("evidence", fact);
    }
    tx.note_reading(answer).await
}
