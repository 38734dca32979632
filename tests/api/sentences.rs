//! Refusals that say what is meant: whose number it is, where a row went, what is wrong with a stamp, a key or a parameter.

use serde_json::{Value, json};

use crate::support::{fixture, scenario};

#[test]
fn a_suspension_a_standing_down_and_a_sitting_out_say_why() {
    scenario(async |world| {
        let acts = [
            format!("/assignments/{}/suspend", fixture::CLARAS_ASSIGNMENT),
            format!("/assignments/{}/stand-down", fixture::CLARAS_ASSIGNMENT),
            format!("/troops/{}/sit-out", fixture::TROOP),
        ];
        for path in &acts {
            for body in [json!({}), json!({"reason": null}), json!({"reason": "  "})] {
                let refused = world.manager.post(path, body).await.expect_problem(422, "invalid");
                let fault = (refused.text("/errors/0/pointer"), refused.text("/errors/0/code"));
                assert_eq!(fault, ("/reason".into(), "missing".into()), "{path}");
                assert!(refused.text("/errors/0/detail").contains("whoever looks at it next"), "{refused}");
            }
        }
        let many = json!({"decision": "suspend", "assignments": [{"assignment_id": fixture::CLARAS_ASSIGNMENT, "stamp": "x"}]});
        let refused = world.manager.post("/decisions", many).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/pointer"), "/reason");
        let standing = world.manager.get(&format!("/standings/{}", fixture::TROOP)).await.expect(200);
        assert_eq!(standing.at("/standing/state"), "gathering", "nothing was decided");
    });
}

#[test]
fn a_membership_number_that_is_taken_says_whose_it_is() {
    scenario(async |world| {
        let first = json!({"first_name": "Ilse", "last_name": "Marlow", "membership_number": "TY-4711"});
        let first = world.manager.post("/people", first).await.expect(201).text("/person_id");
        let second = json!({"first_name": "Edda", "membership_number": "ty 4711"});
        let refused = world.manager.post("/people", second).await;
        // A space is none, a hyphen is one: "ty 4711" is another number than "TY-4711".
        let other = refused.expect(201);
        let same = json!({"first_name": "Bo", "membership_number": " ty-4711"});
        let refused = world.manager.post("/people", same).await.expect_problem(409, "membership_number_taken");
        assert!(refused.text("/detail").starts_with("Ilse Marlow has this membership number"), "{refused}");
        assert_eq!(refused.text("/errors/0/detail"), format!("Ilse Marlow: {first}"));
        let path = format!("/people/{}", other.text("/person_id"));
        let change = json!({"membership_number": "TY-4711"});
        let refused = world.manager.patch(&path, "\"v1\"", change).await.expect_problem(409, "membership_number_taken");
        assert_eq!(refused.text("/errors/0/detail"), format!("Ilse Marlow: {first}"));
        world.manager.patch(&path, "\"v1\"", json!({"membership_number": "ty 4711"})).await.expect(200);
    });
}

#[test]
fn the_id_of_a_row_that_was_made_one_with_another_leads_to_the_one_that_stayed() {
    scenario(async |world| {
        let add = async |name: &str| {
            let new = json!({"first_name": name, "last_name": "Marlow"});
            world.manager.post("/people", new).await.expect(201).text("/person_id")
        };
        let (first, second, third) = (add("Ilsa").await, add("Ilse").await, add("Elsa").await);
        let into = |id: &str| json!({"into_person_id": id});
        world.manager.once_and_for_all("merge", &first, into(&second)).await.expect(200);
        world.manager.once_and_for_all("merge", &second, into(&third)).await.expect(200);
        for gone in [&first, &second] {
            let told = world.manager.get(&format!("/people/{gone}")).await.expect_problem(404, "not_found");
            assert!(told.text("/detail").contains(&third), "{told}");
            assert_eq!(told.at("/errors/0/code"), "merged_into");
            assert_eq!(told.text("/errors/0/detail"), third);
        }
        // Whoever may not read the one that stayed is told what everybody is told.
        let (gone, nothing) = (format!("/people/{first}"), format!("/people/{}", fixture::NOTHING));
        let plain = |mut body: Value| {
            body["request_id"] = Value::Null;
            body["instance"] = Value::Null;
            body
        };
        for other in [&world.clara, &world.stranger] {
            let merged = other.get(&gone).await.expect_problem(404, "not_found").json();
            let missing = other.get(&nothing).await.expect_problem(404, "not_found").json();
            assert_eq!(plain(merged), plain(missing), "{}", other.name);
        }
    });
}

