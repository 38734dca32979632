//! Troop lists by hand-typed cases: what a row makes of a troop, what is asked, and that a list says it once.

use super::test_support::{a_troop, after, short, troop};
use super::*;
use crate::intake::matching::ReasonCode;
use crate::seasons::policy::shipped_policy;

/// 101 Otters and 102 Herons sell this season, 103 Foxes did last year, 104 has no name.
fn current() -> Current {
    let mut troops = vec![a_troop(101, true), a_troop(102, true), a_troop(103, false), a_troop(104, true)];
    for (troop, name) in troops.iter_mut().zip(["Otters", "Herons", "Foxes", ""]) {
        troop.name = name.into();
    }
    troops[0].meeting_place = Some("Library".into());
    Current { troops, ..Current::default() }
}

/// A row of number, name, band, youths, first season; empty texts are empty cells.
fn row(row_number: u32, cells: [&str; 5]) -> ListRow {
    let some = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    ListRow {
        row_number,
        troop_number: some(cells[0]),
        troop_name: some(cells[1]),
        age_band: some(cells[2]),
        selling_youths: cells[3].parse().ok(),
        first_season: some(cells[4]).map(|word| word == "yes"),
        ..ListRow::default()
    }
}

fn seen(rows: &[ListRow], resolutions: &[(u32, Resolution)], complete: bool, current: &Current) -> Preview {
    let resolutions = resolutions.iter().copied().collect();
    let list = ReadList {
        kind: ListKind::TroopList,
        listed_on: "2026-01-10".parse().unwrap(),
        rows,
        problems: &[],
        resolutions: &resolutions,
        complete,
        outdated: false,
    };
    let today = "2026-01-20".parse().unwrap();
    look(&list, &World { policy: &shipped_policy().unwrap(), today, current })
}

fn changes(preview: &Preview) -> Vec<Vec<String>> {
    preview.rows.iter().map(short).collect()
}

fn problems(preview: &Preview) -> Vec<Vec<&str>> {
    preview.rows.iter().map(|row| row.problems.iter().map(|problem| problem.code.as_str()).collect()).collect()
}

fn states(preview: &Preview) -> Vec<&RowState> {
    preview.rows.iter().map(|row| &row.state).collect()
}

#[test]
fn a_troop_list_makes_known_gives_places_and_describes_anew_and_says_it_once() {
    let mut rows = vec![
        row(2, ["0101", "OTTERS", "Junior", "12", "no"]),
        row(3, ["102", "Night Herons", "cadettes", "10", ""]),
        row(4, ["103", "Foxes", "JUNIORS", "7", ""]),
        row(5, ["105", "Larks", "Cadette", "9", "yes"]),
        row(6, ["104", "", "", "", ""]),
    ];
    rows[0].meeting_place = Some("Town  library".into());
    rows[3].meeting_place = Some("School".into());
    let preview = seen(&rows, &[], false, &current());
    assert_eq!(
        changes(&preview),
        [
            // capitals are no other name, Junior is the band juniors
            vec!["MeetingPlace Library -> Town  library", "SellingYouths 10 -> 12"],
            vec!["Name Herons -> Night Herons", "AgeBand juniors -> cadettes"],
            vec!["place 103: juniors 7"],
            vec!["new troop 105 Larks: Cadette 9 first", "MeetingPlace nothing -> School"],
            vec![],
        ]
    );
    assert_eq!(problems(&preview).concat(), Vec::<&str>::new());
    // youths, name and band of two of the three troops of the season
    assert_eq!((preview.touched.troops, preview.touched.of_troops), (2, 3));
    let next = after(&current(), &preview.rows);
    let again = seen(&rows, &[], false, &next);
    assert_eq!(changes(&again).concat(), Vec::<String>::new());
    assert_eq!(again.touched.troops, 0);
}

#[test]
fn a_row_that_lacks_what_a_place_needs_says_so_and_waits() {
    let rows = [
        row(2, ["103", "Foxes", "", "7", ""]),
        row(3, ["105", "Larks", "", "", "yes"]),
        row(4, ["", "Wrens", "juniors", "7", ""]),
        row(5, ["North", "", "", "", ""]),
        row(6, ["101", "", "", "12", ""]),
    ];
    let preview = seen(&rows, &[], false, &current());
    assert_eq!(
        problems(&preview),
        [
            vec!["needed_for_a_place"],
            vec!["needed_for_a_place", "needed_for_a_place"],
            vec!["no_troop"],
            vec!["not_a_troop_number"],
            vec![],
        ]
    );
    assert_eq!(
        preview.rows[0].problems[0].expected,
        "an age band: the troop is known from an earlier season and has no place in this one yet; add it to the list, or leave the row out"
    );
    assert!(preview.rows[..4].iter().all(|row| row.state == RowState::Unusable && row.changes.is_empty()));
    let left_out: Vec<(u32, Resolution)> = (2..6).map(|row| (row, Resolution::Skip)).collect();
    let preview = seen(&rows, &left_out, false, &current());
    assert!(preview.rows.iter().all(|row| !row.state.needs_a_person()));
    assert_eq!(short(&preview.rows[4]), ["SellingYouths 10 -> 12"]);
}

