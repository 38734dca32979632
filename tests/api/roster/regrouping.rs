//! Troops that become one, and a part of a troop that becomes a troop of its own.

use serde_json::{Value, json};
use uuid::Uuid;

use super::{each, person, places};
use crate::standings::clara_is_ready;
use crate::support::client::Answered;
use crate::support::fixture::{self, SEASON};
use crate::support::world::World;
use crate::support::{days, scenario};

/// Troop 0101 goes into troop 0102, and those named go on there.
fn merger(continuing: &Value) -> Value {
    json!({"into_troop_id": fixture::OTHER_TROOP, "reason": "Both meet on Tuesdays.", "continuing": continuing})
}

fn merge(troop: Uuid, below: &str) -> String {
    format!("/troops/{troop}/merge{below}")
}

/// Previews a merge of troop 0101, and confirms what was seen.
async fn merged(world: &World, body: Value) -> Answered {
    let seen = world.manager.post(&merge(fixture::TROOP, "/preview"), body.clone()).await.expect(200);
    let confirmed = format!("?confirm_stamp={}", seen.text("/stamp"));
    world.manager.post(&merge(fixture::TROOP, &confirmed), body).await.expect(200)
}

/// The numbers that a list of standings has, with the state of each.
async fn standings(world: &World, query: &str) -> Vec<(String, String)> {
    let page = world.overseer.get(&format!("/standings{query}")).await.expect(200);
    each(&page, "number").into_iter().zip(each(&page, "state")).collect()
}

fn pair(number: &str, state: &str) -> (String, String) {
    (number.to_owned(), state.to_owned())
}

#[test]
fn a_preview_tells_what_a_merge_does_and_changes_nothing() {
    scenario(async |world| {
        let duty = json!({"person_id": fixture::DOV, "duty": "treasurer"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::TROOP), duty).await.expect(201);
        let body = merger(&json!([{"assignment_id": fixture::PIOTRS_ASSIGNMENT}]));
        let path = merge(fixture::TROOP, "/preview");
        world.overseer.post(&path, body.clone()).await.expect_problem(403, "forbidden");
        world.clara.post(&path, body.clone()).await.expect_problem(403, "forbidden");
        let seen = world.manager.post(&path, body.clone()).await.expect(200);
        assert_eq!(
            (seen.at("/plan/from/number"), seen.at("/plan/into/number"), seen.at("/plan/selling_youths")),
            (json!("0101"), json!("0102"), json!(21))
        );
        assert_eq!(
            seen.at("/plan/coordinators"),
            json!([
                {"assignment_id": fixture::CLARAS_ASSIGNMENT, "person_id": person(&fixture::CLARA), "outcome": "ends",
                 "lead": false, "to_assignment_id": null},
                {"assignment_id": fixture::PIOTRS_ASSIGNMENT, "person_id": person(&fixture::PIOTR), "outcome": "begins",
                 "lead": false, "to_assignment_id": null},
            ])
        );
        assert_eq!(
            (seen.at("/plan/contacts/0/person_id"), seen.at("/plan/contacts/0/troop_id")),
            (json!(fixture::DOV), json!(fixture::OTHER_TROOP))
        );
        assert_eq!(seen.at("/plan/outside_steps"), json!([]));
        let again = world.manager.post(&path, body).await.expect(200);
        assert_eq!(seen.text("/stamp"), again.text("/stamp"), "nothing changed between the two");
        let troop = world.manager.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(
            (troop.at("/in_season"), troop.at("/merged_into"), troop.at("/etag")),
            (json!(true), json!(null), json!("\"v1\""))
        );
    });
}

