//! The season return by hand: standings in, document and differences out.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::super::csv;
use super::super::document::{ReturnDocument, ReturnSeason, ReturnState};
use super::super::sheet::Rendered;
use super::{TroopNow, What, build, differences};
use crate::common::ids::{AssignmentId, PersonId, SeasonId, TroopId};
use crate::frozen::Frozen;
use crate::seasons::policy::{RequirementKind, WaivableBy};
use crate::standings::rules::{
    CoordinatorStanding, CoordinatorState, Reason, ReasonCode, RequirementOutcome, RequirementStanding, Standing,
    TroopState,
};

const AT: &str = "2040-01-10T16:00:00Z";

fn at() -> DateTime<Utc> {
    AT.parse().unwrap()
}

fn person(n: u128) -> PersonId {
    PersonId(Uuid::from_u128(0x500 + n))
}

fn row(code: &str, kind: RequirementKind, outcome: RequirementOutcome) -> RequirementStanding {
    RequirementStanding {
        requirement: code.to_owned(),
        title: format!("The {code}"),
        kind,
        outcome,
        closed: outcome == RequirementOutcome::Met,
        source: None,
        observed_on: None,
        valid_until_on: None,
        score_percent: None,
        grace_until_at: None,
        waiver_id: None,
        can_be_done_now: true,
        who_can_close: Vec::new(),
        how: None,
        waivable_by: WaivableBy::Never,
    }
}

fn coordinator(n: u128, lead: bool, requirements: Vec<RequirementStanding>) -> CoordinatorStanding {
    CoordinatorStanding {
        assignment_id: AssignmentId(Uuid::from_u128(0x300 + n)),
        person_id: person(n),
        lead,
        counted: lead,
        state: CoordinatorState::Gathering,
        appointed_at: None,
        suspended_at: None,
        requirements,
        next_step: None,
    }
}

fn now(
    number: &str,
    state: TroopState,
    coordinators: Vec<CoordinatorStanding>,
    own: Vec<RequirementStanding>,
) -> TroopNow {
    TroopNow {
        troop_id: TroopId(Uuid::from_u128(number.parse().unwrap())),
        number: number.to_owned(),
        name: format!("Troop {number}"),
        standing: Standing {
            state,
            reasons: Vec::new(),
            next_step: None,
            requirements: own,
            coordinators,
            gates: Vec::new(),
            begins: vec![],
            lapses: Vec::new(),
            changes_at: None,
        },
    }
}

fn of(troops: Vec<TroopNow>) -> ReturnDocument {
    let season = ReturnSeason { season_id: SeasonId(Uuid::from_u128(0x11)), label: "2040".to_owned(), time_zone: None };
    build(Some("Juniper Ridge".to_owned()), season, at(), troops)
}

/// One troop in each of the seven states.
fn seven() -> Vec<TroopNow> {
    use RequirementKind::{Membership, Plain, Screening};
    use RequirementOutcome::{Met, Missing, NotMet};
    let bank = || vec![row("bank_details", Plain, Missing)];
    vec![
        now("1", TroopState::Appointed, vec![coordinator(1, true, vec![row("membership", Membership, Met)])], vec![]),
        now("2", TroopState::Gathering, vec![coordinator(2, true, vec![row("screening", Screening, NotMet)])], bank()),
        now("3", TroopState::Ready, vec![coordinator(3, true, vec![]), coordinator(4, false, bank())], vec![]),
        now("4", TroopState::Lapsed, vec![coordinator(5, true, vec![row("membership", Membership, NotMet)])], vec![]),
        now("5", TroopState::Suspended, vec![coordinator(6, true, vec![])], vec![]),
        now("6", TroopState::Vacant, vec![], bank()),
        now("7", TroopState::SittingOut, vec![coordinator(7, true, bank())], bank()),
    ]
}

#[test]
fn seven_states_become_four() {
    use ReturnState::{Appointed, NoCoordinator, SittingOut, UnderWay};
    let document = of(seven());
    let states: Vec<ReturnState> = document.troops.iter().map(|troop| troop.state).collect();
    assert_eq!(states, [Appointed, UnderWay, UnderWay, UnderWay, UnderWay, NoCoordinator, SittingOut]);
    let totals = &document.totals;
    assert_eq!((totals.troops, totals.appointed, totals.under_way), (7, 1, 4));
    assert_eq!((totals.no_coordinator, totals.sitting_out), (1, 1));
    // Troop 2: screening and bank details; 4: membership; 6: bank details. Troop 3's co-coordinator does not count, and
    // troop 7 takes no part.
    assert_eq!(totals.open_requirements, 4);
}

