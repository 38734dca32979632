//! What must be repeated in head office's system: asked for by the policy, worked out from what happened, ticked by a person.

use serde_json::{Value, json};

use crate::standings::clara_is_ready;
use crate::support::fixture::{self, SEASON};
use crate::support::scenario;
use crate::support::world::World;

/// Adds outside steps to the season's policy.
async fn ask_for(world: &World, steps: Value) -> crate::support::client::Answered {
    let path = format!("/seasons/{SEASON}/policy");
    let read = world.manager.get(&path).await.expect(200);
    let mut policy = read.at("/policy");
    policy["outside_steps"] = steps;
    world.manager.put(&path, &read.text("/etag"), policy).await
}

fn steps() -> Value {
    json!([
        {"code": "enter_appointment", "title": "Enter the appointment in head office's system.", "event": "appointed"},
        {"code": "order_badge", "title": "Order the coordinator's badge", "event": "appointed"},
        {"code": "send_figures", "title": "Type the return's figures in", "event": "return_filed"},
    ])
}

async fn listed(world: &World, query: &str) -> Vec<(String, bool)> {
    let page = world.overseer.get(&format!("/outside-steps{query}")).await.expect(200);
    let items = page.at("/items");
    let of = |item: &Value| (item["step"].as_str().expect("a step").to_owned(), item["done_at"].is_string());
    items.as_array().expect("items").iter().map(of).collect()
}

#[test]
fn an_appointment_asks_for_its_steps_until_somebody_ticks_them() {
    scenario(async |world| {
        ask_for(world, steps()).await.expect(200);
        assert_eq!(listed(world, "").await, []);
        clara_is_ready(world).await;
        world
            .manager
            .post(&format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT), json!({}))
            .await
            .expect(200);
        let open = [("enter_appointment".to_owned(), false), ("order_badge".to_owned(), false)];
        assert_eq!(listed(world, "?done=false").await, open);
        let queue = world.manager.get("/needs").await.expect(200).at("/items");
        let items = queue.as_array().expect("items").iter().filter(|item| item["kind"] == "outside_step");
        let items: Vec<&Value> = items.collect();
        assert_eq!(items.len(), 2, "{queue}");
        assert_eq!(items[0]["what"], "Enter the appointment in head office's system, and tick it.");
        assert_eq!(
            items[0]["why"],
            "The policy wants it repeated in head office's system, and nobody has said that it was. For troop 0101."
        );
        // The request that the queue names settles it.
        let request = &items[0]["settle"][0];
        let (path, body) = (request["path"].as_str().expect("a path"), request["body"].clone());
        world.overseer.post(path, body.clone()).await.expect_problem(403, "forbidden");
        world.clara.get("/outside-steps").await.expect_problem(403, "forbidden");
        let done = world.manager.post(path, body.clone()).await.expect(200);
        assert_eq!(
            (done.at("/steps/0/number"), done.at("/steps/0/done_at").is_string()),
            (json!("0101"), true),
            "{done}"
        );
        assert_eq!(listed(world, "?done=true").await, [("enter_appointment".to_owned(), true)]);
        let again = world.manager.post(path, body.clone()).await.expect_problem(422, "invalid");
        assert_eq!(again.text("/errors/0/code"), "done_already");
        // A tick that was a mistake is taken back, and is asked for again.
        let mut back = body;
        back["done"] = json!(false);
        world.manager.post(path, back.clone()).await.expect(200);
        assert_eq!(listed(world, "").await, open);
        world.manager.post(path, back).await.expect_problem(422, "invalid");
    });
}

#[test]
fn one_wrong_step_among_several_ticks_none() {
    scenario(async |world| {
        ask_for(world, steps()).await.expect(200);
        let stamp = world.manager.get("/return-preview").await.expect(200).text("/stamp");
        let filed = world.manager.post("/returns", json!({"stamp": stamp})).await.expect(201).text("/return_id");
        let right = json!({"step": "send_figures", "event_id": filed});
        let post = |steps: Value| world.manager.post("/outside-steps/tick", json!({"steps": steps, "done": true}));
        for (steps, pointer, code) in [
            (json!([right, {"step": "order_badge", "event_id": filed}]), "/steps/1", "unknown"),
            (json!([right, {"step": "send_figures", "event_id": fixture::NOTHING}]), "/steps/1", "unknown"),
            (json!([right, right]), "/steps/1", "twice"),
        ] {
            let refused = post(steps).await.expect_problem(422, "invalid");
            assert_eq!(
                (refused.text("/errors/0/pointer"), refused.text("/errors/0/code")),
                (pointer.into(), code.into())
            );
        }
        post(json!([])).await.expect_problem(422, "invalid");
        assert_eq!(listed(world, "").await, [("send_figures".to_owned(), false)]);
        post(json!([right])).await.expect(200);
        assert_eq!(listed(world, "").await, [("send_figures".to_owned(), true)]);
    });
}

#[test]
fn steps_are_checked_with_the_policy() {
    scenario(async |world| {
        let refused = ask_for(
            world,
            json!([
                {"code": "Enter", "title": " ", "event": "appointed"},
                {"code": "twice", "title": "x", "event": "suspended"},
                {"code": "twice", "title": "y", "event": "restored"},
            ]),
        )
        .await
        .expect_problem(422, "invalid");
        let errors = refused.at("/errors");
        let told: Vec<_> = errors
            .as_array()
            .expect("errors")
            .iter()
            .map(|error| (error["pointer"].as_str().unwrap_or(""), error["code"].as_str().unwrap_or("")))
            .collect();
        assert_eq!(
            told,
            [
                ("/outside_steps/0/code", "bad_code"),
                ("/outside_steps/0/title", "bad_title"),
                ("/outside_steps/2/code", "duplicate_code")
            ]
        );
        ask_for(world, json!([{"code": "a", "title": "x", "event": "sneezed"}])).await.expect_problem(422, "invalid");
    });
}