#[test]
fn a_merged_troop_is_gone_from_now_on_and_every_earlier_answer_still_has_it() {
    scenario(async |world| {
        clara_is_ready(world).await;
        world.forward(days(1)).await;
        world.overseer.get("/standings").await.expect(200);
        let before = "2040-01-11T15:00:00Z";
        let then = world.overseer.get(&format!("/standings?as_of={before}")).await.expect(200);
        let done = merged(world, merger(&json!([]))).await;
        assert_eq!(
            standings(world, "").await,
            [pair("0102", "gathering"), pair("0103", "vacant")],
            "gone from the list of standings"
        );
        world.overseer.get(&format!("/standings/{}", fixture::TROOP)).await.expect_problem(404, "not_found");
        let preview = world.overseer.get("/return-preview").await.expect(200);
        assert_eq!(preview.at("/document/totals/troops"), json!(2), "{preview}");
        let later = world.overseer.get(&format!("/standings?as_of={before}")).await.expect(200);
        assert_eq!(then.at("/items"), later.at("/items"), "an earlier instant answers as it did");
        assert_eq!(later.at("/items/0/state"), "ready");
        let one = format!("/standings/{}?as_of={before}", fixture::TROOP);
        world.overseer.get(&one).await.expect(200);
        // A pointer is left where somebody looks for the old troop.
        let listed = world.viewer.get("/troops").await.expect(200);
        assert_eq!(each(&listed, "number"), ["0102", "0103"]);
        let by_number = world.viewer.get("/troops?number=101").await.expect(200);
        assert_eq!(each(&by_number, "merged_into"), [fixture::OTHER_TROOP.to_string()]);
        assert_eq!(by_number.at("/items/0/in_season"), json!(false));
        assert_eq!(by_number.at("/items/0/merged_at"), done.at("/merged_at"));
        let into = world.viewer.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect(200);
        assert_eq!(into.at("/selling_youths"), json!(21));
        assert_eq!(world.manager.get("/needs").await.expect(200).at("/items").to_string().matches("0101").count(), 0);
        let told = world.overseer.get("/regroupings").await.expect(200);
        assert_eq!(each(&told, "reason"), ["Both meet on Tuesdays."]);
        assert_eq!(told.at("/items/0/selling_youths"), json!(12));
        let told = world.viewer.get("/regroupings").await.expect(200);
        assert_eq!((each(&told, "kind"), each(&told, "reason")), (vec!["merge".to_owned()], vec![String::new()]));
        let told = world.yesenia.get("/regroupings").await.expect(200);
        assert_eq!(told.at("/items"), json!([]), "she never saw the other troop");
    });
}

#[test]
fn coordinators_of_a_merged_troop_end_or_go_on_and_are_appointed_anew() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        let done = merged(world, merger(&json!([{"assignment_id": fixture::CLARAS_ASSIGNMENT}]))).await;
        assert_eq!(done.at("/plan/coordinators/0/outcome"), "begins");
        let listed = world.overseer.get(&format!("/assignments?troop={}", fixture::TROOP)).await.expect(200);
        assert_eq!(each(&listed, "ended_because"), ["regrouped", "regrouped"]);
        assert_eq!(each(&listed, "ended_at"), vec![done.text("/merged_at"); 2]);
        world.piotr.get("/troops").await.expect_problem(404, "not_found");
        let seen = world.clara.get("/troops").await.expect(200);
        assert_eq!(each(&seen, "number"), ["0102"]);
        world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect_problem(404, "not_found");
        // She is not appointed there, what is proven of her counts there, and what was proven of the old troop does not.
        let standing = world.overseer.get(&format!("/standings/{}", fixture::OTHER_TROOP)).await.expect(200);
        let coordinators = standing.at("/standing/coordinators");
        let clara = coordinators.as_array().expect("coordinators").iter();
        let clara = clara.clone().find(|one| one["person_id"] == json!(person(&fixture::CLARA))).expect("clara");
        assert_eq!((&clara["appointed_at"], &clara["lead"]), (&json!(null), &json!(false)));
        let met = clara["requirements"].as_array().expect("rows").iter();
        assert!(
            met.clone().all(|row| row["outcome"] == "met" || row["requirement"] == "first_season_course"),
            "{clara}"
        );
        let form = standing.at("/standing/requirements");
        assert_eq!((&form[0]["requirement"], &form[0]["outcome"]), (&json!("bank_details"), &json!("missing")));
    });
}

