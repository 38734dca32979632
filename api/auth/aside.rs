//! Small writes beside a request, for which nobody waits.

use super::actor::Actor;
use super::db::Db;
use super::system::System;
use super::{denials, keys};
use crate::common::ids::{KeyId, UnitId};

/// Counts that somebody in a unit asked for what is not allowed there.
pub(super) fn note_refusal(db: &Db, actor: Actor, unit: UnitId, operation: String) {
    let system = System::new(db.clone());
    actix_web::rt::spawn(async move {
        if let Err(error) = denials::count(&system, unit, &actor, &operation).await {
            tracing::warn!(%error, "a refusal was not counted");
        }
    });
}

/// Notes that a key for scripts was used.
pub(super) fn note_key_use(db: &Db, key: KeyId) {
    let system = System::new(db.clone());
    actix_web::rt::spawn(async move {
        if let Err(error) = keys::note_use(&system, key).await {
            tracing::warn!(%error, "the use of a key was not noted");
        }
    });
}
