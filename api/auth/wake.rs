//! Telling who listens that a unit's log has grown: after each commit of this process, and by whoever looks for those of
//! others. It says only that; what is new is read from the log.

use std::collections::{HashMap, HashSet};
use std::sync::{LazyLock, Mutex, PoisonError};

use tokio::sync::{Notify, watch};

use crate::common::ids::UnitId;

type Bells = HashMap<UnitId, watch::Sender<()>>;

static BELLS: LazyLock<Mutex<Bells>> = LazyLock::new(Mutex::default);

/// The units whose logs have grown since somebody asked, and the bell for it.
static GROWN: LazyLock<(Mutex<HashSet<UnitId>>, Notify)> = LazyLock::new(|| (Mutex::default(), Notify::new()));

fn bells<T>(act: impl FnOnce(&mut Bells) -> T) -> T {
    act(&mut BELLS.lock().unwrap_or_else(PoisonError::into_inner))
}

/// Rings each time when the log of this unit has grown.
#[must_use]
pub fn when_grown(unit: UnitId) -> watch::Receiver<()> {
    bells(|bells| bells.entry(unit).or_insert_with(|| watch::Sender::new(())).subscribe())
}

/// Waits until the log of some unit has grown. For one who waits: the sender of webhooks.
pub async fn any_grown() {
    GROWN.1.notified().await;
}

/// The units whose logs have grown since this was asked last.
#[must_use]
pub fn grown_since() -> HashSet<UnitId> {
    std::mem::take(&mut *GROWN.0.lock().unwrap_or_else(PoisonError::into_inner))
}

/// The units to whose logs somebody listens.
#[must_use]
pub fn listened_to() -> Vec<UnitId> {
    bells(|bells| {
        bells.retain(|_, bell| bell.receiver_count() > 0);
        bells.keys().copied().collect()
    })
}

/// The log of this unit has grown.
pub fn grown(unit: UnitId) {
    GROWN.0.lock().unwrap_or_else(PoisonError::into_inner).insert(unit);
    GROWN.1.notify_one();
    bells(|bells| bells.get(&unit).map(|bell| bell.send_replace(())));
}
