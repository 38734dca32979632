//! What people get wrong, and how they are told before it costs them something.

use serde_json::{Value, json};

use crate::returns::{file, preview};
use crate::standings::{met, person, screening};
use crate::support::client::Answered;
use crate::support::{fixture, scenario};

fn detail(answer: &Answered) -> String {
    answer.text("/errors/0/detail")
}

#[test]
fn somebody_of_a_known_name_is_asked_about_before_there_are_two() {
    scenario(async |world| {
        let again = json!({"first_name": "ruben", "last_name": "SZALAI"});
        let asked = world.manager.post("/people", again.clone()).await.expect_problem(409, "name_known");
        assert_eq!(detail(&asked), format!("Rubén Szalai: {}", person(&fixture::DISTRIBUTOR)));
        let mut another = again;
        another["another_person"] = json!(true);
        world.manager.post("/people", another).await.expect(201);
    });
}

#[test]
fn a_person_and_how_to_reach_them_is_one_request() {
    scenario(async |world| {
        let new =
            json!({"first_name": "Ilse", "last_name": "Marlow", "email": " ilse@example.org", "phone": "+1 555 0199"});
        let made = world.manager.post("/people", new).await.expect(201).text("/person_id");
        let contact = world.manager.get(&format!("/people/{made}/contact")).await.expect(200);
        assert_eq!((contact.text("/email"), contact.text("/phone")), ("ilse@example.org".into(), "+1 555 0199".into()));
        let bad = json!({"first_name": "Bo", "email": "bo at home", "phone": "none"});
        let told = world.manager.post("/people", bad).await.expect_problem(422, "invalid");
        assert_eq!(
            (told.text("/errors/0/pointer"), told.text("/errors/1/pointer")),
            ("/email".into(), "/phone".into())
        );
        let found = world.manager.get("/people?search=Bo").await.expect(200);
        assert_eq!(found.at("/items"), json!([]), "half of it was kept");
    });
}

#[test]
fn an_address_that_somebody_signs_in_with_invites_nobody_else() {
    scenario(async |world| {
        let spouse =
            json!({"first_name": "Anton", "last_name": "Wanjiru", "email": fixture::PIOTR.email.to_uppercase()});
        let spouse = world.manager.post("/people", spouse).await.expect(201).text("/person_id");
        let path = format!("/people/{spouse}/invite");
        let told = world.manager.post(&path, json!({})).await.expect_problem(409, "address_shared");
        assert!(detail(&told).starts_with(&person(&fixture::PIOTR).to_string()), "{told}");
        let own = json!({"email": "anton@example.org"});
        world.manager.patch(&format!("/people/{spouse}/contact"), "\"v1\"", own).await.expect(200);
        world.manager.post(&path, json!({})).await.expect(201);
        // Nor is a second one invited to an address that waits to be taken.
        let other = json!({"first_name": "Edda", "last_name": "Wanjiru", "email": "Anton@example.org"});
        let other = world.manager.post("/people", other).await.expect(201).text("/person_id");
        world.manager.post(&format!("/people/{other}/invite"), json!({})).await.expect_problem(409, "address_shared");
    });
}

