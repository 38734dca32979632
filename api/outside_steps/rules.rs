//! Which steps are to be done after what happened.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::seasons::policy::{OutsideEvent, OutsideStep};

/// Something that happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Happened {
    pub event_id: Uuid,
    pub event: OutsideEvent,
    pub troop_id: Option<Uuid>,
    pub person_id: Option<Uuid>,
    pub at: DateTime<Utc>,
}

/// Who ticked it, and when.
pub(super) type Tick = (String, DateTime<Utc>);

/// A step after an event, done or not.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Due<'a> {
    pub step: &'a OutsideStep,
    pub after: &'a Happened,
    pub done: Option<&'a Tick>,
}

/// Every step of the policy after every event that asks for it, in the order in which they happened.
pub(super) fn due<'a>(
    steps: &'a [OutsideStep],
    events: &'a [Happened],
    ticks: &'a BTreeMap<(Uuid, String), Tick>,
) -> Vec<Due<'a>> {
    let after = |after: &'a Happened| {
        let asked = steps.iter().filter(|step| step.event == after.event);
        asked.map(|step| Due { step, after, done: ticks.get(&(after.event_id, step.code.clone())) })
    };
    events.iter().flat_map(after).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(code: &str, event: OutsideEvent) -> OutsideStep {
        OutsideStep { code: code.to_owned(), title: code.to_owned(), event }
    }

    fn happened(number: u128, event: OutsideEvent) -> Happened {
        let at = "2026-11-01T12:00:00Z".parse().unwrap();
        Happened { event_id: Uuid::from_u128(number), event, troop_id: None, person_id: None, at }
    }

    #[test]
    fn each_event_asks_for_its_own_steps_and_a_tick_is_of_one_of_them() {
        use OutsideEvent::{Appointed, ReturnFiled, Suspended};
        let steps = [step("enter", Appointed), step("badge", Appointed), step("upload", ReturnFiled)];
        let events = [happened(1, Appointed), happened(2, Suspended), happened(3, ReturnFiled), happened(4, Appointed)];
        let ticks =
            BTreeMap::from([((Uuid::from_u128(1), "badge".to_owned()), ("account:x".to_owned(), events[0].at))]);
        let due = due(&steps, &events, &ticks);
        let told: Vec<_> =
            due.iter().map(|due| (due.after.event_id.as_u128(), &*due.step.code, due.done.is_some())).collect();
        assert_eq!(
            told,
            [(1, "enter", false), (1, "badge", true), (3, "upload", false), (4, "enter", false), (4, "badge", false)]
        );
        assert_eq!(super::due(&[], &events, &ticks), []);
    }
}
