//! People, how to reach them, and letting them in.

use serde_json::json;

use super::{each, person, places};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{fixture, scenario};

#[test]
fn a_coordinator_sees_the_people_of_the_own_troops_and_nobody_elses() {
    scenario(async |world| {
        let seen = each(&world.clara.get("/people").await.expect(200), "first_name");
        assert_eq!(seen, ["Clara", "Piotr"]);
        let piotr = person(&fixture::PIOTR);
        world.clara.get(&format!("/people/{piotr}")).await.expect(200);
        let contact = world.clara.get(&format!("/people/{piotr}/contact")).await.expect(200);
        assert_eq!(contact.at("/phone"), "+1 555 0107");
        let yesenia = person(&fixture::YESENIA);
        world.clara.get(&format!("/people/{yesenia}")).await.expect_problem(404, "not_found");
        world.clara.get(&format!("/people/{yesenia}/contact")).await.expect_problem(404, "not_found");
        world.materials.get(&format!("/people/{yesenia}/contact")).await.expect(200);
        world.viewer.get("/people").await.expect_problem(403, "forbidden");
        world.viewer.get(&format!("/people/{yesenia}/contact")).await.expect_problem(403, "forbidden");
        let stranger = person(&fixture::STRANGER);
        world.manager.get(&format!("/people/{stranger}")).await.expect_problem(404, "not_found");
        assert_eq!(each(&world.manager.get("/people?search=okonkwo").await.expect(200), "first_name"), ["Tobias"]);
        assert_eq!(each(&world.manager.get("/people?search=%25").await.expect(200), "first_name"), [""; 0]);
        assert_eq!(
            each(&world.manager.get("/people?membership_number=M-6").await.expect(200), "first_name"),
            ["Clara"]
        );
        let mut names = Vec::new();
        let mut next = String::new();
        loop {
            let page = world.overseer.get(&format!("/people?limit=4{next}")).await.expect(200);
            names.extend(each(&page, "last_name"));
            match page.at("/next_cursor").as_str() {
                Some(cursor) => next = format!("&cursor={cursor}"),
                None => break,
            }
        }
        let wanted = [
            "Abara",
            "Achterberg",
            "Bergqvist",
            "Fontaine-Diallo",
            "Halvorsen",
            "Okonkwo-Lind",
            "Szalai",
            "Tuiasosopo",
            "Wanjiru",
        ];
        assert_eq!(names, wanted);
    });
}

#[test]
fn a_membership_number_is_one_persons_and_an_address_may_be_shared() {
    scenario(async |world| {
        let new = json!({"first_name": "Anneliese", "last_name": "Oyelaran", "membership_number": "T-40771"});
        let made = world.manager.post("/people", new.clone()).await.expect(201);
        world.manager.post("/people", new.clone()).await.expect_problem(409, "name_known");
        let mut another = new;
        another["another_person"] = json!(true);
        world.manager.post("/people", another).await.expect_problem(409, "membership_number_taken");
        let spouse =
            world.manager.post("/people", json!({"first_name": "Bode", "last_name": "Oyelaran"})).await.expect(201);
        let path = format!("/people/{}", spouse.text("/person_id"));
        let refused = world.manager.patch(&path, &spouse.etag(), json!({"membership_number": "T-40771"})).await;
        refused.expect_problem(409, "membership_number_taken");
        for who in [&made, &spouse] {
            let path = format!("/people/{}/contact", who.text("/person_id"));
            let none = world.manager.get(&path).await.expect(200);
            assert_eq!((none.at("/email"), none.etag()), (json!(null), "\"v0\"".to_owned()));
            let address = json!({"email": " oyelaran@example.org "});
            let kept = world.manager.patch(&path, &none.etag(), address).await.expect(200);
            assert_eq!((kept.at("/email"), kept.etag()), (json!("oyelaran@example.org"), "\"v1\"".to_owned()));
        }
        let path = format!("/people/{}/contact", made.text("/person_id"));
        let bad = json!({"email": "not an address", "phone": "call me"});
        let refused = world.manager.patch(&path, "\"v1\"", bad).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/email", "/phone"]);
        world.manager.patch(&path, "\"v0\"", json!({"phone": null})).await.expect_problem(412, "version_stale");
        let left = world.manager.patch(
            &format!("/people/{}", made.text("/person_id")),
            "\"v1\"",
            json!({"left_on": null, "last_name": ""}),
        );
        let left = left.await.expect(200);
        assert_eq!((left.at("/left_on"), left.at("/last_name")), (json!(null), json!("")));
        let leaves = json!({"left_on": "2040-01-05"});
        let path = format!("/people/{}", made.text("/person_id"));
        let refused = world.manager.patch(&path, "\"v2\"", leaves).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/code"), "leaving_is_recorded");
        world.manager.post("/people", json!({"first_name": "a\nb"})).await.expect_problem(422, "invalid");
    });
}