#[test]
fn a_second_lead_is_never_made_and_the_lead_can_be_taken_where_there_is_none() {
    scenario(async |world| {
        let lead = json!([{"assignment_id": fixture::CLARAS_ASSIGNMENT, "lead": true}]);
        let path = merge(fixture::TROOP, "/preview");
        let refused = world.manager.post(&path, merger(&lead)).await.expect_problem(409, "lead_taken");
        assert_eq!(places(&refused), ["/continuing/0/lead"]);
        let mut vacant = merger(&lead);
        vacant["into_troop_id"] = json!(fixture::VACANT_TROOP);
        let both = json!([{"assignment_id": fixture::CLARAS_ASSIGNMENT, "lead": true},
            {"assignment_id": fixture::PIOTRS_ASSIGNMENT, "lead": true}]);
        let mut two = merger(&both);
        two["into_troop_id"] = json!(fixture::VACANT_TROOP);
        let refused = world.manager.post(&path, two).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/continuing/1/lead"]);
        merged(world, vacant).await;
        let standing = world.overseer.get(&format!("/standings/{}", fixture::VACANT_TROOP)).await.expect(200);
        assert_eq!(standing.at("/standing/coordinators/0/lead"), json!(true));
        assert_ne!(standing.at("/standing/state"), "vacant");
    });
}

#[test]
fn proposals_waivers_and_overrides_of_a_merged_troop_end_and_a_coordinators_own_waiver_stays() {
    scenario(async |world| {
        let of_troop = json!({"requirement": "bank_details", "troop_id": fixture::TROOP, "reason": "The form is lost.",
            "until_on": "2040-02-20"});
        let of_clara = json!({"requirement": "agreement", "person_id": person(&fixture::CLARA), "reason": "In the post.",
            "until_on": "2040-02-20"});
        let pass = json!({"gate": "order", "troop_id": fixture::TROOP, "reason": "Agreed.", "until_on": "2040-01-20"});
        let waiver = world.manager.post("/waivers", of_troop.clone()).await.expect(201).text("/waiver_id");
        let own = world.manager.post("/waivers", of_clara).await.expect(201).text("/waiver_id");
        let over = world.manager.post("/overrides", pass.clone()).await.expect(201).text("/override_id");
        let done = merged(world, merger(&json!([{"assignment_id": fixture::CLARAS_ASSIGNMENT}]))).await;
        assert_eq!(done.at("/plan/ended"), json!([{"kind": "waiver", "id": waiver}, {"kind": "override", "id": over}]));
        let state = async |path: String| world.overseer.get(&path).await.expect(200).text("/state");
        assert_eq!(state(format!("/waivers/{waiver}")).await, "taken_back");
        assert_eq!(state(format!("/overrides/{over}")).await, "taken_back");
        assert_eq!(state(format!("/waivers/{own}")).await, "in_force");
        // Nothing new begins for a troop that has no place any more.
        world.manager.post("/waivers", of_troop).await.expect_problem(422, "unknown_reference");
        world.manager.post("/overrides", pass).await.expect_problem(422, "unknown_reference");
        let fact = json!({"requirement": "bank_details", "troop_id": fixture::TROOP, "outcome": "met"});
        world.manager.post("/evidence", fact).await.expect_problem(422, "unknown_reference");
        let name = json!({"troop_id": fixture::TROOP, "person_id": fixture::DOV, "lead": true});
        let refused = world.manager.post("/assignments", name).await.expect_problem(409, "wrong_state");
        assert!(refused.text("/detail").contains("merged_into"), "{refused}");
        let troop = format!("/troops/{}", fixture::TROOP);
        let etag = world.manager.get(&troop).await.expect(200).text("/etag");
        world.manager.patch(&troop, &etag, json!({"selling_youths": 3})).await.expect_problem(409, "wrong_state");
        // Its number can be given to another troop.
        world.manager.patch(&troop, &etag, json!({"number": "0101 (old)"})).await.expect(200);
        world
            .manager
            .post(&format!("{troop}/sit-out"), json!({"reason": "Asked to."}))
            .await
            .expect_problem(404, "not_found");
    });
}