#[test]
fn a_screening_that_is_not_met_reads_not_confirmed_and_its_reason_too() {
    let mut troop = seven().remove(1);
    troop.standing.reasons = vec![Reason {
        code: ReasonCode::RequirementOpen,
        requirement: Some("screening".to_owned()),
        person_id: Some(person(2)),
        sentence: "\"The screening\" was found not met.".to_owned(),
    }];
    let document = of(vec![troop]);
    let text = serde_json::to_string(&document).unwrap();
    assert!(!text.contains("not_met") && !text.contains("found not met"), "{text}");
    assert_eq!(document.troops[0].coordinators[0].open[0].outcome, RequirementOutcome::NotConfirmed);
}

#[test]
fn a_troop_that_sits_out_owes_nothing() {
    let document = of(seven());
    assert!(document.troops[6].open.is_empty() && document.troops[6].coordinators[0].open.is_empty());
}

#[test]
fn every_return_says_when_it_stands_and_whose_figures_prevail() {
    let document = of(vec![]);
    assert_eq!(serde_json::to_value(&document).unwrap()["stands_at"], AT);
    assert!(document.note.contains("Head office's figures prevail until reconciled"));
}

#[test]
fn figures_name_nobody() {
    let text = serde_json::to_string(&of(seven())).unwrap();
    assert!(!text.contains("\"name\":null") && !text.contains("first_name"), "{text}");
    for troop in of(seven()).troops {
        assert_eq!(troop.name, format!("Troop {}", troop.number), "only a troop has a name");
    }
}

#[test]
fn nothing_differs_by_time_or_order_or_sentence() {
    let before = of(seven());
    let mut later = seven();
    later.reverse();
    later[0].standing.reasons.push(Reason {
        code: ReasonCode::SitsOut,
        requirement: None,
        person_id: None,
        sentence: "Camp that month.".to_owned(),
    });
    let mut after = of(later);
    after.stands_at = "2040-02-01T00:00:00Z".parse().unwrap();
    assert_eq!(differences(&before, &after), []);
}

#[test]
fn what_differs_is_told_troop_by_troop() {
    let before = of(seven());
    let mut changed = seven();
    changed[2].standing.state = TroopState::Appointed;
    changed[3].standing.coordinators[0].lead = false;
    changed[4].name = "Troop of the old mill".to_owned();
    changed[1].standing.requirements.clear();
    changed[5] = now("8", TroopState::Vacant, vec![], vec![]);
    let told: Vec<(String, What, Option<String>, Option<String>)> = differences(&before, &of(changed))
        .into_iter()
        .map(|one| (one.number, one.what, one.before, one.after))
        .collect();
    let some = |text: &str| Some(text.to_owned());
    let five = "00000000-0000-0000-0000-000000000505";
    let two = "00000000-0000-0000-0000-000000000502";
    assert_eq!(
        told,
        [
            (
                "2".to_owned(),
                What::OpenRequirements,
                Some(format!("bank_details, screening of {two}")),
                Some(format!("screening of {two}"))
            ),
            ("3".to_owned(), What::Standing, some("ready"), some("appointed")),
            ("4".to_owned(), What::Coordinators, Some(format!("{five} (lead)")), some(five)),
            ("5".to_owned(), What::Name, some("5 Troop 5"), some("5 Troop of the old mill")),
            ("8".to_owned(), What::Troop, None, some("vacant")),
            ("6".to_owned(), What::Troop, some("vacant"), None),
        ]
    );
}

#[test]
fn the_table_is_one_row_a_troop_and_computes_nothing_in_a_spreadsheet() {
    let mut troops = vec![seven().remove(1)];
    troops[0].name = "=1+1".to_owned();
    troops[0].number = "0002".to_owned();
    let names = [(person(2), Some("@Tove, of \"the mill\"".to_owned()))];
    let table = String::from_utf8(csv::table(3, &of(troops), &names)).unwrap();
    let lines: Vec<&str> = table.split("\r\n").collect();
    assert_eq!(
        lines[0],
        "\u{feff}troop_number,troop_name,state,standing,reasons,lead_coordinator,co_coordinators,open_requirements,waived_or_let_through,return_number,stands_at,note"
    );
    assert_eq!(
        lines[1],
        "0002,'=1+1,under way,gathering,,\"'@Tove, of \"\"the mill\"\"\",,\"The bank_details; The screening (@Tove, of \"\"the mill\"\")\",,3,2040-01-10T16:00:00Z,This line is not typed twice: the note stands here."
            .replace("This line is not typed twice: the note stands here.", super::NOTE)
    );
    assert_eq!(lines.len(), 3, "the file ends with its last row");
}

