//! Waivers and overrides that wait for a second person.

use chrono::{DateTime, Utc};

use super::{ExceptionState, override_gate, rules, waive_requirement};
use crate::auth::Tx;
use crate::auth::permission::{OverridesApprove, OverridesGive, WaiversApprove, WaiversGive};
use crate::common::ids::{PersonId, TroopId};
use crate::error::ApiError;
use crate::need::{Asked, Need, NeedKind, Request, Stake};
use crate::seasons::policy::Policy;
use crate::standings::sql::exceptions;

/// Looks for what one person has asked for and a second one has not agreed to.
///
/// # Errors
/// Database faults.
pub(in crate::standings) async fn look(tx: &mut Tx, asked: &Asked, policy: &Policy) -> Result<Vec<Need>, ApiError> {
    let (unit, season) = (asked.unit, asked.season.season_id);
    let waits = |course| rules::state(course, &asked.calendar, asked.now) == ExceptionState::Waiting;
    let mut found = Vec::new();
    for row in exceptions::waivers(tx, unit, season).await?.iter().filter(|row| waits(waive_requirement::course(row))) {
        let title = policy.requirements.iter().find(|one| one.code == row.requirement);
        let title = title.map_or(row.requirement.as_str(), |one| one.title.as_str());
        let path = asked.path(format_args!("waivers/{}", row.waiver_id));
        let what = format!("Agree to waive \"{title}\" for {{who}}{}, or refuse.", in_troop(row.troop_id.is_some()));
        let settle = vec![
            Request::bare::<WaiversApprove>(format!("{path}/approve")),
            Request::bare::<WaiversGive>(format!("{path}/end")),
        ];
        let subject = (row.troop_id.map(TroopId).into_iter().collect(), row.person_id.map(PersonId));
        found.push(need(NeedKind::AgreeToWaiver, (path, what), row.asked_at, subject, settle));
    }
    let overrides = exceptions::overrides(tx, unit, season, None).await?;
    for row in overrides.iter().filter(|row| waits(override_gate::course(row))) {
        let path = asked.path(format_args!("overrides/{}", row.override_id));
        let what = format!("Agree to let {{troops}} through the gate \"{}\", or refuse.", row.gate);
        let settle = vec![
            Request::bare::<OverridesApprove>(format!("{path}/approve")),
            Request::bare::<OverridesGive>(format!("{path}/end")),
        ];
        found.push(need(
            NeedKind::AgreeToOverride,
            (path, what),
            row.asked_at,
            (vec![TroopId(row.troop_id)], None),
            settle,
        ));
    }
    Ok(found)
}

const fn in_troop(of_troop: bool) -> &'static str {
    if of_troop { " ({troops})" } else { "" }
}

fn need(
    kind: NeedKind,
    (path, what): (String, String),
    asked_at: DateTime<Utc>,
    (troops, person): (Vec<TroopId>, Option<PersonId>),
    settle: Vec<Request>,
) -> Need {
    Need {
        kind,
        key: path.rsplit('/').next().unwrap_or_default().to_owned(),
        what,
        why: "One person has asked for it; the policy wants a second one, another than the first, to agree. Until then it has no effect.".to_owned(),
        since_at: Some(asked_at),
        by_at: None,
        stake: Stake::Nobody,
        troops,
        person,
        look: Some(path),
        settle,
    }
}