#[test]
fn a_mistyped_year_is_seen() {
    scenario(async |world| {
        let season = json!({
            "label": "Past", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2038-09-01",
            "ends_on": "2039-05-31"
        });
        let told = world.manager.post("/seasons", season).await.expect_problem(422, "invalid");
        assert_eq!(
            (told.text("/errors/0/pointer"), told.text("/errors/0/code")),
            ("/ends_on".into(), "in_past".into())
        );
        let path = format!("/seasons/{}/milestones", fixture::SEASON);
        let far = json!({"code": "site_visit", "title": "Site visit", "on_day": "2041-01-09"});
        let told = world.manager.post(&path, far).await.expect_problem(422, "invalid");
        assert_eq!(told.text("/errors/0/code"), "far_from_season");
        assert!(detail(&told).contains("the season runs from 2039-09-01 to 2040-05-31"), "{told}");
        let listed = world.manager.get(&path).await.expect(200);
        let milestone = |code: &str| {
            let items = listed.at("/items");
            let found = items.as_array().expect("items").iter().find(|one| one["code"] == code).cloned();
            let one: Value = found.expect("a milestone");
            format!("{path}/{}", one["milestone_id"].as_str().expect("an id"))
        };
        let late = json!({"on_day": "2040-12-24"});
        let told = world.manager.patch(&milestone("delivery_day"), "\"v1\"", late).await.expect_problem(422, "invalid");
        assert_eq!(told.text("/errors/0/code"), "far_from_season");
        let early = json!({"on_day": "2040-01-25"});
        let told =
            world.manager.patch(&milestone("delivery_day"), "\"v1\"", early).await.expect_problem(422, "invalid");
        assert_eq!(told.text("/errors/0/code"), "out_of_order");
        assert!(detail(&told).contains("2040-01-26 at the earliest, the day of \"Opening orders due\""), "{told}");
        let begins = json!({
            "troop_id": fixture::VACANT_TROOP, "person_id": person(&fixture::CLARA), "lead": true,
            "from_at": "2026-01-10T16:00:00Z"
        });
        let told = world.manager.post("/assignments", begins).await.expect_problem(422, "invalid");
        assert_eq!(told.text("/errors/0/pointer"), "/from_at");
        let left = json!({"left_on": "2030-01-10"});
        let leave = format!("/people/{}/leave", person(&fixture::PIOTR));
        let told = world.manager.post(&leave, left).await.expect_problem(422, "invalid");
        assert!(detail(&told).starts_with("2039-12-10 or later; look at the year."), "{told}");
    });
}

#[test]
fn what_waits_for_a_second_person_is_in_the_queue_of_both_until_it_is_settled() {
    scenario(async |world| {
        let waiver = json!({
            "requirement": "yearly_training", "person_id": person(&fixture::CLARA), "reason": "Ill on the evening.",
            "until_on": "2040-02-20"
        });
        let made = world.manager.post("/waivers", waiver).await.expect(201).text("/waiver_id");
        let waits = async |who: &crate::support::client::Caller| {
            let items = who.get("/needs?limit=200").await.expect(200).at("/items");
            let items = items.as_array().expect("items").clone();
            items.into_iter().find(|item| item["kind"] == "agree_to_waiver")
        };
        let item = waits(&world.overseer).await.expect("it is in the queue");
        assert_eq!(item["need_id"], format!("agree_to_waiver:{made}"));
        assert_eq!(
            item["what"],
            "Agree to waive \"Yearly training\" for Clara Fontaine-Diallo (troop 0101), or refuse."
        );
        assert_eq!((&item["settle"][1]["you_may"], &item["settle"][2]["you_may"]), (&json!(true), &json!(false)));
        let managers = waits(&world.manager).await.expect("the manager sees that it waits");
        assert_eq!(managers["settle"][0]["you_may"], json!(false));
        let path = item["settle"][0]["path"].as_str().expect("a path").to_owned();
        world.overseer.ask(reqwest::Method::POST, &path).await.expect(200);
        assert_eq!(waits(&world.overseer).await, None);
    });
}

#[test]
fn a_filed_return_says_what_is_waived_and_its_changes_name_people() {
    scenario(async |world| {
        let waiver = json!({
            "requirement": "agreement", "person_id": person(&fixture::CLARA), "reason": "In the post.",
            "until_on": "2040-01-20"
        });
        world.manager.post("/waivers", waiver).await.expect(201);
        let seen = preview(world).await;
        assert_eq!(
            seen.at("/document/troops/0/coordinators/0/waived"),
            json!([{"requirement": "agreement", "title": "Coordinator agreement signed", "until_on": "2040-01-20"}])
        );
        assert_eq!(seen.at("/document/season/time_zone"), "America/Chicago");
        let filed = file(world).await.text("/return_id");
        let table = world.manager.get(&format!("/returns/{filed}/file?format=csv")).await.expect(200);
        let table = String::from_utf8(table.body).expect("UTF-8");
        assert!(
            table.contains("Coordinator agreement signed (Clara Fontaine-Diallo): waived until 2040-01-20"),
            "{table}"
        );
        let names = json!({"troop_id": fixture::VACANT_TROOP, "person_id": fixture::DOV, "lead": true});
        world.manager.post("/assignments", names).await.expect(201);
        let changes = world.manager.get(&format!("/returns/{filed}/changes")).await.expect(200);
        let all = changes.at("/changes");
        let all = all.as_array().expect("changes");
        let of = |what: &str| all.iter().find(|one| one["what"] == what).map(|one| one["after"].clone());
        assert_eq!(of("coordinators"), Some(json!("Dov Achterberg (lead)")));
        assert_eq!(of("exceptions"), None);
    });
}

