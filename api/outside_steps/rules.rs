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

/// What the policy asks for, what happened, and what was ticked in a season.
#[derive(Debug, Default)]
pub(super) struct Book {
    pub steps: Vec<OutsideStep>,
    /// In the order in which they happened.
    pub events: Vec<Happened>,
    /// By event and step.
    pub ticks: BTreeMap<(Uuid, String), Tick>,
}

impl Book {
    /// Every step of the policy after every event that asks for it, in the order in which they happened.
    pub(super) fn due(&self) -> Vec<Due<'_>> {
        self.events.iter().flat_map(|after| self.after(after)).collect()
    }

    /// One step after one event, if the event asks for it.
    pub(super) fn find(&self, event: Uuid, step: &str) -> Option<Due<'_>> {
        let after = self.events.iter().find(|after| after.event_id == event)?;
        self.after(after).find(|due| due.step.code == step)
    }

    fn after<'a>(&'a self, after: &'a Happened) -> impl Iterator<Item = Due<'a>> {
        let asked = self.steps.iter().filter(|step| step.event == after.event);
        asked.map(|step| Due { step, after, done: self.ticks.get(&(after.event_id, step.code.clone())) })
    }
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
        let steps = vec![step("enter", Appointed), step("badge", Appointed), step("upload", ReturnFiled)];
        let events =
            vec![happened(1, Appointed), happened(2, Suspended), happened(3, ReturnFiled), happened(4, Appointed)];
        let ticks =
            BTreeMap::from([((Uuid::from_u128(1), "badge".to_owned()), ("account:x".to_owned(), events[0].at))]);
        let book = Book { steps, events, ticks };
        let due = book.due();
        let told: Vec<_> =
            due.iter().map(|due| (due.after.event_id.as_u128(), &*due.step.code, due.done.is_some())).collect();
        assert_eq!(
            told,
            [(1, "enter", false), (1, "badge", true), (3, "upload", false), (4, "enter", false), (4, "badge", false)]
        );
        assert_eq!(book.find(Uuid::from_u128(4), "badge"), due.last().cloned());
        assert_eq!(book.find(Uuid::from_u128(4), "upload"), None);
        assert_eq!(Book { steps: vec![], ..book }.due(), []);
    }
}
