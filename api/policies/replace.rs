//! Putting another policy in force, with the brake: for changing and for copying.

use super::rules::{self, TroopUnderPolicy};
use crate::auth::permission::PolicyChange;
use crate::auth::{Permit, Tx};
use crate::change::{self, Touched};
use crate::common::stamp;
use crate::error::{ApiError, Code, FieldError};
use crate::seasons::policy::{self, Fault, Policy};
use crate::seasons::{self, PolicyVersion, ThisSeason};
use crate::standings;

/// What a policy would do, with the stamp that confirms exactly that.
pub(super) struct Trial {
    pub changed: Vec<TroopUnderPolicy>,
    /// How many troops were compared.
    pub troops: usize,
    pub appointed: usize,
    pub falling: usize,
    pub needs_confirmation: bool,
    pub stamp: String,
}

/// Refuses a policy with faults, telling every one of them in the words of `told`.
pub(super) fn check(new: &Policy, milestones: &[String], told: impl Fn(Fault) -> FieldError) -> Result<(), ApiError> {
    let milestones: Vec<&str> = milestones.iter().map(String::as_str).collect();
    let faults = policy::validate(new, &milestones);
    if faults.is_empty() {
        Ok(())
    } else {
        Err(ApiError::new(Code::Invalid).errors(faults.into_iter().map(told).collect()))
    }
}

/// A fault at its place in the body, where the body is the policy.
pub(super) fn in_body(Fault { pointer, code, detail }: Fault) -> FieldError {
    FieldError::at(pointer, code, detail)
}

/// Tries a policy on the troops as they stand.
pub(super) async fn try_out(
    tx: &mut Tx,
    by: &Permit<PolicyChange>,
    season: &ThisSeason,
    before: &PolicyVersion,
    new: &Policy,
) -> Result<Trial, ApiError> {
    let compared = standings::compare(tx, by.unit()?, season, (&before.policy, new)).await?;
    let changed = rules::changed(&compared);
    let appointed = rules::appointed(&compared);
    let falling = changed.iter().filter(|one| one.falls()).count();
    let needs_confirmation = rules::brakes(falling, appointed, before.policy.mass_lapse_percent);
    let stamp = rules::stamp(season.season_id, before.version, new, &changed);
    let stamp = stamp.map_err(|error| ApiError::internal(&error))?;
    Ok(Trial { changed, troops: compared.len(), appointed, falling, needs_confirmation, stamp })
}

/// Puts a checked policy in force: tries it on the troops as they stand now, holds it to the brake, writes the next
/// version, and computes every troop's standing anew.
pub(super) async fn replace(
    tx: &mut Tx,
    by: &Permit<PolicyChange>,
    season: &ThisSeason,
    before: &PolicyVersion,
    (new, confirmed): (Policy, Option<&str>),
) -> Result<PolicyVersion, ApiError> {
    let unit = by.unit()?;
    let touched = Touched::season(season.season_id);
    change::hold(tx, unit, &touched).await?;
    let trial = try_out(tx, by, season, before, &new).await?;
    brake(&trial, before.policy.mass_lapse_percent, confirmed)?;
    let log_seq = tx.seq().await?;
    let version = before.version.saturating_add(1);
    let made = PolicyVersion { version, policy: new, made_at: tx.logged_at() };
    seasons::put_policy(tx, by, season.season_id, &made, log_seq).await?;
    tx.about("season", season.season_id);
    tx.about("policy_version", made.version);
    change::refresh(tx, unit, &touched).await?;
    Ok(made)
}

const STALE: &str = "This stamp is not the one of this policy as things stand: either the policy that was previewed was another one, or something has changed since. Try this policy again (preview_policy), look at what it would change, and send the stamp that it tells then.";

/// A stamp that was sent must be the present one; without one nothing goes through that takes the appointment from more
/// than the share.
fn brake(trial: &Trial, share_percent: u8, confirmed: Option<&str>) -> Result<(), ApiError> {
    match confirmed {
        Some(stamp) => return stamp::confirmed(stamp, &trial.stamp, STALE),
        None if !trial.needs_confirmation => return Ok(()),
        None => {}
    }
    let detail = format!(
        "This policy would take the appointment from {} of {} appointed troops, more than {share_percent} % of them. Look at the list below (preview_policy shows all of it); if it is meant, send the same request with the stamp given below as confirm_stamp.",
        trial.falling, trial.appointed
    );
    let falling = trial.changed.iter().filter(|one| one.falls()).take(990);
    let mut errors = vec![FieldError::matter("confirm_stamp", &*trial.stamp)];
    errors.extend(
        falling.map(|one| FieldError::matter("loses_appointment", format!("{} {}", one.number, one.name).trim())),
    );
    Err(ApiError::new(Code::ConfirmationNeeded).detail(detail).errors(errors))
}
