//! Who hears of what, by hand.

use std::collections::BTreeSet;

use super::*;
use crate::common::ids::TroopId;
use crate::server::document::DOCUMENT;

fn id(number: u128) -> Uuid {
    Uuid::from_u128(number)
}

/// Troop 1 with person 11 and assignment 21 is the own one.
const OWN: u128 = 1;

fn event(action: &str, subjects: &[(&str, u128)]) -> Event {
    let subjects =
        subjects.iter().map(|(kind, number)| EventSubject { kind: (*kind).to_owned(), id: id(*number).to_string() });
    Event {
        seq: 7,
        at: DateTime::from_timestamp(0, 0).unwrap(),
        action: action.to_owned(),
        subjects: subjects.collect(),
    }
}

/// What is heard by who holds these permissions over the unit, and these over troop 1: the kinds and numbers.
fn heard(unit_wide: &[&str], own: &[&str], event: Event) -> Option<Vec<(String, u128)>> {
    let scope_of = |name: &str| {
        if unit_wide.contains(&name) {
            Scope::Unit
        } else if own.contains(&name) {
            Scope::Troops(vec![TroopId(id(OWN))])
        } else {
            Scope::Nothing
        }
    };
    let ties = OwnTies { people: [id(11)].into(), assignments: [id(21)].into() };
    let heard = Listener { scope_of: &scope_of, own: &ties }.hears(event)?;
    let number = |subject: EventSubject| (subject.kind, subject.id.parse::<Uuid>().unwrap().as_u128());
    Some(heard.subjects.into_iter().map(number).collect())
}

/// What a role holds here that matters.
const READS: &[&str] = &[
    "events.read",
    "troops.read",
    "people.read",
    "contacts.read",
    "assignments.read",
    "standings.read",
    "seasons.read",
];
const VIEWS: &[&str] = &["events.read", "troops.read", "standings.read", "seasons.read"];

#[test]
fn a_coordinator_hears_of_the_own_troop_and_of_nothing_that_is_also_about_another() {
    let own = |action, subjects: &[(&str, u128)]| heard(&[], READS, event(action, subjects));
    let appointed = [("assignment", 21), ("person", 11), ("troop", 1)];
    let all = appointed.iter().map(|(kind, number)| ((*kind).to_owned(), *number)).collect::<Vec<_>>();
    assert_eq!(own("appoint_coordinator", &appointed), Some(all));
    for subjects in [
        &[("assignment", 22), ("person", 12), ("troop", 2)][..],
        // Each of these has one strange thing beside own ones.
        &[("assignment", 21), ("person", 11), ("troop", 1), ("troop", 2)],
        &[("assignment", 22), ("person", 11), ("troop", 1)],
        &[("assignment", 21), ("person", 12), ("troop", 1)],
        // And these name no troop at all.
        &[],
        &[("season", 5)],
    ] {
        assert_eq!(own("appoint_coordinator", subjects), None, "{subjects:?}");
    }
    assert_eq!(own("merge_troops", &[("troop", 1), ("troop", 2), ("regrouping", 9)]), None);
    assert_eq!(own("change_person", &[("person", 11)]), Some(vec![("person".to_owned(), 11)]));
    assert_eq!(own("change_person", &[("person", 12)]), None);
    assert_eq!(own("add_milestone", &[("milestone", 31)]), None);
    assert_eq!(own("merge_person", &[("person", 11), ("merged_person", 12)]), None);
}

#[test]
fn what_time_changed_for_several_troops_at_once_is_told_of_the_own_one_alone() {
    let own = |subjects: &[(&str, u128)]| heard(&[], READS, event("standing_changed", subjects));
    assert_eq!(own(&[("troop", 2), ("troop", 1), ("troop", 3)]), Some(vec![("troop".to_owned(), 1)]));
    assert_eq!(own(&[("troop", 2), ("troop", 3)]), None);
}

#[test]
fn a_viewer_hears_what_happened_without_the_ids_of_people() {
    let viewer = |action, subjects: &[(&str, u128)]| heard(VIEWS, &[], event(action, subjects));
    let subjects = [("assignment", 22), ("person", 12), ("troop", 2), ("decision", 41)];
    assert_eq!(viewer("appoint_coordinator", &subjects), Some(vec![("troop".to_owned(), 2)]));
    assert_eq!(viewer("name_coordinator", &subjects), None, "who is named is not for viewers");
    assert_eq!(viewer("add_milestone", &[("milestone", 31)]), Some(vec![("milestone".to_owned(), 31)]));
    // Somebody who views the unit and coordinates a troop hears of people of the own troop.
    let both = heard(VIEWS, READS, event("appoint_coordinator", &[("person", 11), ("person", 12), ("troop", 2)]));
    assert_eq!(both, Some(vec![("person".to_owned(), 11), ("troop".to_owned(), 2)]));
}

#[test]
fn what_was_seen_of_a_person_accounts_and_screenings_are_for_the_readers_of_the_log() {
    for action in [
        "record_evidence",
        "report_step",
        "list_evidence",
        "make_calendar",
        "invite_person",
        "accept_invitation",
        "a_new_one",
    ] {
        let event = event(action, &[("evidence", 51), ("person", 11), ("troop", 1)]);
        assert_eq!(heard(&[], READS, event.clone()), None, "{action}");
        assert_eq!(heard(READS, &[], event.clone()), None, "{action}");
        let log = heard(&["events.read", "log.read"], &[], event).unwrap();
        assert_eq!(log.len(), 3, "{action}");
    }
    let roles = |held: &[&str]| heard(held, &[], event("give_role", &[("grant", 61), ("person", 12)]));
    assert_eq!(roles(READS), None);
    assert_eq!(roles(&["events.read", "grants.read"]), Some(vec![("grant".to_owned(), 61)]));
}

/// What only the log's readers hear, typed by hand: a new operation is told to others, or stands here.
const FOR_THE_LOGS_READERS: &[&str] = &[
    "change_mail_settings",
    "change_mail_template",
    "end_calendar",
    "invite_person",
    "make_calendar",
    "record_evidence",
    "record_evidence_about_many",
    "report_step",
    "withdraw_evidence",
    "change_webhook",
    "end_webhook",
    "make_webhook",
    "resend_webhook_delivery",
    "resume_webhook",
    "rotate_webhook_secret",
    "restore_mail_template",
    "test_webhook",
    // These change nothing.
    "preview_message",
    "preview_policy",
    "preview_troop_merge",
];

/// What no operation does: time, and the worker that sends mail.
const BY_ITSELF: [&str; 3] = [PARTED, "message_sent", "message_given_up"];

#[test]
fn every_change_in_a_unit_is_told_to_others_or_meant_for_the_logs_readers() {
    let told: BTreeSet<&str> = ACTIONS.iter().flat_map(|(_, actions)| *actions).copied().collect();
    let in_units = DOCUMENT.paths.paths.iter().filter(|(path, _)| path.starts_with("/v1/units/{unit_id}/"));
    let changing = in_units.flat_map(|(_, item)| [&item.post, &item.put, &item.patch, &item.delete]).flatten();
    let changes: BTreeSet<&str> = changing.filter_map(|operation| operation.operation_id.as_deref()).collect();
    let decided: BTreeSet<&str> =
        told.iter().chain(FOR_THE_LOGS_READERS).copied().filter(|id| !BY_ITSELF.contains(id)).collect();
    assert_eq!(changes, decided, "left: the document, right: who hears of it");
}
