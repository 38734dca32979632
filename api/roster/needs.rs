//! What of the roster needs a person now: coordinators whom a list proposes.

use serde_json::json;

use super::sql::needs::{self as sql, Ending, Proposal};
use crate::auth::Tx;
use crate::auth::permission::AssignmentsChange;
use crate::common::ids::{PersonId, TroopId};
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons;
use crate::seasons::policy::CountedCoordinators;

/// Looks at the proposals of a season.
///
/// # Errors
/// Database faults.
pub(super) async fn look(tx: &mut Tx, asked: &Asked) -> Result<Vec<Need>, ApiError> {
    let proposals = sql::proposals(tx, asked.unit, asked.season.season_id).await?;
    let policy = seasons::policy_of(tx, asked.unit, asked.season.season_id).await?;
    let lead_counts = policy.counted_coordinators == CountedCoordinators::Lead;
    let proposed = proposals.into_iter().map(|proposal| need(asked, &proposal, lead_counts));
    let endings = sql::ending(tx, asked.unit, asked.season.season_id, asked.ahead_until).await?;
    let ending = endings.into_iter().map(|one| successor(asked, &one, lead_counts));
    Ok(proposed.chain(ending).collect())
}

/// Somebody's place ends on a day that is known: whoever follows is found before it, not after.
fn successor(asked: &Asked, ending: &Ending, lead_counts: bool) -> Need {
    let day = asked.calendar.date(ending.until_at);
    let why = if ending.leaves { "The coordinator leaves." } else { "The place was given until then, for a deputy." };
    let path = asked.path(format_args!("assignments/{}/replace", ending.assignment_id));
    let gates = ending.lead || !lead_counts;
    Need {
        kind: NeedKind::FindSuccessor,
        key: ending.assignment_id.to_string(),
        what: format!(
            "Say who follows {{who}} as coordinator of {{troops}}: the place ends when {day} begins or on it."
        ),
        why: why.to_owned(),
        since_at: None,
        by_at: Some(ending.until_at),
        stake: if gates { Stake::Date } else { Stake::Nobody },
        troops: vec![TroopId(ending.troop_id)],
        person: Some(PersonId(ending.person_id)),
        look: Some(asked.path(format_args!("assignments?troop={}", ending.troop_id))),
        settle: vec![Request::post::<AssignmentsChange>(path, json!({})).fill_in("/person_id").fill_in("/reason")],
    }
}

fn need(asked: &Asked, proposal: &Proposal, lead_counts: bool) -> Need {
    let at = |act: &str| asked.path(format_args!("assignments/{}/{act}", proposal.assignment_id));
    // A troop has one lead: who is proposed beside one is confirmed as a co-coordinator.
    let lead = proposal.lead && !proposal.led;
    let duty = if lead { "lead coordinator" } else { "co-coordinator" };
    Need {
        kind: NeedKind::ConfirmCoordinator,
        key: proposal.assignment_id.to_string(),
        what: format!("Confirm or decline {{who}} as {duty} of {{troops}}."),
        why: "A list proposes it; until a person confirms it, it gives nobody anything.".to_owned(),
        since_at: proposal.proposed_at,
        by_at: None,
        // Where the lead counts, a co-coordinator opens nothing.
        stake: if lead || !lead_counts { Stake::Vacancy } else { Stake::Nobody },
        troops: vec![TroopId(proposal.troop_id)],
        person: Some(PersonId(proposal.person_id)),
        look: Some(asked.path(format_args!("people/{}", proposal.person_id))),
        settle: vec![
            Request::post::<AssignmentsChange>(at("confirm"), json!({"lead": lead})),
            Request::bare::<AssignmentsChange>(at("decline")),
        ],
    }
}
