//! The roster: troops, people, roles and coordinators.

use serde_json::{Value, json};
use uuid::Uuid;

use crate::support::client::Answered;
use crate::support::fixture::{self, Somebody};
use crate::support::world::World;
use crate::support::{days, scenario};

fn person(who: &Somebody) -> Uuid {
    who.place.expect("a place in a unit").person
}

/// The grant of somebody's role in the fixture.
fn grant(who: &Somebody) -> Uuid {
    Uuid::from_u128(who.account.as_u128() + 0x400)
}

/// The values of one key over a list.
fn each(answered: &Answered, key: &str) -> Vec<String> {
    let items = answered.at("/items");
    let items = items.as_array().expect("items").iter();
    items.map(|item| item[key].as_str().unwrap_or_default().to_owned()).collect()
}

fn places(answered: &Answered) -> Vec<String> {
    let errors = answered.at("/errors");
    let errors = errors.as_array().expect("errors").iter();
    errors.map(|error| error["pointer"].as_str().unwrap_or_default().to_owned()).collect()
}

fn new_troop(number: &str) -> Value {
    json!({"number": number, "age_band": "juniors", "selling_youths": 11, "first_season": true, "meeting_place": "Mill hall"})
}

#[test]
fn a_coordinator_sees_the_own_troop_and_another_reads_as_missing() {
    scenario(async |world| {
        let own = world.clara.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
        assert_eq!((own.at("/number"), own.at("/meeting_place")), (json!("0101"), json!("Room 0101")));
        assert_eq!((own.at("/selling_youths"), own.at("/first_season")), (json!(12), json!(false)));
        let other =
            world.clara.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect_problem(404, "not_found");
        let missing = world.clara.get(&format!("/troops/{}", fixture::NOTHING)).await.expect_problem(404, "not_found");
        assert_eq!((other.at("/detail"), other.at("/errors")), (missing.at("/detail"), missing.at("/errors")));
        let away = world.manager.get(&format!("/troops/{}", fixture::AWAY_TROOP)).await;
        away.expect_problem(404, "not_found");
        assert_eq!(each(&world.clara.get("/troops").await.expect(200), "number"), ["0101"]);
        assert_eq!(each(&world.manager.get("/troops").await.expect(200), "number"), ["0101", "0102", "0103"]);
        let refused = world.clara.patch(&format!("/troops/{}", fixture::TROOP), "\"v1\"", json!({"name": "x"})).await;
        refused.expect_problem(403, "forbidden");
    });
}

#[test]
fn where_a_troop_meets_is_hidden_from_a_viewer() {
    scenario(async |world| {
        for (who, place) in [
            (&world.manager, json!("Room 0101")),
            (&world.overseer, json!("Room 0101")),
            (&world.materials, json!("Room 0101")),
            (&world.distributor, json!("Room 0101")),
            (&world.viewer, json!(null)),
        ] {
            let troop = who.get(&format!("/troops/{}", fixture::TROOP)).await.expect(200);
            assert_eq!(troop.at("/meeting_place"), place, "{}", who.name);
            let listed = who.get("/troops?number=101").await.expect(200);
            assert_eq!(listed.at("/items/0/meeting_place"), place, "{}", who.name);
        }
    });
}

#[test]
fn troop_numbers_differ_by_more_than_leading_zeros_and_come_in_the_order_of_counting() {
    scenario(async |world| {
        let made = world.manager.post("/troops", new_troop("0412")).await.expect(201);
        assert_eq!((made.at("/number"), made.at("/in_season")), (json!("0412"), json!(true)));
        assert_eq!(made.header("location"), format!("/v1/units/{}/troops/{}", fixture::UNIT, made.text("/troop_id")));
        for again in ["412", " 412 ", "00412"] {
            world.manager.post("/troops", new_troop(again)).await.expect_problem(409, "number_taken");
        }
        for number in ["1000", "9"] {
            world.manager.post("/troops", new_troop(number)).await.expect(201);
        }
        let first = world.manager.get("/troops?limit=4").await.expect(200);
        assert_eq!(each(&first, "number"), ["9", "0101", "0102", "0103"]);
        assert!(first.header("link").contains("rel=\"next\""), "{first}");
        let rest =
            world.manager.get(&format!("/troops?limit=4&cursor={}", first.text("/next_cursor"))).await.expect(200);
        assert_eq!(each(&rest, "number"), ["0412", "1000"]);
        assert_eq!(each(&world.manager.get("/troops?number=00009").await.expect(200), "number"), ["9"]);
        assert_eq!(each(&world.manager.get("/troops?search=TROOP%20010").await.expect(200), "number").len(), 3);
        let other_filter = format!("/troops?limit=4&search=x&cursor={}", first.text("/next_cursor"));
        world.manager.get(&other_filter).await.expect_problem(400, "bad_cursor");
        world.manager.get("/troops?sort=name").await.expect_problem(400, "bad_parameter");
        world.manager.get("/troops?limit=0").await.expect_problem(422, "invalid");
        let bad = json!({"number": " ", "age_band": " ", "selling_youths": 501, "first_season": true});
        let refused = world.manager.post("/troops", bad).await.expect_problem(422, "invalid");
        let mut named = places(&refused);
        named.sort_unstable();
        assert_eq!(named, ["/age_band", "/number", "/selling_youths"]);
    });
}

