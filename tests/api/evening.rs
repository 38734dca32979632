//! What a pair of fresh eyes found in an evening with the demo, each as a test: wrong figures first.

use serde_json::json;

use crate::intake::{apply, read, rows};
use crate::support::fixture::{self, SEASON, UNIT};
use crate::support::scenario;

#[test]
fn a_score_that_cannot_be_read_proves_no_course_and_is_named() {
    scenario(async |world| {
        for score in ["7O", "180"] {
            let list = format!(
                "Name,E-mail,Course,Completed on,Score\nClara Fontaine-Diallo,clara.fd@example.org,Yearly training,2040-01-05,{score}\n"
            );
            let intake = read(&world.manager, "certificates", "2040-01-09", &list).await;
            assert_eq!((intake.at("/counts/changes"), intake.at("/counts/problems")), (json!(0), json!(1)), "{intake}");
            assert_eq!(
                intake.text("/next_step"),
                "Applying it changes nothing, and 1 cell could not be used: look at the rows, mend the file and upload it again."
            );
            assert_eq!(rows(&world.manager, &intake).await[0]["problems"][0]["code"], "not_a_score");
        }
        // Nothing in the cell is another matter: attendance in a room has no score.
        let attended = "Name,E-mail,Course,Completed on,Score\nClara Fontaine-Diallo,clara.fd@example.org,Yearly training,2040-01-05,\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", attended).await;
        assert_eq!((intake.at("/counts/changes"), intake.at("/counts/problems")), (json!(1), json!(0)), "{intake}");
    });
}

#[test]
fn a_screening_whose_end_cannot_be_read_does_not_hold_for_ever() {
    scenario(async |world| {
        let list = |until: &str| {
            format!(
                "Troop,First name,Last name,Membership number,Screening,Screening valid until\n0101,Clara,Fontaine-Diallo,M-6,yes,{until}\n"
            )
        };
        let facts = async |file: String| {
            let intake = read(&world.manager, "role_list", "2040-01-09", &file).await;
            let seen = rows(&world.manager, &intake).await;
            let changes = seen[0]["changes"].as_array().expect("changes").clone();
            changes.iter().any(|change| change["requirement"] == "screening")
        };
        assert!(!facts(list("2040-13-01")).await);
        assert!(facts(list("2040-12-01")).await);
    });
}

#[test]
fn a_season_that_has_begun_does_not_begin_later() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}");
        let etag = world.manager.get(&path).await.expect(200).text("/etag");
        let later = world.manager.patch(&path, &etag, json!({"starts_on": "2040-02-01"})).await;
        let refused = later.expect_problem(422, "invalid");
        assert_eq!(
            (refused.text("/errors/0/pointer"), refused.text("/errors/0/code")),
            ("/starts_on".into(), "has_begun".into())
        );
        world.manager.patch(&path, &etag, json!({"starts_on": "2039-08-15"})).await.expect(200);
    });
}

/// R15: what the manager's key was not given, it does not see in another place.
#[test]
fn a_key_without_screenings_sees_none_in_the_rows_of_a_list() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,Membership number,Screening\n0101,Clara,Fontaine-Diallo,M-6,no\n0102,Yesenia,Bergquist,,refused 2019\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        let path = format!("/v1/units/{UNIT}/intakes/{}/rows", intake.text("/intake_id"));
        let open = world.manager.get(&path).await.expect(200).json().to_string();
        assert!(open.contains("not_met") && open.contains("refused 2019"), "{open}");
        let body = |permissions: &[&str]| json!({"name": "pull", "unit_id": UNIT, "permissions": permissions});
        let made = world.manager.post("/v1/keys", body(&["intakes.read"])).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        let masked = script.get(&path).await.expect(200).json().to_string();
        assert!(!masked.contains("not_met") && !masked.contains("refused") && !masked.contains("not met"), "{masked}");
        let made = world.manager.post("/v1/keys", body(&["intakes.read", "screenings.read"])).await.expect(201);
        let script = world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"));
        assert_eq!(script.get(&path).await.expect(200).json().to_string(), open);
        let refused = script.get("/people").await.expect_problem(403, "forbidden");
        assert!(refused.text("/detail").starts_with("This key does not have the permission people.read"), "{refused}");
    });
}