#[test]
fn names_that_moved_between_known_numbers_are_asked_about_and_a_person_decides() {
    let swapped = [row(2, ["101", "Herons", "", "", ""]), row(3, ["102", "Otters", "", "", ""])];
    let preview = seen(&swapped, &[], false, &current());
    assert_eq!(states(&preview), [&RowState::Ask(vec![]), &RowState::Ask(vec![])]);
    let reason = preview.rows[0].reason.clone().unwrap();
    assert_eq!(reason.code, ReasonCode::NameOfAnotherTroop);
    assert!(reason.sentence.starts_with("Herons is the name of troop 102, which this list no longer calls so"));
    let decided = [(2, Resolution::AsListed), (3, Resolution::AsListed)];
    let preview = seen(&swapped, &decided, false, &current());
    assert_eq!(changes(&preview), [["Name Otters -> Herons"], ["Name Herons -> Otters"]]);

    // a name that went to a number nobody knows may be a troop with a new number
    let moved = [row(2, ["188", "Otters", "juniors", "12", ""]), row(3, ["102", "Herons", "", "", ""])];
    let preview = seen(&moved, &[], false, &current());
    assert_eq!(states(&preview), [&RowState::Ask(vec![]), &RowState::Troop(troop(102))]);
    let preview = seen(&moved, &[(2, Resolution::AsListed)], false, &current());
    assert_eq!(short(&preview.rows[0]), ["new troop 188 Otters: juniors 12"]);

    // whoever is still listed under the own number has lost no name: two troops are called alike
    let alike = [row(2, ["188", "Otters", "juniors", "12", ""]), row(3, ["101", "Otters", "", "", ""])];
    assert_eq!(states(&seen(&alike, &[], false, &current())), [&RowState::NewTroop, &RowState::Troop(troop(101))]);

    // a name that goes round three troops
    let mut three = current();
    three.troops[3].name = "Larks".into();
    let round = [
        row(2, ["101", "Herons", "", "", ""]),
        row(3, ["102", "Larks", "", "", ""]),
        row(4, ["104", "Otters", "", "", ""]),
    ];
    assert!(seen(&round, &[], false, &three).rows.iter().all(|row| row.state == RowState::Ask(vec![])));
}

#[test]
fn two_rows_with_one_number_are_one_troop_only_where_they_agree() {
    let rows = [
        row(2, ["101", "Otters", "juniors", "12", ""]),
        row(3, ["0101", "Otters", "", "15", ""]),
        row(4, ["105", "Larks", "juniors", "9", ""]),
        row(5, ["0105", "Larks", "juniors", "9", ""]),
        row(6, ["102", "", "", "11", ""]),
        row(7, ["102", "", "cadettes", "", ""]),
    ];
    let preview = seen(&rows, &[], false, &current());
    assert_eq!(problems(&preview)[..2], [["number_twice"], ["number_twice"]]);
    assert!(preview.rows[0].problems[0].expected.contains("row 3 gives the same number"));
    assert_eq!(
        changes(&preview)[2..],
        [
            vec!["new troop 105 Larks: juniors 9"],
            vec![],
            vec!["SellingYouths 10 -> 11"],
            vec!["AgeBand juniors -> cadettes"],
        ]
    );
    let preview = seen(&rows, &[(2, Resolution::Skip)], false, &current());
    assert_eq!(short(&preview.rows[1]), ["SellingYouths 10 -> 15"]);
}

#[test]
fn a_troop_that_a_complete_list_leaves_out_is_shown_and_nothing_is_recorded() {
    let rows = [row(2, ["101", "", "", "12", ""])];
    assert_eq!(seen(&rows, &[], false, &current()).absences, []);
    let preview = seen(&rows, &[], true, &current());
    // 103 has no place in this season, so it is missing from nothing
    assert_eq!(preview.absences, [Absence::Shown(troop(102)), Absence::Shown(troop(104))]);
    assert_eq!(preview.touched.troops, 1, "being left out touches nobody");
}

/// As many rows as a list may have, against as many troops: everything is found by key. Held against each other they would
/// be compared 400 million times, several times over.
#[test]
fn the_longest_list_against_the_largest_unit_is_gone_through_in_one_pass() {
    const MANY: u32 = 20_000;
    let mut troops = Vec::new();
    let mut rows = Vec::new();
    for number in 0..MANY {
        let mut known = a_troop(u128::from(number) + 1_000, true);
        known.name = format!("Troop of {number}");
        known.place.as_mut().unwrap().age_band = format!("band {number}");
        troops.push(known);
        let (band, youths) = (format!("Bands {number}"), if number % 2 == 0 { "10" } else { "11" });
        rows.push(row(number + 2, [&format!("0{}", number + 1_000), "", &band, youths, ""]));
    }
    // every third is given the next one's name
    for (place, one) in rows.iter_mut().enumerate() {
        if place % 3 == 0 {
            one.troop_name = Some(format!("TROOP of {}", place + 1));
        }
    }
    let current = Current { troops, ..Current::default() };
    let preview = seen(&rows, &[], true, &current);
    let asked = preview.rows.iter().filter(|row| matches!(row.state, RowState::Ask(_))).count();
    let changing = preview.rows.iter().filter(|row| !row.changes.is_empty()).count();
    // The next row keeps its name by saying nothing of it, so nobody's name has gone: 6,667 (0, 3 to 19,998) are renamed. Of
    // the others the odd ones have another count of youths: 10,000 odd numbers less the 3,333 that are odd multiples of three.
    assert_eq!((asked, preview.absences.len()), (0, 0));
    assert_eq!(preview.rows.len(), 20_000);
    let renamed = preview.rows.iter().filter(|row| short(row).iter().any(|change| change.starts_with("Name"))).count();
    assert_eq!((renamed, changing), (6_667, 6_667 + 6_667));
    let alike: Vec<ListRow> = (0..MANY).map(|at| row(at + 2, ["101", "Otters", "juniors", "12", ""])).collect();
    let preview = seen(&alike, &[], false, &current);
    assert_eq!(preview.rows.iter().filter(|row| row.state == RowState::NewTroop).count(), 20_000);
    assert_eq!(preview.rows.iter().filter(|row| !row.changes.is_empty()).count(), 1);
}