/// A waiver is told as one, with its last day; a troop that takes no part has nothing to tell.
#[test]
fn what_is_waived_is_told_as_waived() {
    let waived = || {
        let until = "2040-01-20".parse().unwrap();
        let row = row("agreement", RequirementKind::Plain, RequirementOutcome::Waived);
        RequirementStanding { closed: true, valid_until_on: Some(until), ..row }
    };
    let appointed = now("1", TroopState::Appointed, vec![coordinator(2, true, vec![waived()])], vec![]);
    let out = now("2", TroopState::SittingOut, vec![coordinator(3, true, vec![waived()])], vec![waived()]);
    let document = of(vec![appointed, out]);
    let texts = |troop: usize| csv::texts(&document.troops[troop], &[(person(2), "Tove")].into_iter().collect());
    assert_eq!(texts(0).waived, "The agreement (Tove): waived until 2040-01-20");
    assert_eq!((texts(0).open, texts(1).waived), (String::new(), String::new()));
    assert_eq!(document.totals.open_requirements, 0);
    let mut before = document.clone();
    before.troops[0].coordinators[0].waived.clear();
    let told = differences(&before, &document);
    assert_eq!((told.len(), told[0].what), (1, What::Exceptions));
    assert_eq!(told[0].after, Some(format!("agreement of {} waived until 2040-01-20", person(2))));
    // Returns that were filed before waivers were told keep their bytes, and so their digest.
    assert!(!serde_json::to_string(&before).unwrap().contains("waived"));
}

#[test]
fn an_erased_name_leaves_its_place() {
    let troops = vec![seven().remove(0)];
    let table = String::from_utf8(csv::table(1, &of(troops), &[(person(1), None)])).unwrap();
    assert!(table.contains(",name erased,"), "{table}");
}

/// What the printed paper says of each troop: its words for the state, one name a line, and why.
#[test]
fn the_paper_says_of_each_state_why() {
    let mut troops = seven();
    let sentence = |n: usize, code: ReasonCode, text: &str, troops: &mut Vec<TroopNow>| {
        let reason = Reason { code, requirement: None, person_id: None, sentence: text.to_owned() };
        troops[n].standing.reasons.push(reason);
    };
    sentence(1, ReasonCode::RequirementOpen, "The bank details form is missing.", &mut troops);
    sentence(3, ReasonCode::RequirementOpen, "\"The membership\" has run out.", &mut troops);
    sentence(5, ReasonCode::NoCoordinator, "Nobody coordinates this troop.", &mut troops);
    let document = of(troops);
    let frozen = Frozen {
        document_id: Uuid::from_u128(0x900),
        number: 3,
        season: SeasonId(Uuid::from_u128(0x11)),
        figures: String::new(),
        sha256: "5e".repeat(32),
        stands_at: at(),
        made_at: at(),
        made_by: "account:x".to_owned(),
    };
    let names = [(person(2), Some("Tove".to_owned())), (person(3), Some("Ngozi".to_owned())), (person(4), None)];
    let paper = Rendered { frozen: &frozen, document: &document, names: &names }.paper();
    assert_eq!(paper.title, "Season return 3 of Juniper Ridge");
    assert_eq!(paper.foot, "Season return 3 of Juniper Ridge, season 2040, as it stood at 2040-01-10 16:00:00 UTC");
    assert_eq!(
        paper.facts.last(),
        Some(&("Digest".to_owned(), format!("SHA-256 of the figures: {}", "5e".repeat(32))))
    );
    assert_eq!(paper.note, super::NOTE);
    let told: Vec<[&str; 3]> = paper.rows.iter().map(|row| [&*row[2], &*row[3], &*row[4]]).collect();
    assert_eq!(told[1], ["under way: gathering", "Tove (lead)", "Open: The bank_details; The screening (Tove)"]);
    assert_eq!(
        told[2],
        ["under way: ready", "Ngozi (lead)\nname erased", "Open: The bank_details (name erased, not counted)"]
    );
    assert_eq!(told[3][2], "\"The membership\" has run out.\nOpen: The membership (name erased)");
    assert_eq!(told[5], ["no coordinator", "", "Nobody coordinates this troop.\nOpen: The bank_details"]);
    assert_eq!(told[6][0], "sitting out");
}
