//! Templates of lists: downloaded, uploaded as they came, and nothing is asked and nothing changes.

use reqwest::Method;
use serde_json::json;

use crate::intake::{apply, rows, until_read};
use crate::standings::clara_is_ready;
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

const KINDS: [&str; 4] = ["role_list", "bank_details", "certificates", "troop_list"];

async fn template(who: &Caller, kind: &str, format: &str) -> Answered {
    who.get(&format!("/list-template?kind={kind}&format={format}")).await.expect(200)
}

async fn sent_back(who: &Caller, kind: &str, file: Vec<u8>) -> Answered {
    let path = format!("/intakes?kind={kind}&file_name=template&listed_on=2040-01-09");
    let taken = who.ask(Method::POST, &path).bytes("application/octet-stream", file).await.expect(202);
    until_read(who, taken.header("location")).await
}

/// A roster with names that bite: a spreadsheet would compute them, or drop what stands in front.
async fn names_that_bite(world: &World) {
    clara_is_ready(world).await;
    for (number, name, place) in
        [("0007", "=HYPERLINK(\"x\")", "-hall"), ("070", "'quoted'", "@home, \"back\""), ("A-1", "", "+1 room")]
    {
        let troop = json!({
            "number": number, "name": name, "meeting_place": place, "age_band": "juniors", "selling_youths": 0,
            "first_season": true
        });
        world.manager.post("/troops", troop).await.expect(201);
    }
}

#[test]
fn a_template_that_is_sent_back_as_it_came_asks_nothing_and_changes_nothing() {
    scenario(async |world| {
        names_that_bite(world).await;
        for kind in KINDS {
            for format in ["csv", "xlsx"] {
                let file = template(&world.manager, kind, format).await;
                assert!(file.header("content-disposition").contains(&format!("{kind}_2040-01-10.{format}")));
                let intake = sent_back(&world.manager, kind, file.body.clone()).await;
                let counts = intake.at("/counts");
                assert_eq!(
                    (intake.at("/state"), &counts["waiting"], &counts["changes"], &counts["problems"]),
                    (json!("ready"), &json!(0), &json!(0), &json!(0)),
                    "{kind} {format}: {intake} {:?}",
                    rows(&world.manager, &intake).await
                );
                assert!(counts["rows"].as_u64().is_some_and(|rows| rows >= 3), "{kind} {format}: {intake}");
                assert_eq!(intake.at("/columns/unused_columns"), json!([]), "{kind} {format}");
                let chosen = intake.at("/columns/columns");
                let proposed =
                    chosen.as_array().expect("columns").iter().filter(|one| one["chosen_by"] != "recognised");
                assert_eq!(proposed.count(), 0, "{kind} {format}: every heading is a known one");
                apply(&world.manager, &intake).await.expect(200);
            }
        }
    });
}

#[test]
fn a_template_is_filled_with_what_is_known_and_filled_in_it_counts() {
    scenario(async |world| {
        let before = String::from_utf8(template(&world.manager, "role_list", "csv").await.body.clone()).expect("text");
        assert_eq!(
            before,
            "\u{feff}Troop number,First name,Last name,E-mail,Phone,Membership number,Membership valid until,Screening,Screening valid until\r\n\
             0101,,,,,,,,\r\n0102,,,,,,,,\r\n0103,,,,,,,,\r\n",
            "nobody is registered yet"
        );
        clara_is_ready(world).await;
        let role = String::from_utf8(template(&world.manager, "role_list", "csv").await.body.clone()).expect("text");
        assert_eq!(role.lines().nth(1), Some("0101,Clara,Fontaine-Diallo,,,M-6,,,"), "{role}");
        let troops = String::from_utf8(template(&world.manager, "troop_list", "csv").await.body.clone()).expect("text");
        assert_eq!(
            troops,
            "\u{feff}Troop number,Name,Age band,Meeting place,Selling youths,First season\r\n\
             0101,Troop 0101,juniors,Room 0101,12,no\r\n0102,Troop 0102,seniors,Room 0102,9,yes\r\n0103,Troop 0103,juniors,Room 0103,7,no\r\n"
        );
        let certificates = template(&world.manager, "certificates", "csv").await;
        let certificates = String::from_utf8(certificates.body.clone()).expect("text");
        let filled = certificates.replace("M-8,,,", "M-8,Yearly training,2040-01-05,90");
        assert_ne!(filled, certificates);
        let intake = sent_back(&world.manager, "certificates", filled.into_bytes()).await;
        assert_eq!((intake.at("/counts/facts"), intake.at("/counts/problems")), (json!(1), json!(0)), "{intake}");
    });
}

#[test]
fn a_template_names_nobody_to_whom_the_roster_does_not() {
    scenario(async |world| {
        let body = json!({"name": "pull", "unit_id": fixture::UNIT, "permissions": ["intakes.upload"]});
        let made = world.manager.post("/v1/keys", body).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        for kind in KINDS {
            let text = String::from_utf8_lossy(&template(&script, kind, "csv").await.body).into_owned();
            assert!(!text.contains("Fontaine") && !text.contains("Room"), "{text}");
        }
        for other in [&world.overseer, &world.viewer, &world.clara] {
            other.get("/list-template?kind=troop_list").await.expect_problem(403, "forbidden");
        }
        world.manager.get("/list-template?kind=shopping").await.expect_problem(400, "bad_parameter");
    });
}

/// What a file says of itself is no clock: the same roster gives the same bytes.
#[test]
fn the_same_roster_gives_the_same_table() {
    scenario(async |world| {
        let (one, other) =
            tokio::join!(template(&world.manager, "troop_list", "csv"), template(&world.manager, "troop_list", "csv"));
        assert_eq!(one.body, other.body);
        assert_eq!(one.header("content-type"), "text/csv; charset=utf-8");
    });
}
