//! Two rows that are one person.

use serde_json::json;
use uuid::Uuid;

use super::{each, person, places};
use crate::support::fixture;
use crate::support::scenario;
use crate::support::world::World;

/// A second row of somebody, as a misspelt list makes it.
async fn double(world: &World, first: &str, last: &str, number: Option<&str>) -> Uuid {
    let new = json!({"first_name": first, "last_name": last, "membership_number": number});
    world.manager.post("/people", new).await.expect(201).text("/person_id").parse().expect("an id")
}

async fn agreement(world: &World, who: Uuid) {
    let fact = json!({"requirement": "agreement", "person_id": who, "outcome": "met", "observed_on": "2040-01-08"});
    world.manager.post("/evidence", fact).await.expect(201);
}

/// How the agreement stands for each coordinator of troop 0102.
async fn agreements(world: &World) -> Vec<(serde_json::Value, serde_json::Value)> {
    let standing = world.overseer.get(&format!("/standings/{}", fixture::OTHER_TROOP)).await.expect(200);
    let coordinators = standing.at("/standing/coordinators");
    let of = |one: &serde_json::Value| {
        let rows = one["requirements"].as_array().expect("rows");
        let row = rows.iter().find(|row| row["requirement"] == "agreement").expect("the agreement");
        (one["person_id"].clone(), row["outcome"].clone())
    };
    coordinators.as_array().expect("coordinators").iter().map(of).collect()
}

#[test]
fn evidence_recorded_under_another_spelling_counts_once_the_rows_are_one() {
    scenario(async |world| {
        let yesenia = person(&fixture::YESENIA);
        let other = double(world, "Jesenia", "Bergquist", None).await;
        let helps = json!({"troop_id": fixture::VACANT_TROOP, "person_id": other, "lead": false});
        world.manager.post("/assignments", helps).await.expect(201);
        agreement(world, other).await;
        assert_eq!(agreements(world).await, [(json!(yesenia), json!("missing"))]);
        let body = json!({"into_person_id": yesenia});
        world.overseer.once_and_for_all("merge", other, body.clone()).await.expect_problem(403, "forbidden");
        let unread = world.manager.post(&format!("/people/{other}/merge"), body.clone()).await;
        unread.expect_problem(428, "version_missing");
        let one = world.manager.once_and_for_all("merge", other, body.clone()).await.expect(200);
        assert_eq!((one.at("/person_id"), one.at("/first_name")), (json!(yesenia), json!("Yesenia")));
        assert_eq!(agreements(world).await, [(json!(yesenia), json!("met"))]);
        world.manager.get(&format!("/people/{other}")).await.expect_problem(404, "not_found");
        world.manager.once_and_for_all("merge", other, body).await.expect_problem(404, "not_found");
        assert_eq!(each(&world.manager.get("/people?search=bergquist").await.expect(200), "person_id"), [""; 0]);
    });
}

#[test]
fn the_place_the_role_and_the_contact_details_follow_and_the_account_with_them() {
    scenario(async |world| {
        let clara = person(&fixture::CLARA);
        let kept = double(world, "Clara", "Fontaine", None).await;
        let phone = json!({"phone": "+1 555 0177"});
        world.manager.patch(&format!("/people/{kept}/contact"), "\"v0\"", phone).await.expect(200);
        let duty = json!({"person_id": clara, "duty": "leader"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::VACANT_TROOP), duty).await.expect(201);
        let body = json!({"into_person_id": kept});
        let one = world.manager.once_and_for_all("merge", clara, body).await.expect(200);
        assert_eq!(one.at("/membership_number"), "M-6");
        // She signs in as before and still has her troop, under the row that stayed.
        world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        let listed = world.overseer.get(&format!("/assignments?person={kept}")).await.expect(200);
        assert_eq!(each(&listed, "assignment_id"), [fixture::CLARAS_ASSIGNMENT.to_string()]);
        let contact = world.overseer.get(&format!("/people/{kept}/contact")).await.expect(200);
        assert_eq!(
            (contact.text("/email"), contact.text("/phone")),
            (fixture::CLARA.email.to_owned(), "+1 555 0177".to_owned())
        );
        let contacts = world.overseer.get(&format!("/troops/{}/contacts", fixture::VACANT_TROOP)).await.expect(200);
        assert!(each(&contacts, "person_id").contains(&kept.to_string()), "{contacts}");
    });
}