#[test]
fn the_policy_that_is_in_force_is_saved_without_a_new_version() {
    scenario(async |world| {
        let path = format!("/seasons/{}/policy", fixture::SEASON);
        let before = world.manager.get(&path).await.expect(200);
        let same = world.manager.put(&path, "\"v1\"", before.at("/policy")).await.expect(200);
        assert_eq!((same.at("/version"), same.etag()), (json!(1), "\"v1\"".to_owned()));
        assert_eq!(same.at("/made_at"), before.at("/made_at"));
        assert_eq!(world.overseer.get("/log").await.expect(200).at("/items"), json!([]), "nobody reads of a change");
        world.manager.put(&path, "\"v2\"", before.at("/policy")).await.expect_problem(412, "version_stale");
    });
}

#[test]
fn a_stamp_that_is_none_is_told_apart_from_one_that_is_stale() {
    scenario(async |world| {
        let path = format!("/seasons/{}/policy", fixture::SEASON);
        let mut policy = world.manager.get(&path).await.expect(200).at("/policy");
        policy["grace_days"] = json!(3);
        let rubbish = world.manager.put(&format!("{path}?confirm_stamp=zzz"), "\"v1\"", policy.clone()).await;
        let rubbish = rubbish.expect_problem(409, "no_stamp").text("/detail");
        assert!(rubbish.starts_with("This stamp is not one that the preview gave"), "{rubbish}");
        let other = "0123456789abcdef".repeat(4);
        let stale = world.manager.put(&format!("{path}?confirm_stamp={other}"), "\"v1\"", policy).await;
        let stale = stale.expect_problem(409, "preview_stale").text("/detail");
        assert!(stale.contains("the policy that was previewed was another one"), "{stale}");
    });
}

#[test]
fn a_parameter_that_stands_twice_is_told_so() {
    scenario(async |world| {
        let refused = world.manager.get("/people?limit=5&limit=6").await.expect_problem(400, "bad_parameter");
        assert_eq!((refused.at("/errors/0/parameter"), refused.at("/errors/0/code")), (json!("limit"), json!("twice")));
        assert!(refused.text("/errors/0/detail").starts_with("only once"), "{refused}");
        world.manager.get("/standings?state=vacant&state=gathering").await.expect(200);
        let other = world.manager.get("/people?limit=x").await.expect_problem(400, "bad_parameter");
        assert_eq!(other.at("/errors/0/code"), "unreadable");
    });
}

#[test]
fn a_script_is_told_about_its_key_and_not_to_sign_in() {
    scenario(async |world| {
        let new =
            json!({"name": "wall display", "unit_id": fixture::UNIT, "permissions": ["units.read"], "lasts_days": 90});
        let made = world.manager.post("/v1/keys", new).await.expect(201);
        let (id, secret) = (made.text("/key/key_id"), made.text("/secret"));
        let unit = format!("/v1/units/{}", fixture::UNIT);
        world.manager.with_key(&id, secret.clone()).get(&unit).await.expect(200);
        world.manager.post(&format!("/v1/keys/{id}/revoke"), json!({})).await.expect(200);
        let cut = secret.get(..secret.len() - 3).expect("most of it").to_owned();
        for token in [secret, cut] {
            let refused = world.manager.with_key(&id, token).get(&unit).await.expect_problem(401, "not_signed_in");
            let detail = refused.text("/detail");
            assert!(
                detail.starts_with("This key for scripts does not work") && !detail.contains("Sign in"),
                "{detail}"
            );
            assert_eq!(refused.header("www-authenticate"), "Bearer error=\"invalid_token\"");
        }
        let person = world.manager.with_token("rubbish").get(&unit).await.expect_problem(401, "not_signed_in");
        assert!(person.text("/detail").starts_with("Sign in"), "{person}");
    });
}