#[test]
fn dates_of_a_met_screening_are_for_those_who_may_read_screenings_and_for_oneself() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "met", Some("2040-02-01")).await;
        met(world, &fixture::CLARA, "registration").await;
        let path = format!("/standings/{}", fixture::TROOP);
        let row = |answer: &Answered| {
            let rows = answer.at("/standing/coordinators/0/requirements");
            let rows = rows.as_array().expect("rows");
            let row = rows.iter().find(|row| row["requirement"] == "screening").expect("a row").clone();
            (row["outcome"].clone(), row["valid_until_on"].clone())
        };
        assert_eq!(row(&world.manager.get(&path).await.expect(200)), (json!("met"), json!("2040-02-01")));
        for other in [&world.materials, &world.distributor, &world.piotr] {
            let seen = other.get(&path).await.expect(200);
            assert_eq!(row(&seen), (json!("met"), Value::Null));
            assert!(!String::from_utf8_lossy(&seen.body).contains("2040-02-01"), "{seen}");
        }
        let ahead = world.materials.get("/lapses-ahead").await.expect(200);
        assert!(!String::from_utf8_lossy(&ahead.body).contains("screening"), "{ahead}");
        let own = world.clara.get("/my-steps").await.expect(200);
        assert!(String::from_utf8_lossy(&own.body).contains("2040-02-01"), "{own}");
        let viewer = world.viewer.get(&path).await.expect(200);
        assert_eq!(viewer.at("/standing/coordinators"), json!([]));
    });
}

#[test]
fn a_seasons_dates_are_one_request_and_all_of_them_or_none() {
    scenario(async |world| {
        let path = format!("/seasons/{}/milestones", fixture::SEASON);
        let days = async || {
            let items = world.manager.get(&path).await.expect(200).at("/items");
            let of = |one: &Value| (one["code"].as_str().unwrap_or_default().to_owned(), one["on_day"].clone());
            items.as_array().expect("items").iter().map(of).collect::<std::collections::BTreeMap<_, _>>()
        };
        let before = days().await;
        assert_eq!(before["close_out_due"], Value::Null);
        let dated = json!({"milestones": [
            {"code": "close_out_due", "on_day": "2040-03-24", "at_local_time": "18:00"},
            {"code": "delivery_day", "on_day": "2040-02-10", "etag": "\"v1\""},
            {"code": "kits_out", "on_day": "2040-01-07"},
            {"code": "sale_close", "on_day": "2040-03-15"},
            {"code": "close_out_due", "on_day": "2040-04-11"},
            {"code": "return_due", "on_day": "2050-01-19", "etag": "\"v7\""},
        ]});
        let told = world.manager.post(&format!("{path}/dates"), dated).await.expect_problem(422, "invalid");
        let told: Vec<(Value, Value)> = told
            .at("/errors")
            .as_array()
            .expect("faults")
            .iter()
            .map(|one| (one["pointer"].clone(), one["code"].clone()))
            .collect();
        let expected = [
            ("/milestones/2/etag", "missing"),
            ("/milestones/3/code", "unknown"),
            ("/milestones/4/code", "twice"),
            ("/milestones/5/etag", "stale"),
            ("/milestones/0/on_day", "out_of_order"),
            ("/milestones/5/on_day", "far_from_season"),
        ];
        assert_eq!(told, expected.map(|(place, code)| (json!(place), json!(code))));
        assert_eq!(days().await, before, "none of them was dated");
        // Both ends of what must stay in order move together.
        let moved = json!({"milestones": [
            {"code": "opening_orders_due", "on_day": "2040-02-20", "etag": "\"v1\""},
            {"code": "delivery_day", "on_day": "2040-03-01", "at_local_time": "08:00", "etag": "\"v1\""},
            {"code": "close_out_due", "on_day": "2040-04-10"},
        ]});
        let made = world.manager.post(&format!("{path}/dates"), moved).await.expect(200);
        assert_eq!(made.at("/milestones/1/falls_at"), "2040-03-01T14:00:00Z", "eight o'clock in Chicago");
        assert_eq!(made.at("/milestones/0/etag"), "\"v2\"");
    });
}