#[test]
fn what_cannot_be_merged_is_refused_with_what_to_do() {
    scenario(async |world| {
        let ask = async |from: Uuid, into: Uuid| {
            let body = json!({"into_troop_id": into, "reason": "Both meet on Tuesdays."});
            world.manager.post(&merge(from, "/preview"), body).await
        };
        let refused = ask(fixture::TROOP, fixture::TROOP).await.expect_problem(422, "invalid");
        assert_eq!(
            (places(&refused), refused.text("/errors/0/code")),
            (vec!["/into_troop_id".to_owned()], "same_troop".to_owned())
        );
        ask(fixture::TROOP, fixture::AWAY_TROOP).await.expect_problem(422, "unknown_reference");
        ask(fixture::TROOP, fixture::NOTHING).await.expect_problem(422, "unknown_reference");
        ask(fixture::AWAY_TROOP, fixture::TROOP).await.expect_problem(404, "not_found");
        world
            .manager
            .post(&format!("/troops/{}/sit-out", fixture::VACANT_TROOP), json!({"reason": "Asked to."}))
            .await
            .expect(200);
        let refused = ask(fixture::TROOP, fixture::VACANT_TROOP).await.expect_problem(409, "wrong_state");
        assert!(refused.text("/detail").starts_with("Troop 0103 sits out"), "{refused}");
        let named = merger(&json!([{"assignment_id": fixture::YESENIAS_ASSIGNMENT},
            {"assignment_id": fixture::PIOTRS_ASSIGNMENT}, {"assignment_id": fixture::PIOTRS_ASSIGNMENT}]));
        let refused =
            world.manager.post(&merge(fixture::TROOP, "/preview"), named).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/continuing/0/assignment_id", "/continuing/2/assignment_id"]);
        let confirm = merge(fixture::TROOP, &format!("?confirm_stamp={}", "0".repeat(64)));
        world.manager.post(&merge(fixture::TROOP, ""), merger(&json!([]))).await.expect_problem(400, "bad_parameter");
        world.manager.post(&confirm, merger(&json!([]))).await.expect_problem(409, "preview_stale");
        merged(world, merger(&json!([]))).await;
        let refused = ask(fixture::TROOP, fixture::OTHER_TROOP).await.expect_problem(409, "wrong_state");
        assert!(refused.text("/detail").contains("0101 went into another troop"), "{refused}");
        ask(fixture::OTHER_TROOP, fixture::TROOP).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn a_merge_confirmed_on_another_world_than_the_previewed_one_is_refused() {
    scenario(async |world| {
        let body = merger(&json!([]));
        let seen = world.manager.post(&merge(fixture::TROOP, "/preview"), body.clone()).await.expect(200);
        let confirm = merge(fixture::TROOP, &format!("?confirm_stamp={}", seen.text("/stamp")));
        let name = json!({"troop_id": fixture::TROOP, "person_id": fixture::DOV, "lead": false});
        world.manager.post("/assignments", name).await.expect(201);
        world.manager.post(&confirm, body.clone()).await.expect_problem(409, "preview_stale");
        let troop = world.manager.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(troop.at("/in_season"), json!(true));
        // Another choice than the previewed one is another plan.
        let seen = world.manager.post(&merge(fixture::TROOP, "/preview"), body.clone()).await.expect(200);
        let confirm = merge(fixture::TROOP, &format!("?confirm_stamp={}", seen.text("/stamp")));
        let other = merger(&json!([{"assignment_id": fixture::PIOTRS_ASSIGNMENT}]));
        world.manager.post(&confirm, other).await.expect_problem(409, "preview_stale");
        world.manager.post(&confirm, body).await.expect(200);
    });
}

#[test]
fn head_office_is_to_be_told_of_a_merge_where_the_policy_says_so() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}/policy");
        let read = world.manager.get(&path).await.expect(200);
        let mut policy = read.at("/policy");
        policy["outside_steps"] = json!([{"code": "join_troops", "title": "Join the two troops in head office's system", "event": "troop_merged"}]);
        world.manager.put(&path, &read.text("/etag"), policy).await.expect(200);
        let done = merged(world, merger(&json!([]))).await;
        assert_eq!(done.at("/plan/outside_steps/0/code"), "join_troops");
        let page = world.overseer.get("/outside-steps").await.expect(200);
        assert_eq!(
            (page.at("/items/0/event_id"), page.at("/items/0/number")),
            (done.at("/regrouping_id"), json!("0101"))
        );
        let tick = json!({"steps": [{"step": "join_troops", "event_id": done.at("/regrouping_id")}], "done": true});
        world.manager.post("/outside-steps/tick", tick).await.expect(200);
    });
}

