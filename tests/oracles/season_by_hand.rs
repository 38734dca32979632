//! A season worked by hand: twelve troops, its events day by day, and the state of every troop on every day, typed from the
//! paper and not from the program.
//!
//! The policy is common practice in the trade (no source: current membership, registered as coordinator, screening on
//! file, the troop's bank form, yearly training, one more course in a first season; a quiz passed with 90 %; those still
//! under way may place an opening order, but earn nothing until appointed; no bank form, no goods; after opening orders
//! close, those not appointed are suspended; lists twice a week). The days of grace, seven, are this test's own.

mod book;

use caselot::seasons::policy::{GateName, validate};
use caselot::standings::rules::{Standing, TroopState, open_requirements, standing};

use self::book::{ANA, BO, Book, DITA, GUS, at, calendar, day, place, policy, season};

/// `o` sitting out, `v` vacant, `s` suspended, `l` lapsed, `a` appointed, `r` ready, `g` gathering.
fn letter(state: TroopState) -> char {
    match state {
        TroopState::SittingOut => 'o',
        TroopState::Vacant => 'v',
        TroopState::Suspended => 's',
        TroopState::Lapsed => 'l',
        TroopState::Appointed => 'a',
        TroopState::Ready => 'r',
        TroopState::Gathering => 'g',
    }
}

fn answers(book: &Book, when: &str) -> Vec<Standing> {
    let (policy, calendar) = (policy(), calendar());
    book.troops.iter().map(|facts| standing(&policy, &calendar, facts, at(when))).collect()
}

#[test]
fn the_policy_of_common_practice_has_no_fault() {
    let policy = policy();
    assert_eq!(validate(&policy, &["return_due", "opening_orders_due", "delivery_day", "sale_closes"]), vec![]);
    assert_eq!(policy.requirements.iter().filter_map(|asked| asked.minimum_score).collect::<Vec<_>>(), [90, 90]);
}

#[test]
fn every_troop_stands_where_the_paper_says() {
    let book = season();
    for (when, expected, why) in [
        ("2026-11-01T17:00:00Z", "gggvggg", "nothing is known"),
        ("2026-11-11T17:00:00Z", "gggvggg", "no bank form yet"),
        ("2026-11-17T22:00:00Z", "rgrvggg", "bank forms of 1, 3 and 5; 5's quiz was one percent short"),
        ("2026-11-19T17:00:00Z", "agavggg", "1 and 3 are appointed; 7 has the same person but no form"),
        ("2026-11-21T17:00:00Z", "agavgog", "6 sits out"),
        ("2026-11-24T22:00:00Z", "agavrog", "5's quiz is passed"),
        ("2026-11-26T17:00:00Z", "agavaog", "5 is appointed"),
        ("2026-12-09T17:00:00Z", "agavaor", "7's form came; 2 only reported the first season course"),
        ("2026-12-16T17:00:00Z", "agavvor", "5's coordinator stood down"),
        ("2026-12-21T17:00:00Z", "agavgor", "5 has a new one, of whom nothing is known"),
        ("2027-01-06T17:00:00Z", "agavgor", "4's is only proposed"),
        ("2027-01-09T17:00:00Z", "agaggor", "4's is confirmed; no quiz, no form"),
        ("2027-01-09T22:00:00Z", "araggor", "2's course and form; 6 is out until tomorrow"),
        ("2027-01-11T17:00:00Z", "aragggr", "6 is back, without a form"),
        ("2027-01-13T22:00:00Z", "aragrgr", "5's new one has passed"),
        ("2027-01-15T17:00:00Z", "aaagaga", "the day of the return"),
        ("2027-01-25T17:00:00Z", "aaasasa", "who was not appointed is suspended"),
        ("2027-01-27T17:00:00Z", "aaasasa", "1 and 7: vanished from the list, within the grace"),
        ("2027-01-28T22:00:00Z", "aaasasa", "4 has all, and is still suspended"),
        ("2027-01-29T20:00:00Z", "aaarasa", "4 is restored"),
        ("2027-01-30T17:00:00Z", "aaaaasa", "4 is appointed"),
        ("2027-02-02T04:59:59Z", "aaaaasa", "3's screening holds to the end of 1 February"),
        ("2027-02-02T05:00:00Z", "aalaasa", "and not a second longer"),
        ("2027-02-03T04:59:59Z", "aalaasa", "the grace of 1 and 7 runs to the end of 2 February"),
        ("2027-02-03T05:00:00Z", "lalaasl", "and not a second longer"),
        ("2027-02-05T17:00:00Z", "aalaasa", "1 and 7 are on the list again"),
        ("2027-02-10T17:00:00Z", "aaaaasa", "3's screening is renewed"),
        ("2027-02-11T12:30:00Z", "aaaaara", "6's form came and it is restored"),
        ("2027-02-13T17:00:00Z", "aaaaaaa", "delivery day"),
        ("2027-02-17T17:00:00Z", "aaaalaa", "5's membership was found not met"),
        ("2027-02-19T17:00:00Z", "aaaalaa", "a membership is waived by nobody"),
        ("2027-02-21T17:00:00Z", "aaaaaaa", "and is renewed"),
        ("2027-03-22T17:00:00Z", "aaaaaaa", "the end"),
    ] {
        let states: String = answers(&book, when).iter().take(7).map(|standing| letter(standing.state)).collect();
        assert_eq!(states, expected, "{when}: {why}");
    }
}