#[test]
fn a_troop_sent_twice_under_one_key_is_one_troop() {
    scenario(async |world| {
        let first = world.manager.post("/troops", new_troop("0500")).key("troop-0500-once").await.expect(201);
        let again = world.manager.post("/troops", new_troop("0500")).key("troop-0500-once").await.expect(201);
        assert_eq!((first.body, again.header("idempotency-replayed")), (again.body.clone(), "true"));
        world
            .manager
            .post("/troops", new_troop("0501"))
            .key("troop-0500-once")
            .await
            .expect_problem(422, "idempotency_key_reused");
    });
}

#[test]
fn a_troop_of_an_earlier_season_takes_part_when_its_place_is_said_in_full() {
    scenario(async |world| {
        let path = format!("/troops/{}", fixture::TROOP);
        let changed =
            world.manager.patch(&path, "\"v1\"", json!({"selling_youths": 14, "name": "Kestrels"})).await.expect(200);
        assert_eq!((changed.at("/selling_youths"), changed.at("/name")), (json!(14), json!("Kestrels")));
        assert_eq!(changed.text("/etag"), "\"v2\"");
        world.manager.patch(&path, "\"v1\"", json!({"name": "x"})).await.expect_problem(412, "version_stale");
        let next = json!({"label": "2041", "time_zone": "America/Chicago", "currency": "USD", "starts_on": "2040-09-01", "ends_on": "2041-05-31"});
        let next = world.manager.post("/seasons", next).await.expect(201);
        let season = format!("/seasons/{}", next.text("/season_id"));
        world.manager.patch(&season, &next.etag(), json!({"is_current": true})).await.expect(200);
        let troop = world.manager.get(&path).await.expect(200);
        assert_eq!((troop.at("/in_season"), troop.at("/age_band")), (json!(false), json!(null)));
        let refused = world.manager.patch(&path, "\"v2\"", json!({"selling_youths": 10})).await;
        assert_eq!(places(&refused.expect_problem(422, "invalid")), ["/age_band"]);
        let named = json!({"troop_id": fixture::TROOP, "person_id": fixture::DOV, "lead": true});
        world.manager.post("/assignments", named).await.expect_problem(409, "wrong_state");
        let place = json!({"selling_youths": 10, "age_band": "seniors"});
        let troop = world.manager.patch(&path, "\"v2\"", place).await.expect(200);
        assert_eq!((troop.at("/in_season"), troop.at("/first_season")), (json!(true), json!(false)));
        let before = world.manager.get(&format!("{path}?season={}", fixture::SEASON)).await.expect(200);
        assert_eq!((before.at("/selling_youths"), before.at("/age_band")), (json!(14), json!("juniors")));
        let unknown = world.manager.get(&format!("{path}?season={}", fixture::AWAY_SEASON)).await;
        unknown.expect_problem(422, "unknown_reference");
    });
}

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
        world.manager.post("/people", new).await.expect_problem(409, "membership_number_taken");
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
            json!({"left_on": "2040-01-05", "last_name": ""}),
        );
        let left = left.await.expect(200);
        assert_eq!((left.at("/left_on"), left.at("/last_name")), (json!("2040-01-05"), json!("")));
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

