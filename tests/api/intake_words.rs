//! What a preview says to the volunteer who reads it: columns nobody uses, scores that close nothing, courses by their titles,
//! troops by their numbers, cells with nothing in them, and how what stands on a list is undone.

use serde_json::{Value, json};

use crate::intake::{address, apply, read, rows};
use crate::support::{fixture, scenario};

#[test]
fn a_column_that_nobody_uses_is_named() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,Member ID,Screening,Valid until,\n0101,Clara,Fontaine-Diallo,M-6,yes,2040-09-30,x\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        assert_eq!(
            intake.at("/columns/unused_columns"),
            json!([{"letter": "F", "heading": "Valid until"}, {"letter": "G", "heading": ""}])
        );
        let step = intake.text("/next_step");
        assert!(step.ends_with("Columns not used: F \"Valid until\", G without a heading."), "{step}");
        // where only the membership can end, its end is what is meant, and a person may look at it
        let list = "Troop,First name,Last name,Member ID,Valid until\n0101,Clara,Fontaine-Diallo,M-6,2040-09-30\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        let columns = intake.at("/columns/columns");
        let until = columns.as_array().expect("columns").iter().find(|one| one["column"] == "membership_valid_until");
        assert_eq!(until.map(|one| &one["chosen_by"]), Some(&json!("proposed")), "{intake}");
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(
            seen[0]["changes"][0]["sentence"],
            "Current membership: met on 2040-01-09 for Clara Fontaine-Diallo, until 2040-09-30."
        );
    });
}

#[test]
fn a_score_below_the_mark_is_said_to_close_nothing_and_closes_nothing() {
    scenario(async |world| {
        let list = "Name,E-mail,Course,Completed on,Score\n\
                    Clara Fontaine-Diallo,clara.fd@example.org,yearly_training,2040-01-05,70\n\
                    Piotr Wanjiru,piotr.wanjiru@example.org,yearly_training,2040-01-05,80\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        let seen = rows(&world.manager, &intake).await;
        let said: Vec<_> =
            seen.iter().map(|row| (&row["changes"][0]["sentence"], &row["changes"][0]["closes_nothing"])).collect();
        assert_eq!(
            said,
            [
                (
                    &json!(
                        "Yearly training: recorded on 2040-01-05 for Clara Fontaine-Diallo, 70 %; it closes nothing, since 70 is under 80."
                    ),
                    &json!(true)
                ),
                (&json!("Yearly training: met on 2040-01-05 for Piotr Wanjiru, 80 %."), &json!(false)),
            ]
        );
        apply(&world.manager, &intake).await.expect(200);
        let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        let coordinators = standing.at("/standing/coordinators");
        let outcome = |person: &fixture::Somebody| -> Value {
            let id = json!(person.place.expect("a place").person);
            let coordinators = coordinators.as_array().expect("coordinators");
            let of = coordinators.iter().find(|one| one["person_id"] == id).expect("the coordinator");
            let asked = of["requirements"].as_array().expect("requirements");
            asked.iter().find(|one| one["requirement"] == "yearly_training").expect("the course")["outcome"].clone()
        };
        assert_ne!(outcome(&fixture::CLARA), "met");
        assert_eq!(outcome(&fixture::PIOTR), "met");
    });
}

#[test]
fn a_course_may_be_written_by_its_title_and_an_unknown_one_names_what_is_known() {
    scenario(async |world| {
        let list = "Name,E-mail,Course,Completed on\n\
                    Clara Fontaine-Diallo,clara.fd@example.org,FIRST-SEASON course,2040-01-05\n\
                    Piotr Wanjiru,piotr.wanjiru@example.org,Knots,2040-01-05\n\
                    Yesenia Bergqvist,yesenia.b@example.org,,\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        let seen = rows(&world.manager, &intake).await;
        assert_eq!(seen[0]["changes"][0]["requirement"], "first_season_course", "{intake}");
        assert_eq!(
            (&seen[1]["problems"][0]["code"], &seen[1]["problems"][0]["read"], &seen[1]["problems"][0]["expected"]),
            (
                &json!("unknown_course"),
                &json!("Knots"),
                &json!(
                    "a course that the policy asks for, by its title or code: Yearly training (yearly_training), First season course (first_season)"
                )
            )
        );
        assert_eq!(
            (&seen[2]["problems"], &seen[2]["changes"]),
            (&json!([]), &json!([])),
            "a row of a template says nothing"
        );
    });
}

#[test]
fn a_person_of_another_troop_is_told_with_both_numbers() {
    scenario(async |world| {
        let list = "Name,Troop,Course,Completed on\n\
                    Clara Fontaine-Diallo,0102,yearly_training,2040-01-05\n\
                    Piotr Wanjiru,,yearly_training,2040-01-05\n";
        let intake = read(&world.manager, "certificates", "2040-01-09", list).await;
        let seen = rows(&world.manager, &intake).await;
        let reasons: Vec<_> = seen.iter().map(|row| &row["reason"]).collect();
        assert_eq!(
            reasons,
            [
                "the row says troop 0102, and Clara Fontaine-Diallo is known in troop 0101; a name alone is not enough to take the row for one",
                "the row names no troop, and Piotr Wanjiru is known in troop 0101; a name alone is not enough to take the row for one",
            ]
        );
    });
}

#[test]
fn a_list_of_which_every_row_was_left_out_says_that_nothing_is_taken() {
    scenario(async |world| {
        let list = "Troop,First name,Last name\n901,Ann,Lee\n902,Bo,Ek\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        let path = format!("{}/rows/2/resolve", address(&intake));
        let all = json!({"decision": "leave_out", "all_like_this": true});
        let ready = world.manager.post(&path, all).await.expect(200);
        assert!(
            ready.text("/next_step").starts_with("Nothing is taken from this list: all of its 2 rows were left out.")
        );
        let applied = apply(&world.manager, &ready).await.expect(200);
        assert_eq!(applied.text("/next_step"), "It was applied and changed nothing: every row was left out.");
    });
}

