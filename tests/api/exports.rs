//! The roster as a file: who sees which columns, in which order, and that nothing in it computes.

use calamine::{Data, Reader as _, Xlsx};
use serde_json::json;

use crate::intake::{rows, until_read};
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

const TROOP: [&str; 6] = ["troop_number", "troop_name", "kind", "age_band", "selling_youths", "first_season"];
const PEOPLE: [&str; 4] = ["place", "first_name", "last_name", "begins_on"];

/// The rows of a file, without the troop's id and the instant at its end, and its headings first.
fn table(file: &Answered) -> Vec<Vec<String>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).from_reader(&*file.body);
    let rows = reader.records().map(|row| row.expect("a row").iter().map(str::to_owned).collect::<Vec<_>>());
    rows.map(|mut row| {
        row.truncate(row.len() - 2);
        row
    })
    .collect()
}

async fn export(who: &Caller) -> Vec<Vec<String>> {
    table(&who.get("/roster-export").await.expect(200))
}

/// Puts a name and a meeting place that a spreadsheet would compute into troop 0103, and a phone number.
async fn nasty(world: &World) {
    let mut owner = world.owner().await;
    for statement in [
        "update troop set name = '=HYPERLINK(1)', meeting_place = '@hall' where number = '0103'",
        "insert into person_contact (unit_id, person_id, email, email_key, phone, version, log_seq)
         select unit_id, person_id, null, null, '+1 555 0199', 1, 0 from person where last_name = 'Achterberg'",
    ] {
        sqlx::query(statement).execute(&mut owner).await.expect("a nasty text");
    }
}

#[test]
fn a_manager_gets_every_troop_with_its_people_in_a_fixed_order() {
    scenario(async |world| {
        nasty(world).await;
        let file = world.manager.get("/roster-export?format=csv").await.expect(200);
        assert_eq!(file.header("content-type"), "text/csv; charset=utf-8");
        assert_eq!(file.header("content-disposition"), "attachment; filename=\"roster.csv\"");
        assert!(String::from_utf8_lossy(&file.body).contains(",2040-01-10T1"), "it says at which instant it stands");
        let rows = table(&file);
        let headings: Vec<&str> = [&TROOP[..], &["meeting_place", "state"], &PEOPLE, &["email", "phone"]]
            .into_iter()
            .flatten()
            .copied()
            .collect();
        assert_eq!(rows[0], headings);
        let expected = [
            "0101,Troop 0101,troop,juniors,12,no,Room 0101,gathering,lead coordinator,Clara,Fontaine-Diallo,,clara.fd@example.org,'+1 555 0106",
            "0101,Troop 0101,troop,juniors,12,no,Room 0101,gathering,co coordinator,Piotr,Wanjiru,,piotr.wanjiru@example.org,'+1 555 0107",
            "0102,Troop 0102,troop,seniors,9,yes,Room 0102,gathering,lead coordinator,Yesenia,Bergqvist,,yesenia.b@example.org,'+1 555 0108",
            "0103,'=HYPERLINK(1),troop,juniors,7,no,'@hall,vacant,leader,Dov,Achterberg,,,'+1 555 0199",
        ];
        let seen: Vec<String> = rows[1..].iter().map(|row| row.join(",")).collect();
        assert_eq!(seen, expected);
        assert_eq!(export(&world.overseer).await, rows, "whoever oversees sees the same");
        world.manager.get("/roster-export?format=pdf").await.expect_problem(400, "bad_parameter");
        world.stranger.in_unit(fixture::UNIT).get("/roster-export").await.expect_problem(404, "not_found");
        world.nobody.in_unit(fixture::UNIT).get("/roster-export").await.expect_problem(401, "not_signed_in");
    });
}

/// A spreadsheet program takes a file without the mark for another encoding, and accented names open garbled.
#[test]
fn accented_names_open_right_and_the_file_can_be_sent_back_as_a_list() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        sqlx::query(
            "update person set first_name = 'Håkon', last_name = 'Wiśniewska' where last_name = 'Fontaine-Diallo'",
        )
        .execute(&mut owner)
        .await
        .expect("an accented name");
        let file = world.manager.get("/roster-export").await.expect(200);
        assert_eq!(file.body[..3], [0xef, 0xbb, 0xbf]);
        let text = String::from_utf8(file.body.clone()).expect("UTF-8");
        assert!(text.starts_with("\u{feff}troop_number,troop_name,"), "{text}");
        assert!(text.contains(",Håkon,Wiśniewska,"), "{text}");
        let path = "/intakes?kind=role_list&file_name=roster.csv&listed_on=2040-01-09";
        let taken =
            world.manager.ask(reqwest::Method::POST, path).bytes("text/csv", file.body.clone()).await.expect(202);
        let intake = until_read(&world.manager, taken.header("location")).await;
        assert_eq!((intake.at("/state"), intake.at("/source/encoding")), (json!("ready"), json!("UTF-8")), "{intake}");
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(seen.len(), 4, "{seen:?}");
        assert_eq!((&seen[0]["name"], &seen[0]["state"]), (&json!("Håkon Wiśniewska"), &json!("person")));
    });
}