fn split() -> Value {
    json!({"number": "0104", "name": "Troop 0104", "age_band": "seniors", "selling_youths": 5, "first_season": true,
        "reason": "The older ones sell on their own.",
        "coordinators": [{"assignment_id": fixture::PIOTRS_ASSIGNMENT, "lead": true}], "contacts": []})
}

#[test]
fn a_part_of_a_troop_becomes_a_troop_of_its_own_and_the_old_one_keeps_its_history() {
    scenario(async |world| {
        world.forward(days(1)).await;
        let before = "2040-01-11T15:00:00Z";
        let then = world.overseer.get(&format!("/standings?as_of={before}")).await.expect(200);
        let path = format!("/troops/{}/split", fixture::TROOP);
        world.overseer.post(&path, split()).await.expect_problem(403, "forbidden");
        let made = world.manager.post(&path, split()).await.expect(201);
        let troop = made.text("/troop/troop_id");
        assert_eq!(made.header("location"), format!("/v1/units/{}/troops/{troop}", fixture::UNIT));
        assert_eq!((made.at("/from/selling_youths"), made.at("/troop/selling_youths")), (json!(7), json!(5)));
        assert_eq!(made.at("/troop/split_from"), json!(fixture::TROOP));
        assert_eq!(made.at("/coordinators/0/outcome"), "begins");
        let listed = standings(world, "").await;
        assert_eq!(
            listed,
            [pair("0101", "gathering"), pair("0102", "gathering"), pair("0103", "vacant"), pair("0104", "gathering")]
        );
        let later = world.overseer.get(&format!("/standings?as_of={before}")).await.expect(200);
        assert_eq!(then.at("/items"), later.at("/items"), "there was no troop 0104 then");
        assert_eq!(each(&world.piotr.get("/troops").await.expect(200), "number"), ["0104"]);
        assert_eq!(each(&world.clara.get("/troops").await.expect(200), "number"), ["0101"]);
        let seen = world.piotr.get(&format!("/troops/{troop}")).await.expect(200);
        assert_eq!(seen.at("/split_from"), json!(null), "he does not see the old troop any more");
        world.manager.post(&path, split()).await.expect_problem(422, "invalid");
    });
}

#[test]
fn a_split_takes_no_more_than_there_is_and_somebody_may_stay_in_both() {
    scenario(async |world| {
        let duty = json!({"person_id": fixture::DOV, "duty": "leader"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::TROOP), duty).await.expect(201);
        let path = format!("/troops/{}/split", fixture::TROOP);
        let mut wrong = split();
        wrong["selling_youths"] = json!(13);
        wrong["contacts"] = json!([{"person_id": fixture::DOV, "duty": "treasurer"}]);
        wrong["coordinators"] = json!([{"assignment_id": fixture::YESENIAS_ASSIGNMENT}]);
        let refused = world.manager.post(&path, wrong).await.expect_problem(422, "invalid");
        let expected = ["/coordinators/0/assignment_id", "/selling_youths", "/contacts/0"];
        assert_eq!(places(&refused), expected);
        let mut taken = split();
        taken["number"] = json!("102");
        world.manager.post(&path, taken).await.expect_problem(409, "number_taken");
        let mut both = split();
        both["coordinators"] = json!([{"assignment_id": fixture::CLARAS_ASSIGNMENT, "lead": true, "stays": true}]);
        both["contacts"] = json!([{"person_id": fixture::DOV, "duty": "leader", "stays": true}]);
        let made = world.manager.post(&path, both).await.expect(201);
        assert_eq!(each(&world.clara.get("/troops").await.expect(200), "number"), ["0101", "0104"]);
        for troop in [fixture::TROOP.to_string(), made.text("/troop/troop_id")] {
            let contacts = world.clara.get(&format!("/troops/{troop}/contacts")).await.expect(200);
            assert_eq!(each(&contacts, "duty"), ["leader"]);
            assert_eq!(contacts.at("/items/0/ended_at"), json!(null));
        }
    });
}

