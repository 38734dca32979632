//! Files of lists are kept as long as the policy says; then they go, and what the lists have changed stays.

use serde_json::{Value, json};

use crate::intake::{ROLE_LIST, address, apply, read, rows};
use crate::standings::person;
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// How many files of lists the database holds.
async fn files(world: &World) -> i64 {
    let mut owner = world.owner().await;
    sqlx::query_scalar("select count(*) from blob").fetch_one(&mut owner).await.expect("a count")
}

/// How often a word stands anywhere in what is kept of lists.
async fn mentions(world: &World, text: &str) -> i64 {
    let mut owner = world.owner().await;
    sqlx::query_scalar(
        "select (select count(*) from blob where position($1 in encode(content, 'escape')) > 0)
              + (select count(*) from intake where position($1 in concat(parsed, columns, absences, choices)) > 0)
              + (select count(*) from intake_row where position($1 in concat(preview, resolution)) > 0)",
    )
    .bind(text)
    .fetch_one(&mut owner)
    .await
    .expect("a count")
}

#[test]
fn a_file_goes_when_its_time_is_over_and_what_the_list_said_stays() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
        let path = format!("{}/rows/6/resolve", address(&intake));
        let ready = world.manager.post(&path, json!({"decision": "leave_out"})).await.expect(200);
        let applied = apply(&world.manager, &ready).await.expect(200);
        let facts = async || {
            let page =
                world.manager.get(&format!("/evidence?limit=200&person={}", person(&fixture::CLARA))).await.expect(200);
            page.at("/items").as_array().expect("facts").len()
        };
        let known = facts().await;
        assert!(known > 0 && mentions(world, "Calloway").await > 0);
        // The shipped policy keeps files for 400 days after their upload.
        world.forward(days(399)).await;
        world.tick().await;
        assert_eq!(world.manager.get(&address(&applied)).await.expect(200).at("/file_erased_at"), Value::Null);
        world.forward(days(2)).await;
        world.tick().await;
        let seen = world.manager.get(&address(&applied)).await.expect(200);
        assert_eq!((seen.at("/state"), seen.at("/counts/facts")), (json!("applied"), json!(7)));
        assert!(seen.text("/file_erased_at").starts_with("2041-02-14T"), "{seen}");
        assert_eq!(
            seen.text("/next_step"),
            "It was applied with 9 changes. Nothing more is to be done. The file was deleted on 2041-02-14, and what was read of it; what it has changed stays."
        );
        assert_eq!(rows(&world.manager, &seen).await, Vec::<Value>::new());
        assert_eq!((files(world).await, mentions(world, "Calloway").await), (0, 0));
        assert_eq!(facts().await, known);
        let people = world.manager.get("/people?search=Calloway").await.expect(200);
        assert_eq!(people.at("/items/0/first_name"), "Ines");
        // It is done once, and each time it is done the unit's log says so.
        let log = async || {
            let mut owner = world.owner().await;
            let told = "select count(*) from unit_log where action = 'delete_list_files'";
            sqlx::query_scalar::<_, i64>(told).fetch_one(&mut owner).await.expect("a count")
        };
        assert_eq!(log().await, 1);
        world.tick().await;
        assert_eq!(log().await, 1);
    });
}

#[test]
fn a_file_that_was_uploaded_again_stays_as_long_as_the_later_one_and_a_waiting_list_is_put_away() {
    scenario(async |world| {
        let list = "Troop,Received on\n0101,2040-01-03\n";
        let first = read(&world.manager, "bank_details", "2040-01-09", list).await;
        world.forward(days(20)).await;
        let second = read(&world.manager, "bank_details", "2040-01-25", list).await;
        let path = format!("/seasons/{}/policy", fixture::SEASON);
        let mut policy = world.manager.get(&path).await.expect(200).at("/policy");
        assert_eq!(policy["intake"]["keep_list_files_days"], 400);
        policy["intake"]["keep_list_files_days"] = json!(29);
        world.manager.put(&path, "\"v1\"", policy.clone()).await.expect_problem(422, "invalid");
        policy["intake"]["keep_list_files_days"] = json!(30);
        world.manager.put(&path, "\"v1\"", policy).await.expect(200);
        world.forward(days(11)).await;
        world.tick().await;
        let seen = world.manager.get(&address(&first)).await.expect(200);
        assert_eq!((seen.at("/state"), seen.at("/file_erased_at").is_string()), (json!("discarded"), true), "{seen}");
        assert_eq!(files(world).await, 1, "the second upload is the same file and keeps it");
        apply(&world.manager, &second).await.expect(200);
        world.forward(days(20)).await;
        world.tick().await;
        assert_eq!(files(world).await, 0);
    });
}