async fn somebody_new(world: &World, first: &str, email: &str) -> String {
    let made = world.manager.post("/people", json!({"first_name": first})).await.expect(201);
    let id = made.text("/person_id");
    let contact = format!("/people/{id}/contact");
    world.manager.patch(&contact, "\"v0\"", json!({"email": email})).await.expect(200);
    id
}

fn token_of(invited: &Answered) -> String {
    let link = invited.text("/invitation_link");
    link.split_once('#').expect("a secret behind the hash").1.to_owned()
}

#[test]
fn an_invited_person_signs_in_and_can_do_nothing_until_named() {
    scenario(async |world| {
        let id = somebody_new(world, "Ottoline", "ottoline@example.org").await;
        let path = format!("/people/{id}/invite");
        let invited = world.manager.post(&path, json!({})).key("invite-ottoline").await.expect(201);
        world.manager.post(&path, json!({})).key("invite-ottoline").await.expect_problem(409, "already_created");
        let accepted = json!({"token": token_of(&invited), "password": "seven lanterns over water"});
        let session = world.nobody.post("/v1/invitations/accept", accepted).await.expect(201);
        world.manager.post(&path, json!({})).await.expect_problem(409, "has_account");
        let me = world.clara.with_token(session.text("/access_token"));
        let unit = format!("/v1/units/{}", fixture::UNIT);
        let sees = async |path: &str| {
            reqwest::Client::new()
                .get(format!("{}{path}", world.base()))
                .bearer_auth(me.token())
                .send()
                .await
                .expect("an answer")
                .status()
                .as_u16()
        };
        assert_eq!(sees(&unit).await, 404);
        let named = json!({"troop_id": fixture::VACANT_TROOP, "person_id": id, "lead": true});
        world.manager.post("/assignments", named).await.expect(201);
        assert_eq!(sees(&format!("{unit}/troops/{}", fixture::VACANT_TROOP)).await, 200);
        assert_eq!(sees(&format!("{unit}/troops/{}", fixture::TROOP)).await, 404);
    });
}

#[test]
fn an_invitation_needs_an_address_and_dies_with_it() {
    scenario(async |world| {
        let path = format!("/people/{}/invite", fixture::DOV);
        world.manager.post(&path, json!({})).await.expect_problem(409, "email_missing");
        let clara = format!("/people/{}/invite", person(&fixture::CLARA));
        world.manager.post(&clara, json!({})).await.expect_problem(409, "has_account");
        world.overseer.post(&path, json!({})).await.expect_problem(403, "forbidden");
        let id = somebody_new(world, "Ottoline", "ottoline@example.org").await;
        let invited = world.manager.post(&format!("/people/{id}/invite"), json!({})).await.expect(201);
        let moved = json!({"email": "someone.else@example.org"});
        world.manager.patch(&format!("/people/{id}/contact"), "\"v1\"", moved).await.expect(200);
        let accepted = json!({"token": token_of(&invited), "password": "seven lanterns over water"});
        world.nobody.post("/v1/invitations/accept", accepted).await.expect_problem(401, "bad_link");
    });
}