#[test]
fn a_role_given_for_a_week_is_gone_after_it() {
    scenario(async |world| {
        let other = format!("/troops/{}", fixture::OTHER_TROOP);
        world.clara.get(&other).await.expect_problem(404, "not_found");
        let week = json!({"person_id": person(&fixture::CLARA), "role": "materials_coordinator", "until_at": "2040-01-17T16:00:00Z"});
        let given = world.manager.post("/grants", week.clone()).await.expect(201);
        assert_eq!((given.at("/role"), given.at("/ended_at")), (json!("materials_coordinator"), json!(null)));
        world.manager.post("/grants", week).await.expect_problem(409, "role_held");
        world.clara.get(&other).await.expect(200);
        world.forward(days(8)).await;
        world.clara.get(&other).await.expect_problem(404, "not_found");
        let open = format!("/grants?open=true&person={}", person(&fixture::CLARA));
        assert_eq!(each(&world.overseer.get(&open).await.expect(200), "role"), [""; 0]);
        let ended = world.manager.post(&format!("/grants/{}/end", given.text("/grant_id")), json!({})).await;
        ended.expect_problem(409, "already_ended");
    });
}

#[test]
fn a_role_that_ends_is_gone_with_the_next_request() {
    scenario(async |world| {
        world.overseer.get("/log").await.expect(200);
        let path = format!("/grants/{}/end", grant(&fixture::OVERSEER));
        let ended = world.manager.post(&path, json!({})).await.expect(200);
        assert!(ended.at("/ended_at").is_string(), "{ended}");
        world.overseer.get("/log").await.expect_problem(404, "not_found");
        world.manager.post(&path, json!({})).await.expect_problem(409, "already_ended");
        world
            .manager
            .post(&format!("/grants/{}/end", fixture::NOTHING), json!({}))
            .await
            .expect_problem(404, "not_found");
        world
            .manager
            .post(&format!("/grants/{}/end", grant(&fixture::STRANGER)), json!({}))
            .await
            .expect_problem(404, "not_found");
    });
}

#[test]
fn the_unit_keeps_a_manager_who_can_sign_in() {
    scenario(async |world| {
        let own = format!("/grants/{}/end", grant(&fixture::MANAGER));
        world.manager.post(&own, json!({})).await.expect_problem(409, "last_unit_manager");
        // Somebody without an account cannot manage anything, and a deputy's week ends.
        for new in [
            json!({"person_id": fixture::DOV, "role": "unit_manager"}),
            json!({"person_id": person(&fixture::CLARA), "role": "unit_manager", "until_at": "2040-01-20T00:00:00Z"}),
        ] {
            world.manager.post("/grants", new).await.expect(201);
            world.manager.post(&own, json!({})).await.expect_problem(409, "last_unit_manager");
        }
        let new = json!({"person_id": person(&fixture::OVERSEER), "role": "unit_manager"});
        world.manager.post("/grants", new).await.expect(201);
        world.manager.post(&own, json!({})).await.expect(200);
        world.manager.get("/troops").await.expect_problem(404, "not_found");
        world.overseer.get("/grants").await.expect(200);
    });
}

#[test]
fn two_managers_who_end_each_other_leave_one() {
    scenario(async |world| {
        let new = json!({"person_id": person(&fixture::OVERSEER), "role": "unit_manager"});
        let second = world.manager.post("/grants", new).await.expect(201);
        let one = world.manager.post(&format!("/grants/{}/end", second.text("/grant_id")), json!({}));
        let other = world.overseer.post(&format!("/grants/{}/end", grant(&fixture::MANAGER)), json!({}));
        let (one, other) = futures_util::future::join(async { one.await.status }, async { other.await.status }).await;
        assert!([one, other].contains(&200), "{one} {other}");
        assert!(one != other, "both managers are gone: {one} {other}");
    });
}