/// Where each troop stands at noon in New York, from which day on. Lists and certificates of a day are loaded in its evening
/// and count from the next noon; decisions are taken in the morning and count at once.
const BY_DAY: [&[(&str, char)]; 12] = [
    &[("2026-10-01", 'v'), ("2026-10-05", 'g'), ("2026-11-18", 'a'), ("2027-02-03", 'l'), ("2027-02-05", 'a')],
    &[("2026-10-01", 'v'), ("2026-10-05", 'g'), ("2027-01-10", 'r'), ("2027-01-14", 'a')],
    &[("2026-10-01", 'v'), ("2026-10-05", 'g'), ("2026-11-18", 'a'), ("2027-02-02", 'l'), ("2027-02-10", 'a')],
    &[("2026-10-01", 'v'), ("2027-01-08", 'g'), ("2027-01-24", 's'), ("2027-01-30", 'a')],
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-11-25", 'a'),
        ("2026-12-15", 'v'),
        ("2026-12-20", 'g'),
        ("2027-01-14", 'a'),
        ("2027-02-17", 'l'),
        ("2027-02-21", 'a'),
    ],
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-11-20", 'o'),
        ("2027-01-10", 'g'),
        ("2027-01-24", 's'),
        ("2027-02-11", 'a'),
    ],
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-12-09", 'r'),
        ("2027-01-14", 'a'),
        ("2027-02-03", 'l'),
        ("2027-02-05", 'a'),
    ],
    // The lead passes to the co-coordinator on 12 December, who has neither screening nor training yet, and back in February.
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-11-18", 'a'),
        ("2026-12-12", 'g'),
        ("2026-12-17", 'r'),
        ("2026-12-18", 'a'),
    ],
    // A proposal that is declined changes nothing. A membership ends with January.
    &[
        ("2026-10-01", 'v'),
        ("2026-11-25", 'g'),
        ("2026-12-09", 'r'),
        ("2026-12-10", 'a'),
        ("2027-02-01", 'l'),
        ("2027-02-06", 'a'),
    ],
    // A deputy's time is over with 19 December.
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-11-18", 'r'),
        ("2026-11-19", 'a'),
        ("2026-12-20", 'v'),
        ("2026-12-28", 'g'),
        ("2027-01-07", 'r'),
        ("2027-01-11", 'a'),
    ],
    // The training is waived to the end of 10 January; a waiver that ends has no grace.
    &[
        ("2026-10-01", 'v'),
        ("2026-10-05", 'g'),
        ("2026-11-20", 'r'),
        ("2026-11-23", 'a'),
        ("2027-01-11", 'l'),
        ("2027-01-15", 'a'),
    ],
    // A troop that comes late, is suspended with the others, and loses its coordinator before the end.
    &[
        ("2026-10-01", 'v'),
        ("2027-01-18", 'g'),
        ("2027-01-24", 's'),
        ("2027-02-01", 'r'),
        ("2027-02-02", 'a'),
        ("2027-03-01", 'v'),
    ],
];