#[test]
fn a_viewer_gets_totals_and_states_and_a_coordinator_the_own_troops() {
    scenario(async |world| {
        let rows = export(&world.viewer).await;
        assert_eq!(rows[0], [&TROOP[..], &["state"]].concat());
        let seen: Vec<String> = rows[1..].iter().map(|row| row.join(",")).collect();
        assert_eq!(
            seen,
            [
                "0101,Troop 0101,troop,juniors,12,no,gathering",
                "0102,Troop 0102,troop,seniors,9,yes,gathering",
                "0103,Troop 0103,troop,juniors,7,no,vacant",
            ]
        );
        let rows = export(&world.yesenia).await;
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[1][0], "0102");
        assert_eq!(rows[1][12..], ["yesenia.b@example.org", "'+1 555 0108"]);
        for who in [&world.materials, &world.distributor] {
            assert_eq!(export(who).await.len(), 5, "every person of every troop, to hand things over");
        }
    });
}

#[test]
fn who_sees_more_in_one_troop_than_in_the_others_gets_empty_cells_in_the_others() {
    scenario(async |world| {
        let role = json!({"person_id": fixture::YESENIA.place.expect("a place").person, "role": "viewer"});
        world.manager.post("/grants", role).await.expect(201);
        let rows = export(&world.yesenia).await;
        let told: Vec<_> = rows[1..].iter().map(|row| (&*row[0], &*row[6], &*row[7], &*row[9], &*row[12])).collect();
        assert_eq!(
            told,
            [
                ("0101", "", "gathering", "", ""),
                ("0102", "Room 0102", "gathering", "Yesenia", "yesenia.b@example.org"),
                ("0103", "", "vacant", "", ""),
            ]
        );
    });
}

#[test]
fn a_key_gets_the_columns_of_its_own_permissions() {
    scenario(async |world| {
        let make = async |permissions: &[&str]| {
            let body = json!({"name": "roster", "unit_id": fixture::UNIT, "permissions": permissions});
            let made = world.manager.post("/v1/keys", body).await.expect(201);
            world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"))
        };
        let headings = async |permissions: &[&str]| export(&make(permissions).await).await[0].clone();
        assert_eq!(headings(&["troops.read"]).await, TROOP);
        assert_eq!(headings(&["troops.read", "standings.read"]).await, [&TROOP[..], &["state"]].concat());
        let people = ["troops.read", "assignments.read", "people.read"];
        assert_eq!(headings(&people).await, [&TROOP[..], &["meeting_place"], &PEOPLE].concat());
        let contacts_alone = ["troops.read", "contacts.read", "assignments.read"];
        assert_eq!(headings(&contacts_alone).await, TROOP, "an address without its owner is not given");
    });
}

#[test]
fn the_workbook_holds_the_same_as_text_and_computes_nothing() {
    scenario(async |world| {
        nasty(world).await;
        let file = world.manager.get("/roster-export?format=xlsx").await.expect(200);
        assert_eq!(file.header("content-type"), "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet");
        assert_eq!(file.header("content-disposition"), "attachment; filename=\"roster.xlsx\"");
        let mut book: Xlsx<_> = calamine::open_workbook_from_rs(std::io::Cursor::new(file.body)).expect("a workbook");
        let sheet = book.worksheet_range("Table").expect("a sheet");
        let text = |row: u32, column: u32| sheet.get_value((row, column)).cloned();
        let is = |text: &str| Some(Data::String(text.to_owned()));
        assert_eq!((sheet.height(), text(0, 0), text(1, 0)), (5, is("Troop number"), is("0101")));
        assert_eq!((text(1, 8), text(1, 10), text(1, 4)), (is("lead coordinator"), is("Fontaine-Diallo"), is("12")));
        assert_eq!((text(4, 1), text(4, 6), text(4, 13)), (is("=HYPERLINK(1)"), is("@hall"), is("+1 555 0199")));
        assert!(book.worksheet_formula("Table").expect("a sheet").is_empty(), "nothing in it is computed");
        let about = book.worksheet_range("About").expect("a sheet");
        assert_eq!(about.get_value((0, 0)), Some(&Data::String("Roster of Juniper Ridge".to_owned())));
    });
}

#[test]
fn who_begins_later_is_there_with_the_day_and_what_has_ended_is_not() {
    scenario(async |world| {
        let later = json!({"troop_id": fixture::VACANT_TROOP, "person_id": fixture::DOV, "lead": true,
            "from_at": "2040-02-01T06:00:00Z"});
        world.manager.post("/assignments", later).await.expect(201);
        let stand_down = format!("/assignments/{}/stand-down", fixture::PIOTRS_ASSIGNMENT);
        world.manager.post(&stand_down, json!({"reason": "Asked to."})).await.expect(200);
        let rows = export(&world.manager).await;
        let told: Vec<_> = rows[1..].iter().map(|row| (&*row[0], &*row[8], &*row[9], &*row[11])).collect();
        assert_eq!(
            told,
            [
                ("0101", "lead coordinator", "Clara", ""),
                ("0102", "lead coordinator", "Yesenia", ""),
                ("0103", "lead coordinator", "Dov", "2040-02-01"),
                ("0103", "leader", "Dov", ""),
            ]
        );
        let troop = json!({"into_troop_id": fixture::OTHER_TROOP, "reason": "Five are left."});
        let path = format!("/troops/{}/merge", fixture::TROOP);
        let seen = world.manager.post(&format!("{path}/preview"), troop.clone()).await.expect(200);
        let stamp = seen.text("/stamp");
        world.manager.post(&format!("{path}?confirm_stamp={stamp}"), troop).await.expect(200);
        assert_eq!(export(&world.manager).await[1][0], "0102", "a merged troop is in no file");
    });
}