#[test]
fn the_units_log_begins_with_its_making_and_the_coming_of_its_first_manager() {
    scenario(async |world| {
        let new = json!({"name": "Alder Bend", "manager": {"first_name": "Ilse", "last_name": "Mbeki", "email": "ilse.mbeki@example.org"}});
        let made = world.administrator.post("/v1/units", new).await.expect(201);
        let (unit, first) = (made.text("/unit_id"), made.text("/manager_person_id"));
        let secret = made.text("/invitation_link").split_once('#').expect("a secret").1.to_owned();
        let accepted = json!({"token": secret, "password": "wren kettle marble tuesday"});
        let session = world.nobody.post("/v1/invitations/accept", accepted).await.expect(201);
        let ilse = world.nobody.with_token(session.text("/access_token"));
        let log = ilse.get(&format!("/v1/units/{unit}/log")).await.expect(200).at("/items");
        let told: Vec<(String, String)> = log
            .as_array()
            .expect("rows")
            .iter()
            .map(|row| {
                let subjects = row["subjects"].to_string();
                assert!(subjects.contains(&first), "it names the manager: {row}");
                (row["action"].as_str().expect("an action").to_owned(), row["seq"].to_string())
            })
            .collect();
        let expected = [("create_unit", "1"), ("accept_invitation", "2")];
        assert_eq!(told, expected.map(|(action, seq)| (action.to_owned(), seq.to_owned())));
    });
}

#[test]
fn seasons_that_would_share_days_are_asked_about() {
    scenario(async |world| {
        let mut new = json!({"label": "Spring", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-05-31", "ends_on": "2040-12-31"});
        let asked = world.manager.post("/seasons", new.clone()).await.expect_problem(409, "season_overlaps");
        assert_eq!(asked.text("/errors/0/detail"), "\"2040\" runs from 2039-09-01 to 2040-05-31.");
        new["overlaps"] = json!(true);
        world.manager.post("/seasons", new.clone()).await.expect(201);
        new["label"] = json!("Autumn");
        new["overlaps"] = json!(false);
        new["starts_on"] = json!("2041-01-01");
        new["ends_on"] = json!("2041-05-31");
        let made = world.manager.post("/seasons", new).await.expect(201);
        let path = format!("/seasons/{}", made.text("/season_id"));
        let early = json!({"starts_on": "2040-12-01"});
        world.manager.patch(&path, "\"v1\"", early).await.expect_problem(409, "season_overlaps");
        world.manager.patch(&path, "\"v1\"", json!({"label": "Late"})).await.expect(200);
        let meant = json!({"starts_on": "2040-12-01", "overlaps": true});
        world.manager.patch(&path, "\"v2\"", meant).await.expect(200);
    });
}

#[test]
fn a_return_that_is_not_sent_is_not_late_where_an_earlier_one_was_in_time() {
    scenario(async |world| {
        let find = async || {
            let items = world.manager.get("/needs").await.expect(200).at("/items");
            let items = items.as_array().expect("items").clone();
            items.into_iter().filter(|item| item["kind"] == "send_return").collect::<Vec<_>>()
        };
        let first = crate::returns::file(world).await.text("/return_id");
        let sent = json!({"sent_to": "Head office, season desk", "way": "mail"});
        world.manager.post(&format!("/returns/{first}/sendings"), sent).await.expect(201);
        crate::standings::met(world, &fixture::CLARA, "membership").await;
        world.set_clock("2040-01-21T12:00:00Z".parse().expect("an instant")).await;
        let second = crate::returns::file(world).await.text("/return_id");
        let items = find().await;
        let [item] = items.as_slice() else { panic!("one item: {items:#?}") };
        assert_eq!(item["what"], "Send season return 2 to head office, and mark it as sent.");
        assert_eq!((&item["by_at"], &item["at_stake"]["level"]), (&Value::Null, &json!("waiting")));
        // The newest alone is owed.
        crate::standings::met(world, &fixture::PIOTR, "membership").await;
        crate::returns::file(world).await;
        let items = find().await;
        let [item] = items.as_slice() else { panic!("one item: {items:#?}") };
        assert_eq!(item["what"], "Send season return 3 to head office, and mark it as sent.");
        assert!(!items.iter().any(|item| item.to_string().contains(&second)), "{items:#?}");
    });
}