#[test]
fn a_late_troop_is_in_no_answer_as_of_a_time_before_it_was_there() {
    scenario(async |world| {
        world.forward(days(1)).await;
        let late = json!({"number": "0104", "age_band": "juniors", "selling_youths": 6, "first_season": true});
        world.manager.post("/troops", late).await.expect(201);
        assert_eq!(standings(world, "").await.len(), 4);
        assert_eq!(standings(world, "?as_of=2040-01-11T15:00:00Z").await.len(), 3);
    });
}

#[test]
fn whoever_coordinates_both_troops_stays_as_it_was_in_the_one_that_is_left() {
    scenario(async |world| {
        let both = json!({"troop_id": fixture::OTHER_TROOP, "person_id": person(&fixture::PIOTR), "lead": false});
        let there = world.manager.post("/assignments", both).await.expect(201).text("/assignment_id");
        let done = merged(world, merger(&json!([{"assignment_id": fixture::PIOTRS_ASSIGNMENT}]))).await;
        let piotr = done.at("/plan/coordinators/1");
        assert_eq!(
            (&piotr["outcome"], &piotr["to_assignment_id"], &piotr["lead"]),
            (&json!("there_already"), &json!(there), &json!(false))
        );
        let held = world.overseer.get(&format!("/assignments?person={}", person(&fixture::PIOTR))).await.expect(200);
        assert_eq!(each(&held, "ended_because"), ["regrouped", ""]);
    });
}

#[test]
fn of_two_troops_that_are_merged_into_each_other_at_once_one_goes() {
    scenario(async |world| {
        let body = |into: Uuid| json!({"into_troop_id": into, "reason": "Both meet on Tuesdays."});
        let mut asked = Vec::new();
        for (from, into) in [(fixture::TROOP, fixture::OTHER_TROOP), (fixture::OTHER_TROOP, fixture::TROOP)] {
            let seen = world.manager.post(&merge(from, "/preview"), body(into)).await.expect(200);
            let path = merge(from, &format!("?confirm_stamp={}", seen.text("/stamp")));
            asked.push(world.manager.post(&path, body(into)));
        }
        let answers = futures_util::future::join_all(asked.into_iter().map(IntoFuture::into_future)).await;
        let mut statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [200, 409], "{answers:?}");
        assert_eq!(standings(world, "").await.len(), 2);
    });
}

#[test]
fn a_list_that_still_names_the_old_number_is_told_that_it_is_no_troop_of_this_season() {
    scenario(async |world| {
        merged(world, merger(&json!([]))).await;
        let list = "Troop number,Received on\n0101,2040-01-08\n0102,2040-01-08\n";
        let read = crate::intake::read(&world.manager, "bank_details", "2040-01-09", list).await;
        let rows = world.manager.get(&format!("/intakes/{}/rows", read.text("/intake_id"))).await.expect(200);
        assert_eq!(rows.at("/items/0/problems/0/code"), "troop_not_in_season", "{rows}");
        assert_eq!(rows.at("/items/1/problems"), json!([]));
        assert_eq!(read.at("/counts/changes"), json!(1), "only troop 0102's form counts: {read}");
    });
}