#[test]
fn a_cell_with_nothing_in_it_reads_nothing() {
    scenario(async |world| {
        let intake =
            read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on,Note\n,2040-01-03,late\n").await;
        let refused = apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        assert_eq!(refused.text("/errors/0/detail"), "row 2: read nothing in troop number, expected a troop number");
    });
}

#[test]
fn a_day_alone_in_the_middle_of_a_list_is_a_row_that_lacks_the_rest() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,Membership number,Membership valid until\n\
                    0101,Clara,Fontaine-Diallo,M-6,2040-09-30\n,,,,2040-09-30\n0102,Yesenia,Bergqvist,M-8,2040-09-30\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        assert_eq!((intake.at("/skipped_rows"), intake.at("/counts/waiting")), (json!([]), json!(1)), "{intake}");
        let refused = apply(&world.manager, &intake).await.expect_problem(409, "rows_unresolved");
        assert_eq!(
            refused.text("/errors/0/detail"),
            "row 3: read nothing in troop number, expected a troop number, and a name or a membership number: the row has none of them; fill them in, or leave it out"
        );
    });
}

/// The roster may have it wrong: whoever is matched by number is shown with both spellings, and nobody has to decide.
#[test]
fn a_name_that_the_roster_spells_otherwise_is_noted_and_stops_nothing() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,Membership number\n\
                    0101,Clara,Fontain-Diallo,M-6\n0101,PIOTR,WANJIRU,M-7\n0102,Bergqvist,Yesenia,M-8\n";
        let intake = read(&world.manager, "role_list", "2040-01-09", list).await;
        assert_eq!((intake.at("/counts/waiting"), intake.at("/counts/problems")), (json!(0), json!(0)), "{intake}");
        let seen = rows(&world.manager, &intake).await;
        let problems: Vec<_> = seen.iter().map(|row| row["problems"].as_array().expect("problems").len()).collect();
        assert_eq!(problems, [1, 0, 0], "capitals and swapped columns are no other spelling: {seen:?}");
        let note = &seen[0]["problems"][0];
        assert_eq!((&note["code"], &note["read"]), (&json!("name_differs"), &json!("Clara Fontain-Diallo")));
        assert_eq!(
            note["expected"],
            "Clara Fontaine-Diallo, as the roster has it; if the list is right, mend the roster (change_person)"
        );
        apply(&world.manager, &intake).await.expect(200);
    });
}

/// Whoever is told to undo something can do it with the very request that is named.
#[test]
fn what_stands_on_a_list_is_undone_by_the_request_that_the_answer_names() {
    scenario(async |world| {
        let list = "Troop,First name,Last name,E-mail\n0103,Ines,Calloway,ines.calloway@example.org\n";
        let applied =
            apply(&world.manager, &read(&world.manager, "role_list", "2040-01-09", list).await).await.expect(200);
        let ines = world.manager.get("/people?search=Calloway").await.expect(200).text("/items/0/person_id");
        let leader = json!({"person_id": ines, "duty": "leader"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::OTHER_TROOP), leader).await.expect(201);
        let role = json!({"person_id": ines, "role": "viewer"});
        world.manager.post("/grants", role).await.expect(201);
        let later =
            apply(&world.manager, &read(&world.manager, "role_list", "2040-01-10", list).await).await.expect(200);
        assert_eq!(later.at("/counts/changes"), 0);
        let reverse = format!("{}/reverse", address(&applied));
        let refused = world.manager.post(&reverse, json!({})).await.expect_problem(409, "built_on");
        let errors = refused.at("/errors");
        let errors = errors.as_array().expect("errors");
        let codes: Vec<_> = errors.iter().map(|error| &error["code"]).collect();
        assert_eq!(codes, ["later_list", "used_since", "used_since"], "{refused}");
        for error in errors {
            let detail = error["detail"].as_str().expect("a detail");
            let path = detail.split("POST ").nth(1).unwrap_or_else(|| panic!("{detail} names a request"));
            world.manager.post(path.trim_end_matches([')', '.']), json!({})).await.expect(200);
        }
        assert_eq!(world.manager.post(&reverse, json!({})).await.expect(200).at("/state"), "reversed");
    });
}

/// What cannot be undone says so, and what to do instead.
#[test]
fn what_stays_on_record_says_what_to_do_instead() {
    scenario(async |world| {
        let list = "Troop,First name,Last name\n0103,Ines,Calloway\n";
        let applied =
            apply(&world.manager, &read(&world.manager, "role_list", "2040-01-09", list).await).await.expect(200);
        let proposals = world.manager.get(&format!("/assignments?troop={}", fixture::VACANT_TROOP)).await.expect(200);
        let place = proposals.text("/items/0/assignment_id");
        world.manager.post(&format!("/assignments/{place}/confirm"), json!({})).await.expect(200);
        let reverse = format!("{}/reverse", address(&applied));
        let refused = world.manager.post(&reverse, json!({})).await.expect_problem(409, "built_on");
        let detail = refused.text("/errors/0/detail");
        assert!(
            detail.starts_with("Ines Calloway was confirmed in the place that this list proposed. It cannot be undone")
        );
        let instead = format!("/v1/units/{}/assignments/{place}/stand-down", fixture::UNIT);
        assert!(detail.contains(&format!("POST {instead}")), "{detail}");
        assert!(detail.ends_with(&format!("enter what is right instead (POST /v1/units/{}/evidence)", fixture::UNIT)));
        world.manager.post(&instead, json!({"reason": "Not here."})).await.expect(200);
    });
}
