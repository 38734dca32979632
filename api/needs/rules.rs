//! How pressing something is, in which order it comes, and how it is said. Pure.

use chrono::{DateTime, Utc};

use super::shown::{AtStake, StakeLevel};
use crate::common::ids::TroopId;
use crate::need::{Need, NeedKind, OutWithTroop, Stake};
use crate::seasons::policy::GateName;

/// How pressing something is. What has a day that is over comes first, whatever else is at stake.
pub(super) fn level(stake: &Stake, by_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> StakeLevel {
    if *stake == Stake::Alarm {
        return StakeLevel::Alarm;
    }
    if by_at.is_some_and(|by| by <= now) {
        return StakeLevel::Overdue;
    }
    match stake {
        Stake::Alarm => StakeLevel::Alarm,
        Stake::Behind => StakeLevel::Behind,
        Stake::Gates { shut, .. } if !shut.is_empty() => StakeLevel::Shut,
        Stake::Gates { ahead: true, .. } | Stake::Date => StakeLevel::Ahead,
        Stake::Gates { .. } | Stake::Vacancy | Stake::Nobody => {
            if by_at.is_some() {
                StakeLevel::Ahead
            } else {
                StakeLevel::Waiting
            }
        }
    }
}

/// What is at stake, with a sentence.
pub(super) fn at_stake(stake: &Stake, by_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> AtStake {
    let level = level(stake, by_at, now);
    let gates = match stake {
        Stake::Gates { shut, .. } => shut.clone(),
        _ => Vec::new(),
    };
    let begin = match level {
        StakeLevel::Overdue => "Its day is over. ",
        _ => "",
    };
    let rest = if gates.is_empty() {
        match level {
            StakeLevel::Alarm => "Nobody answers for it until somebody coordinates the troop, or it is back.",
            StakeLevel::Overdue => "Somebody may be waiting for it.",
            StakeLevel::Behind => {
                "What a list says does not count before this is done, so other items may be out of date."
            }
            StakeLevel::Shut | StakeLevel::Ahead => "If it is not done in time, something that is open now will shut.",
            StakeLevel::Waiting => "Nobody is held up by it yet.",
        }
        .to_owned()
    } else {
        format!("Until it is done, the troop may not {}.", acts(&gates))
    };
    let rest = match (stake, level) {
        (Stake::Date, StakeLevel::Ahead) => "It has a day that must not be missed.".to_owned(),
        _ => rest,
    };
    AtStake { level, gates, sentence: format!("{begin}{rest}") }
}

/// `order`, `order or collect`, `order, collect or earn`.
fn acts(gates: &[GateName]) -> String {
    let words: Vec<&str> = gates.iter().map(|gate| gate.name()).collect();
    match words.split_last() {
        Some((last, [])) => (*last).to_owned(),
        Some((last, before)) => format!("{} or {last}", before.join(", ")),
        None => String::new(),
    }
}

/// The place of an item among the others: how pressing, then the earlier day (none last), then more troops first, then
/// its name.
pub(super) type Place = (StakeRank, DateTime<Utc>, std::cmp::Reverse<usize>, String);

/// The level as a number, for page markers.
pub(super) type StakeRank = u8;

/// The number of a level.
pub(super) const fn rank(level: StakeLevel) -> StakeRank {
    match level {
        StakeLevel::Alarm => 0,
        StakeLevel::Overdue => 1,
        StakeLevel::Behind => 2,
        StakeLevel::Shut => 3,
        StakeLevel::Ahead => 4,
        StakeLevel::Waiting => 5,
    }
}

/// The alarms: what troops have out that nobody coordinates.
pub(super) fn alarms(out: Vec<OutWithTroop>, vacant: impl Fn(TroopId) -> bool) -> Vec<Need> {
    let alarms = out.into_iter().filter(|one| vacant(one.troop)).map(|one| Need {
        kind: NeedKind::VacantWithOut,
        key: format!("{}:{}", one.troop, one.look),
        what: format!("Get back what {{troops}} has out, or find a coordinator: {}.", one.what),
        why: "Nobody coordinates the troop, so nobody answers for it.".to_owned(),
        since_at: one.since_at,
        by_at: None,
        stake: Stake::Alarm,
        troops: vec![one.troop],
        person: None,
        look: Some(one.look),
        settle: one.settle,
    });
    alarms.collect()
}

/// A sentence with its people and troops.
pub(super) fn said(sentence: &str, who: &str, numbers: &[&str]) -> String {
    let troops = match numbers.split_last() {
        None => "no troop".to_owned(),
        Some((one, [])) => format!("troop {one}"),
        Some((last, before)) => format!("troops {} and {last}", before.join(", ")),
    };
    // In one pass: a name that holds a brace is a name.
    let mut told = String::with_capacity(sentence.len());
    let mut rest = sentence;
    while let Some((before, after)) = rest.split_once('{') {
        told.push_str(before);
        rest = if let Some(after) = after.strip_prefix("who}") {
            told.push_str(who);
            after
        } else if let Some(after) = after.strip_prefix("troops}") {
            told.push_str(&troops);
            after
        } else {
            told.push('{');
            after
        };
    }
    told.push_str(rest);
    told
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn how_pressing_something_is() {
        let now = at("2040-01-10T16:00:00Z");
        let (past, ahead) = (Some(at("2040-01-10T16:00:00Z")), Some(at("2040-01-10T16:00:01Z")));
        let gates = |shut: &[GateName], ahead| Stake::Gates { shut: shut.to_vec(), ahead };
        for (stake, by_at, expected) in [
            (Stake::Alarm, past, StakeLevel::Alarm),
            (Stake::Date, past, StakeLevel::Overdue),
            (Stake::Behind, past, StakeLevel::Overdue),
            (Stake::Date, ahead, StakeLevel::Ahead),
            (Stake::Behind, None, StakeLevel::Behind),
            (gates(&[GateName::Order], false), None, StakeLevel::Shut),
            (gates(&[GateName::Order], true), ahead, StakeLevel::Shut),
            (gates(&[], true), None, StakeLevel::Ahead),
            (gates(&[], false), None, StakeLevel::Waiting),
            (gates(&[], false), ahead, StakeLevel::Ahead),
            (Stake::Vacancy, None, StakeLevel::Waiting),
            (Stake::Nobody, None, StakeLevel::Waiting),
        ] {
            assert_eq!(level(&stake, by_at, now), expected, "{stake:?} {by_at:?}");
        }
    }

    #[test]
    fn what_a_vacant_troop_has_out_is_an_alarm_before_everything_else() {
        let troop = |number: u128| TroopId(uuid::Uuid::from_u128(number));
        let out = |number: u128, what: &str| OutWithTroop {
            troop: troop(number),
            what: what.to_owned(),
            since_at: None,
            look: format!("/v1/units/u/goods/{number}"),
            settle: vec![],
        };
        let told = alarms(vec![out(1, "38 packages"), out(2, "a kit")], |one| one == troop(1));
        let [alarm] = &told[..] else { panic!("{told:?}") };
        assert_eq!(
            said(&alarm.what, "", &["0103"]),
            "Get back what troop 0103 has out, or find a coordinator: 38 packages."
        );
        let now = at("2040-01-10T16:00:00Z");
        let stake = at_stake(&alarm.stake, alarm.by_at, now);
        assert!(stake.sentence.starts_with("Nobody answers for it"), "{}", stake.sentence);
        assert!(rank(stake.level) < rank(StakeLevel::Overdue));
    }

    #[test]
    fn the_sentence_names_what_is_shut() {
        let now = at("2040-01-10T16:00:00Z");
        let told = |gates: &[GateName], by_at| {
            at_stake(&Stake::Gates { shut: gates.to_vec(), ahead: false }, by_at, now).sentence
        };
        assert_eq!(told(&[GateName::Order], None), "Until it is done, the troop may not order.");
        assert_eq!(
            told(&[GateName::Order, GateName::Collect, GateName::Earn], Some(now)),
            "Its day is over. Until it is done, the troop may not order, collect or earn."
        );
        assert_eq!(told(&[], None), "Nobody is held up by it yet.");
        assert_eq!(
            at_stake(&Stake::Date, Some(at("2040-02-01T00:00:00Z")), now).sentence,
            "It has a day that must not be missed."
        );
    }

    #[test]
    fn a_sentence_gets_its_people_and_troops_once() {
        assert_eq!(
            said("Appoint {who} for {troops}.", "Ada {troops}", &["0101"]),
            "Appoint Ada {troops} for troop 0101."
        );
        assert_eq!(said("{troops}", "", &["1", "2", "3"]), "troops 1, 2 and 3");
        assert_eq!(said("\"{x\" of {who}", "Ada", &[]), "\"{x\" of Ada");
    }
}