#[test]
fn a_nul_in_a_query_is_refused_by_name_and_never_reaches_the_database() {
    scenario(async |world| {
        for (path, name) in [
            ("/troops?search=%00", "search"),
            ("/troops?number=1%00", "number"),
            ("/people?membership_number=%00", "membership_number"),
        ] {
            let refused = world.manager.get(path).await.expect_problem(422, "invalid");
            assert_eq!(refused.text("/errors/0/parameter"), name);
        }
    });
}

#[test]
fn a_wrong_parameter_is_named_in_plain_words() {
    scenario(async |world| {
        for (path, name, detail) in [
            ("/standings?as_of=2040-01-01", "as_of", "an instant such as 2026-10-31T18:00:00Z"),
            ("/standings?limit=ab", "limit", "a whole number"),
        ] {
            let refused = world.manager.get(path).await.expect_problem(400, "bad_parameter");
            assert_eq!(
                (refused.text("/errors/0/parameter"), refused.text("/errors/0/detail")),
                (name.into(), detail.into())
            );
        }
    });
}

#[test]
fn an_array_is_not_taken_for_an_object() {
    scenario(async |world| {
        let refused = world.manager.post("/people", json!(["Arr", "Ay", null])).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/detail"), "an object: { ... }");
        let person = fixture::CLARA.place.expect("a place").person;
        let path = format!("/people/{person}");
        let etag = world.manager.get(&path).await.expect(200).text("/etag");
        world.manager.patch(&path, &etag, json!([])).await.expect_problem(422, "invalid");
    });
}

/// Whoever hears that a screening was withdrawn must be able to say so at once; that it is met, only a list says.
#[test]
fn by_hand_a_screening_is_taken_away_and_never_given() {
    scenario(async |world| {
        let person = fixture::CLARA.place.expect("a place").person;
        let fact = |outcome: &str| json!({"requirement": "screening", "person_id": person, "outcome": outcome});
        let refused = world.manager.post("/evidence", fact("met")).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/code"), "proven_by_list_only", "{refused}");
        world.manager.post("/evidence", fact("not_met")).await.expect(201);
    });
}

#[test]
fn one_membership_number_in_two_spellings_is_one_number() {
    scenario(async |world| {
        let named = |number: &str| json!({"first_name": "Odalys", "last_name": "Ferreira-Quinn", "membership_number": number, "another_person": true});
        world.manager.post("/people", named("TY-10 417")).await.expect(201);
        world.manager.post("/people", named("ty-10417")).await.expect_problem(409, "membership_number_taken");
    });
}

#[test]
fn a_tag_of_another_form_is_said_to_be_one() {
    scenario(async |world| {
        let person = fixture::CLARA.place.expect("a place").person;
        for tag in ["v1", "*", "rubbish", "W/\"v1\""] {
            let refused = world.manager.patch(&format!("/people/{person}"), tag, json!({"last_name": "Diallo"})).await;
            let refused = refused.expect_problem(412, "version_stale");
            assert!(refused.text("/detail").contains("strong ETag"), "{refused}");
        }
    });
}

#[test]
fn an_applied_list_says_what_it_could_not_use() {
    scenario(async |world| {
        let list = "Troop,Received on\n0101,2040-01-03\n0102,2040-13-01\n";
        let intake = read(&world.manager, "bank_details", "2040-01-09", list).await;
        assert_eq!(
            intake.text("/next_step"),
            "Look at the 1 change and at 1 cell that could not be used, then apply the list."
        );
        let applied = apply(&world.manager, &intake).await.expect(200);
        assert_eq!(
            applied.text("/next_step"),
            "It was applied with 1 change; 1 cell could not be used and said nothing."
        );
    });
}

