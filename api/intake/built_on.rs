//! What stands on an applied list, each with the request that undoes it, or with what to do instead where nothing does.

use super::sql::{LockedIntake, reversal};
use crate::auth::Tx;
use crate::common::ids::{SeasonId, UnitId};
use crate::error::{ApiError, FieldError};
use crate::frozen;
use crate::roster::{self, MadeByList, Undoing};

/// The most things that an answer names.
const NAMED: usize = 100;

/// What stands on a list, the newest first.
pub(super) async fn built_on(
    tx: &mut Tx,
    unit: UnitId,
    locked: &LockedIntake,
    made: &MadeByList,
) -> Result<Vec<FieldError>, ApiError> {
    let season = SeasonId(locked.0.season_id);
    let at = |path: &str| format!("/v1/units/{unit}/{path}");
    let right_fact = format!("enter what is right instead (POST {})", at("evidence"));
    let mut built = Vec::new();
    if let Some(number) = frozen::frozen_since(tx, unit, (frozen::Kind::SeasonReturn, season), locked.0.log_seq).await?
    {
        let detail = format!(
            "season return number {number} was filed with what this list says. It cannot be unfiled: {right_fact}, then file a further return (POST {})",
            at("returns")
        );
        built.push(FieldError::matter("filed_return", detail));
    }
    for decision in reversal::later_decisions(tx, unit, locked, made).await? {
        let detail = format!(
            "a decision about troop {} was taken since: {}, on {}. It cannot be undone, since the opposite decision is a decision too: {right_fact}, and decide anew",
            decision.number,
            decision.kind.replace('_', " "),
            decision.decided_at.format("%Y-%m-%d %H:%M UTC")
        );
        built.push(FieldError::matter("later_decision", detail));
    }
    for list in reversal::later_lists(tx, unit, locked, made).await? {
        let what_to_do = if list.too_old {
            format!("It cannot be taken back, being applied before lists could be: {right_fact}")
        } else {
            format!("Take that one back first (POST {})", at(&format!("intakes/{}/reverse", list.intake_id)))
        };
        let kind = list.kind.replace('_', " ");
        let detail =
            format!("a later list, {} ({kind} of {}), was applied. {what_to_do}", list.file_name, list.listed_on);
        built.push(FieldError::matter("later_list", detail));
    }
    for used in roster::built_on(tx, unit, made).await? {
        let what_to_do = match used.undoing {
            Undoing::Request(path) => format!("To undo it: POST {}", at(&path)),
            Undoing::ByItself(at) => {
                format!("No request undoes it; it ends by itself at {}", at.format("%Y-%m-%d %H:%M UTC"))
            }
            Undoing::Instead(path) => format!(
                "It cannot be undone, since it stays on record: let the person stand down if it was wrong (POST {}), and {right_fact}",
                at(&path)
            ),
            Undoing::Never => format!("It cannot be undone, since it stays on record: {right_fact}"),
        };
        built.push(FieldError::matter("used_since", format!("{}. {what_to_do}", used.what)));
    }
    for used in reversal::troop_uses(tx, unit, season, made).await? {
        let detail = format!(
            "troop {} takes part in this season by this list and has {} since. That stays on record: if the troop takes no part, let it sit out (POST {}); if the list described it wrongly, change the troop (PATCH {})",
            used.number,
            used.what,
            at(&format!("troops/{}/sit-out", used.troop_id)),
            at(&format!("troops/{}", used.troop_id))
        );
        built.push(FieldError::matter("used_since", detail));
    }
    built.truncate(NAMED);
    Ok(built)
}
