//! What of the roster needs a person now: coordinators whom a list proposes.

use serde_json::json;

use super::sql::needs::{self as sql, Proposal};
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
    Ok(proposals.into_iter().map(|proposal| need(asked, &proposal, lead_counts)).collect())
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