#[test]
fn two_things_are_not_said_to_stand_in_one_column() {
    scenario(async |world| {
        let intake = read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on\n0101,03/01/2040\n").await;
        let path = format!("{}/columns", crate::intake::address(&intake));
        let both =
            json!({"columns": [{"column": "troop_number", "letter": "B"}, {"column": "received_on", "letter": "b"}]});
        let refused = world.manager.post(&path, both).await.expect_problem(422, "invalid");
        assert_eq!(
            (refused.text("/errors/0/pointer"), refused.text("/errors/0/code")),
            ("/columns/0/letter".into(), "column_taken".into())
        );
        // One that a person gave away is no longer what its heading says.
        let moved = json!({"columns": [{"column": "troop_number", "letter": "B"}]});
        let intake = world.manager.post(&path, moved).await.expect(200);
        assert_eq!(
            (intake.at("/state"), intake.at("/columns/columns/0/column")),
            (json!("needs_columns"), json!("troop_number"))
        );
        assert_eq!(intake.at("/columns/columns").as_array().map(Vec::len), Some(1), "{intake}");
    });
}

#[test]
fn last_times_file_under_another_day_is_pointed_at_before_it_counts() {
    scenario(async |world| {
        let list = |outcome: &str| {
            format!(
                "Troop,First name,Last name,Membership number,Screening\n0101,Clara,Fontaine-Diallo,M-6,{outcome}\n"
            )
        };
        let first = read(&world.manager, "role_list", "2040-01-07", &list("no")).await;
        apply(&world.manager, &first).await.expect(200);
        let newer = read(&world.manager, "role_list", "2040-01-08", &list("yes")).await;
        apply(&world.manager, &newer).await.expect(200);
        let again = read(&world.manager, "role_list", "2040-01-09", &list("no")).await;
        assert_eq!(again.at("/same_file_as"), first.at("/intake_id"));
        assert!(again.text("/next_step").starts_with("This very file was applied before, for another day."), "{again}");
        let other = read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on\n0101,2040-01-03\n").await;
        assert!(!other.text("/next_step").contains("before"), "{other}");
    });
}

/// `curl -X POST` without a body says what `{}` says, where that is enough; elsewhere it is asked for.
#[test]
fn no_body_is_an_empty_one_where_nothing_must_be_said() {
    scenario(async |world| {
        let post = |path: String| world.manager.ask(reqwest::Method::POST, &path);
        let act = |what: &str| format!("/troops/{}/{what}", fixture::VACANT_TROOP);
        let out = json!({"reason": "Camp that month."});
        world.manager.post(&act("sit-out"), out.clone()).await.expect(200);
        post(act("rejoin")).await.expect(200);
        world.manager.post(&act("sit-out"), out).await.expect(200);
        post(act("rejoin")).bytes("application/json", "").await.expect(200);
        post(act("sit-out")).await.expect_problem(422, "invalid");
        post("/evidence".to_owned()).await.expect_problem(415, "wrong_content_type");
        post("/evidence".to_owned()).bytes("application/json", "").await.expect_problem(400, "bad_json");
        let document = world.nobody.get("/openapi.json").await.expect(200).json();
        let required = |path: &str| document["paths"][path]["post"]["requestBody"]["required"].clone();
        assert_eq!(required("/v1/units/{unit_id}/assignments/{assignment_id}/appoint"), json!(false));
        assert_eq!(required("/v1/units/{unit_id}/evidence"), json!(true));
    });
}

#[test]
fn nothing_is_answered_for_an_instant_before_the_unit_was_made() {
    scenario(async |world| {
        for path in ["/standings".to_owned(), format!("/standings/{}", fixture::TROOP)] {
            let refused =
                world.manager.get(&format!("{path}?as_of=1990-01-01T00:00:00Z")).await.expect_problem(422, "invalid");
            assert_eq!(refused.text("/errors/0/code"), "before_the_unit");
        }
    });
}

#[test]
fn a_row_about_a_troop_is_not_said_to_be_a_person() {
    scenario(async |world| {
        let intake = read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on\n0101,2040-01-03\n").await;
        let person = json!({"decision": "person", "person_id": fixture::CLARA.place.expect("a place").person});
        let path = format!("{}/rows/2/resolve", crate::intake::address(&intake));
        let refused = world.manager.post(&path, person).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/code"), "is_about_troops");
        let now = world.manager.get(&crate::intake::address(&intake)).await.expect(200);
        assert_eq!(now.at("/counts/changes"), 1);
    });
}