#[test]
fn a_role_needs_a_known_person_and_an_end_ahead() {
    scenario(async |world| {
        let unknown = json!({"person_id": person(&fixture::STRANGER), "role": "viewer"});
        let refused = world.manager.post("/grants", unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/person_id"]);
        let past = json!({"person_id": fixture::DOV, "role": "viewer", "until_at": "2040-01-01T00:00:00Z"});
        let refused = world.manager.post("/grants", past).await.expect_problem(422, "invalid");
        assert_eq!(places(&refused), ["/until_at"]);
        let coordinator = json!({"person_id": fixture::DOV, "role": "troop_coordinator"});
        world.manager.post("/grants", coordinator).await.expect_problem(422, "invalid");
        let admin = json!({"person_id": fixture::DOV, "role": "administrator"});
        world.manager.post("/grants", admin).await.expect_problem(422, "invalid");
        world
            .clara
            .post("/grants", json!({"person_id": fixture::DOV, "role": "viewer"}))
            .await
            .expect_problem(403, "forbidden");
    });
}

#[test]
fn naming_a_coordinator_gives_the_troop_and_one_troop_has_one_lead() {
    scenario(async |world| {
        let name = |troop: Uuid, who: Uuid, lead: bool| json!({"troop_id": troop, "person_id": who, "lead": lead});
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        world.clara.get(&vacant).await.expect_problem(404, "not_found");
        let clara = person(&fixture::CLARA);
        let made = world.manager.post("/assignments", name(fixture::VACANT_TROOP, clara, true)).await.expect(201);
        assert!(made.at("/confirmed_at").is_string() && made.at("/proposed_at").is_null(), "{made}");
        world.clara.get(&vacant).await.expect(200);
        let refused = world.manager.post("/assignments", name(fixture::VACANT_TROOP, clara, false)).await;
        refused.expect_problem(409, "already_assigned");
        let refused = world.manager.post("/assignments", name(fixture::VACANT_TROOP, fixture::DOV, true)).await;
        refused.expect_problem(409, "lead_taken");
        let unknown = name(fixture::AWAY_TROOP, person(&fixture::STRANGER), true);
        let refused = world.manager.post("/assignments", unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/troop_id", "/person_id"]);
        let own = world.clara.get("/assignments").await.expect(200);
        assert_eq!(own.at("/items").as_array().map(Vec::len), Some(3), "clara, piotr, and clara again: {own}");
        let of_yesenia = format!("/assignments?person={}", person(&fixture::YESENIA));
        assert_eq!(each(&world.clara.get(&of_yesenia).await.expect(200), "person_id"), [""; 0]);
        world.viewer.get("/assignments").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn a_deputys_time_runs_out_and_makes_room() {
    scenario(async |world| {
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        let deputy = json!({"troop_id": fixture::VACANT_TROOP, "person_id": person(&fixture::CLARA), "lead": true, "until_at": "2040-01-12T00:00:00Z"});
        world.manager.post("/assignments", deputy.clone()).await.expect(201);
        let after = json!({"troop_id": fixture::VACANT_TROOP, "person_id": person(&fixture::PIOTR), "lead": true});
        world.manager.post("/assignments", after.clone()).await.expect_problem(409, "lead_taken");
        world.forward(days(3)).await;
        world.clara.get(&vacant).await.expect_problem(404, "not_found");
        world.manager.post("/assignments", deputy).await.expect_problem(422, "invalid");
        world.manager.post("/assignments", after).await.expect(201);
        let listed = world.manager.get(&format!("/assignments?troop={}", fixture::VACANT_TROOP)).await.expect(200);
        assert_eq!(listed.at("/items/0/ended_at"), json!("2040-01-12T00:00:00Z"));
        assert_eq!(listed.at("/items/1/ended_at"), json!(null));
    });
}

/// What a list does: it proposes.
async fn proposal(world: &World, troop: Uuid, who: &Somebody, lead: bool) -> Uuid {
    let id = Uuid::now_v7();
    sqlx::query(
        "insert into assignment (unit_id, assignment_id, troop_id, season_id, person_id, lead, from_at, proposed_at, version, log_seq)
         values ($1, $2, $3, $4, $5, $6, '2040-01-09T00:00:00Z', '2040-01-09T00:00:00Z', 1, 0)",
    )
    .bind(fixture::UNIT)
    .bind(id)
    .bind(troop)
    .bind(fixture::SEASON)
    .bind(person(who))
    .bind(lead)
    .execute(&mut world.owner().await)
    .await
    .expect("a proposal");
    id
}

#[test]
fn a_proposal_gives_nothing_until_a_person_confirms_it() {
    scenario(async |world| {
        let id = proposal(world, fixture::VACANT_TROOP, &fixture::YESENIA, true).await;
        let vacant = format!("/troops/{}", fixture::VACANT_TROOP);
        world.yesenia.get(&vacant).await.expect_problem(404, "not_found");
        let waiting = world.overseer.get("/assignments?proposed=true").await.expect(200);
        assert_eq!(each(&waiting, "assignment_id"), [id.to_string()]);
        world.yesenia.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect_problem(403, "forbidden");
        let confirmed = world.manager.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect(200);
        assert_eq!((confirmed.at("/lead"), confirmed.etag()), (json!(true), "\"v2\"".to_owned()));
        world.yesenia.get(&vacant).await.expect(200);
        world.manager.post(&format!("/assignments/{id}/confirm"), json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&format!("/assignments/{id}/decline"), json!({})).await.expect_problem(409, "wrong_state");
        let nothing = format!("/assignments/{}/confirm", fixture::AWAY_ASSIGNMENT);
        world.manager.post(&nothing, json!({})).await.expect_problem(404, "not_found");
    });
}

#[test]
fn a_person_decides_who_leads_and_what_is_declined_stays_declined() {
    scenario(async |world| {
        let id = proposal(world, fixture::TROOP, &fixture::YESENIA, true).await;
        let confirm = format!("/assignments/{id}/confirm");
        world.manager.post(&confirm, json!({})).await.expect_problem(409, "lead_taken");
        let confirmed = world.manager.post(&confirm, json!({"lead": false})).await.expect(200);
        assert_eq!(confirmed.at("/lead"), json!(false));
        let other = proposal(world, fixture::OTHER_TROOP, &fixture::CLARA, false).await;
        let declined = world.manager.post(&format!("/assignments/{other}/decline"), json!({})).await.expect(200);
        assert!(declined.at("/declined_at").is_string(), "{declined}");
        world.clara.get(&format!("/troops/{}", fixture::OTHER_TROOP)).await.expect_problem(404, "not_found");
        world
            .manager
            .post(&format!("/assignments/{other}/confirm"), json!({}))
            .await
            .expect_problem(409, "wrong_state");
        assert_eq!(each(&world.manager.get("/assignments?proposed=true").await.expect(200), "assignment_id"), [""; 0]);
    });
}

#[test]
fn a_contact_of_a_troop_is_known_and_sees_nothing_by_it() {
    scenario(async |world| {
        let vacant = format!("/troops/{}/contacts", fixture::VACANT_TROOP);
        let leader = world.manager.get(&vacant).await.expect(200);
        assert_eq!(
            (leader.at("/items/0/duty"), leader.at("/items/0/person_id")),
            (json!("leader"), json!(fixture::DOV))
        );
        let yesenia = person(&fixture::YESENIA);
        let made = world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await.expect(201);
        assert_eq!(made.at("/ended_at"), json!(null));
        world.yesenia.get(&format!("/troops/{}", fixture::VACANT_TROOP)).await.expect_problem(404, "not_found");
        world.yesenia.get(&vacant).await.expect_problem(404, "not_found");
        world.viewer.get(&vacant).await.expect_problem(403, "forbidden");
        let again = world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await;
        again.expect_problem(409, "conflict");
        let end = format!("{vacant}/{yesenia}/treasurer/end");
        world.manager.post(&end, json!({})).await.expect(200);
        world.manager.post(&end, json!({})).await.expect_problem(409, "already_ended");
        world.manager.post(&format!("{vacant}/{yesenia}/mascot/end"), json!({})).await.expect_problem(404, "not_found");
        world.manager.post(&vacant, json!({"person_id": yesenia, "duty": "treasurer"})).await.expect(201);
        let own = format!("/troops/{}/contacts", fixture::TROOP);
        assert_eq!(world.clara.get(&own).await.expect(200).at("/items"), json!([]));
        let unknown = json!({"person_id": person(&fixture::STRANGER), "duty": "leader"});
        let refused = world.manager.post(&own, unknown).await.expect_problem(422, "unknown_reference");
        assert_eq!(places(&refused), ["/person_id"]);
        let page = world.manager.get(&format!("{vacant}?limit=1")).await.expect(200);
        let next =
            world.manager.get(&format!("{vacant}?limit=1&cursor={}", page.text("/next_cursor"))).await.expect(200);
        assert_eq!(next.at("/items/0/person_id"), json!(fixture::DOV));
    });
}