#[test]
fn on_every_day_of_the_season_every_troop_stands_where_the_paper_says() {
    let book = season();
    let (first, last) = (day("2026-10-01"), day("2027-03-22"));
    for today in first.iter_days().take_while(|today| *today <= last) {
        let paper: String = BY_DAY
            .iter()
            .map(|troop| troop.iter().rev().find(|(from, _)| day(from) <= today).expect("the first day").1)
            .collect();
        let states: String =
            answers(&book, &format!("{today}T17:00:00Z")).iter().map(|standing| letter(standing.state)).collect();
        assert_eq!(states, paper, "{today}");
    }
}

#[test]
fn the_gates_open_and_close_when_the_paper_says() {
    use GateName::{Collect, Earn, Order};
    let book = season();
    for (when, troop, gate, open, why) in [
        ("2026-11-01T17:00:00Z", 4, Order, true, "before opening orders close no rule is in force"),
        ("2027-01-23T04:59:59Z", 4, Order, true, "under way, and the day is not over"),
        ("2027-01-23T05:00:00Z", 4, Order, false, "not appointed, and the day is over"),
        ("2027-01-23T05:00:00Z", 1, Order, true, "appointed"),
        ("2027-01-30T17:00:00Z", 4, Order, true, "appointed at last"),
        ("2026-11-17T17:00:00Z", 1, Collect, false, "no form"),
        ("2026-11-17T22:00:00Z", 1, Collect, true, "the form came at six"),
        ("2026-12-16T17:00:00Z", 5, Collect, true, "the form is the troop's, whoever coordinates it"),
        ("2026-12-09T17:00:00Z", 2, Earn, false, "not appointed"),
        ("2027-01-15T17:00:00Z", 2, Earn, true, "appointed"),
        ("2027-01-27T17:00:00Z", 1, Earn, true, "within the grace"),
        ("2027-02-03T05:00:00Z", 1, Earn, false, "the grace is over"),
    ] {
        let standing = &answers(&book, when)[troop - 1];
        let found = standing.gates.iter().find(|one| one.gate == gate).unwrap();
        assert_eq!(found.open, open, "{when} troop {troop} {gate:?}: {why}");
    }
}

#[test]
fn what_is_open_and_when_it_changes_is_as_on_paper() {
    let book = season();
    let open = |when: &str, troop: usize, who: u128| {
        let standing = &answers(&book, when)[troop - 1];
        open_requirements(standing, place(troop, who)).iter().map(|row| row.requirement.clone()).collect::<Vec<_>>()
    };
    assert_eq!(open("2026-12-09T17:00:00Z", 2, BO), ["first_course", "bank_form"]);
    assert_eq!(open("2027-01-09T17:00:00Z", 4, DITA), ["training", "bank_form"]);
    assert_eq!(open("2027-01-15T17:00:00Z", 6, GUS), ["bank_form"]);
    assert_eq!(open("2027-01-27T17:00:00Z", 1, ANA), ["registered"]);
    for (when, troop, changes_at) in [
        // The next milestone, or the end of a proof, whichever comes first.
        ("2027-01-23T05:00:00Z", 3, "2027-02-02T05:00:00Z"),
        ("2027-01-27T17:00:00Z", 1, "2027-02-03T05:00:00Z"),
        ("2027-01-22T17:00:00Z", 4, "2027-01-23T05:00:00Z"),
    ] {
        assert_eq!(answers(&book, when)[troop - 1].changes_at, Some(at(changes_at)), "{when} troop {troop}");
    }
    let lapses = &answers(&book, "2027-01-15T17:00:00Z")[2].lapses;
    let told: Vec<_> =
        lapses.iter().map(|lapse| (&*lapse.requirement, lapse.lapses_at, &*lapse.before.milestone)).collect();
    assert_eq!(told, [("screening", at("2027-02-02T05:00:00Z"), "delivery_day")]);
}