#[test]
fn what_may_be_two_people_is_never_made_one_unasked() {
    scenario(async |world| {
        let (clara, piotr) = (person(&fixture::CLARA), person(&fixture::PIOTR));
        let refused = world
            .manager
            .once_and_for_all("merge", clara, json!({"into_person_id": clara}))
            .await
            .expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/into_person_id"]);
        let stranger = json!({"into_person_id": person(&fixture::STRANGER)});
        world.manager.once_and_for_all("merge", clara, stranger).await.expect_problem(422, "unknown_reference");
        let other = double(world, "Klara", "Fontaine", Some("T-900")).await;
        let refused = world
            .manager
            .once_and_for_all("merge", clara, json!({"into_person_id": other}))
            .await
            .expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/membership_number"]);
        let wrong = json!({"into_person_id": other, "membership_number": "T-901"});
        world.manager.once_and_for_all("merge", clara, wrong).await.expect_problem(422, "invalid");
        let both = json!({"into_person_id": piotr, "membership_number": "M-6"});
        world.manager.once_and_for_all("merge", clara, both).await.expect_problem(409, "wrong_state");
        let chosen = json!({"into_person_id": other, "membership_number": "M-6"});
        let one = world.manager.once_and_for_all("merge", clara, chosen).await.expect(200);
        assert_eq!(one.at("/membership_number"), "M-6");
        let numbered = world.manager.get("/people?membership_number=M-6").await.expect(200);
        assert_eq!(each(&numbered, "person_id"), [other.to_string()]);
    });
}

/// The only unit manager cannot hand the unit over by a merge, and a role never passes to another account unasked.
#[test]
fn nobody_merges_away_the_own_row_or_somebodys_role() {
    scenario(async |world| {
        let (manager, viewer, overseer) =
            (person(&fixture::MANAGER), person(&fixture::VIEWER), person(&fixture::OVERSEER));
        let into = json!({"into_person_id": viewer});
        let refused = world.manager.once_and_for_all("merge", manager, into.clone()).await;
        assert!(refused.expect_problem(409, "wrong_state").text("/detail").contains("your own row"));
        let refused = world.manager.once_and_for_all("merge", overseer, into).await;
        assert!(refused.expect_problem(409, "wrong_state").text("/detail").contains("end_grant"));
        world.overseer.get("/log?limit=1").await.expect(200);
    });
}

/// Whoever has left is given nothing before somebody says that the person is back.
#[test]
fn whoever_has_left_is_given_nothing() {
    scenario(async |world| {
        let who = double(world, "Ruta", "Ozola", None).await;
        world.manager.post(&format!("/people/{who}/leave"), json!({"left_on": "2040-01-10"})).await.expect(200);
        let named = json!({"troop_id": fixture::VACANT_TROOP, "person_id": who, "lead": true});
        let duty = json!({"person_id": who, "duty": "treasurer"});
        let contacts = format!("/troops/{}/contacts", fixture::VACANT_TROOP);
        let replace = format!("/assignments/{}/replace", fixture::YESENIAS_ASSIGNMENT);
        for (path, body) in [
            ("/assignments", named.clone()),
            ("/grants", json!({"person_id": who, "role": "distributor"})),
            (&*contacts, duty),
            (&*replace, json!({"person_id": who, "reason": "x"})),
        ] {
            let refused = world.manager.post(path, body).await.expect_problem(422, "unknown_reference");
            assert_eq!(
                (places(&refused), refused.text("/errors/0/code")),
                (vec!["/person_id".to_owned()], "left".into())
            );
        }
        let etag = world.manager.get(&format!("/people/{who}")).await.expect(200).text("/etag");
        world.manager.patch(&format!("/people/{who}"), &etag, json!({"left_on": null})).await.expect(200);
        world.manager.post("/assignments", named).await.expect(201);
    });
}
