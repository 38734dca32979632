//! What is written to people: drafts, wordings, and what a person does with them.

use serde_json::{Value, json};

use crate::support::client::Answered;
use crate::support::fixture::{CLARA, CLARAS_ASSIGNMENT, PIOTR};
use crate::support::world::World;
use crate::support::{days, scenario};

/// Suspends Clara, who is written to.
async fn suspended(world: &World) -> String {
    let suspend = format!("/assignments/{CLARAS_ASSIGNMENT}/suspend");
    world.manager.post(&suspend, json!({"reason": "Not reached for weeks."})).await.expect(200).text("/message_id")
}

fn kinds(needs: &Answered) -> Vec<String> {
    let items = needs.at("/items");
    let kinds = items.as_array().expect("items").iter().map(|item| item["kind"].as_str().expect("a kind").to_owned());
    kinds.collect()
}

/// The fixture's policy asks Clara for things that nobody has recorded; the manager of the fixture is Imani Castellanos.
#[test]
fn without_a_mail_server_a_message_is_a_draft_for_ones_own_mail_program() {
    scenario(async |world| {
        let settings = world.manager.get("/mail-settings").await.expect(200);
        assert_eq!((settings.at("/sends"), settings.at("/mail_server")), (json!(false), json!(false)));
        assert!(settings.text("/in_words").contains("draft"), "{settings}");
        let message = format!("/messages/{}", suspended(world).await);
        let draft = world.manager.get(&message).await.expect(200);
        assert_eq!(draft.at("/message/state"), "draft");
        assert_eq!(draft.at("/message/kind"), "suspended");
        assert_eq!(draft.at("/message/subject"), "Troop 0101: please read this");
        assert_eq!(draft.at("/message/to_address"), CLARA.email);
        let text = draft.text("/text");
        assert!(text.starts_with("Hello Clara,\n\nyour work as coordinator of troop 0101 is on hold"), "{text}");
        assert!(!text.contains("Not reached for weeks"), "a reason is in no mail: {text}");
        let mailto = draft.text("/mailto");
        assert!(mailto.starts_with("mailto:clara"), "{mailto}");
        assert!(
            mailto.contains("?subject=Troop%200101%3A%20please%20read%20this&body=Hello%20Clara%2C%0D%0A%0D%0A"),
            "{mailto}"
        );
        assert!(kinds(&world.manager.get("/needs").await.expect(200)).contains(&"send_drafts".to_owned()));
        // It cannot be handed to a server that there is not; somebody sends it and says so.
        world.manager.post(&format!("{message}/send"), json!({})).await.expect_problem(409, "wrong_state");
        let sent = world.manager.post(&format!("{message}/mark-sent"), json!({})).await.expect(200);
        assert_eq!((sent.at("/message/state"), sent.at("/message/sent_by_hand")), (json!("sent"), json!(true)));
        assert_eq!(sent.at("/mailto"), Value::Null);
        assert!(!kinds(&world.manager.get("/needs").await.expect(200)).contains(&"send_drafts".to_owned()));
        world.manager.post(&format!("{message}/discard"), json!({})).await.expect_problem(409, "wrong_state");
    });
}

#[test]
fn a_message_that_came_back_asks_for_another_way_until_one_arrives() {
    scenario(async |world| {
        let message = format!("/messages/{}", suspended(world).await);
        world.manager.post(&format!("{message}/mark-bounced"), json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&format!("{message}/mark-sent"), json!({})).await.expect(200);
        let back = world.manager.post(&format!("{message}/mark-bounced"), json!({})).await.expect(200);
        assert!(back.at("/message/bounced_at").is_string(), "{back}");
        world.manager.post(&format!("{message}/mark-bounced"), json!({})).await.expect_problem(409, "wrong_state");
        let needs = world.manager.get("/needs").await.expect(200);
        assert!(kinds(&needs).contains(&"mend_address".to_owned()), "{needs}");
        assert!(String::from_utf8_lossy(&needs.body).contains("Reach Clara Fontaine-Diallo by another way"), "{needs}");
        let restore = format!("/assignments/{CLARAS_ASSIGNMENT}/restore");
        world.manager.post(&restore, json!({})).await.expect(200);
        let later = format!("/messages/{}", suspended(world).await);
        world.manager.post(&format!("{later}/mark-sent"), json!({})).await.expect(200);
        assert!(!kinds(&world.manager.get("/needs").await.expect(200)).contains(&"mend_address".to_owned()));
    });
}

#[test]
fn a_person_is_written_to_in_their_language_and_the_unit_has_one_for_the_others() {
    scenario(async |world| {
        let contact = format!("/people/{}/contact", CLARA.place.expect("a place").person);
        let etag = world.manager.get(&contact).await.expect(200).text("/etag");
        world.manager.patch(&contact, &etag, json!({"language": "Español"})).await.expect_problem(422, "invalid");
        let changed = world.manager.patch(&contact, &etag, json!({"language": "es"})).await.expect(200);
        assert_eq!((changed.at("/language"), changed.at("/email")), (json!("es"), json!(CLARA.email)));
        let draft = world.manager.get(&format!("/messages/{}", suspended(world).await)).await.expect(200);
        assert_eq!(draft.at("/message/language"), "es");
        assert!(draft.text("/text").starts_with("Hola, Clara:"), "{draft}");
        assert!(draft.text("/html").starts_with("<!doctype html>\n<html lang=\"es\">"), "{draft}");
        // Piotr has none of his own.
        let settings = world.manager.get("/mail-settings").await.expect(200).text("/etag");
        world.manager.patch("/mail-settings", &settings, json!({"language": "es"})).await.expect(200);
        let invited =
            world.manager.post("/people", json!({"first_name": "Ottoline"})).await.expect(201).text("/person_id");
        let contact = format!("/people/{invited}/contact");
        world.manager.patch(&contact, "\"v0\"", json!({"email": "ottoline@example.org"})).await.expect(200);
        let invited = world.manager.post(&format!("/people/{invited}/invite"), json!({})).await.expect(201);
        let draft = world.manager.get(&format!("/messages/{}", invited.text("/message_id"))).await.expect(200);
        assert!(draft.text("/text").starts_with("Hola, Ottoline:"), "{draft}");
        // Three days after today by the real clock, whichever day that is: said in the language of the rest.
        let days = ["lunes", "martes", "miércoles", "jueves", "viernes", "sábado", "domingo"];
        assert!(days.iter().any(|day| draft.text("/text").contains(&format!("hasta el {day} "))), "{draft}");
    });
}

#[test]
fn the_link_of_an_invitation_is_in_no_answer_but_its_own_and_in_no_table() {
    scenario(async |world| {
        let made =
            world.manager.post("/people", json!({"first_name": "Ottoline"})).await.expect(201).text("/person_id");
        let contact = format!("/people/{made}/contact");
        world.manager.patch(&contact, "\"v0\"", json!({"email": "ottoline@example.org"})).await.expect(200);
        let invited = world.manager.post(&format!("/people/{made}/invite"), json!({})).await.expect(201);
        let secret = invited.text("/invitation_link").rsplit_once('#').expect("a secret").1.to_owned();
        let message = format!("/messages/{}", invited.text("/message_id"));
        let draft = world.manager.get(&message).await.expect(200);
        let shown = String::from_utf8_lossy(&draft.body).into_owned();
        assert!(shown.contains("a link that only its reader sees") && !shown.contains(&secret), "{shown}");
        assert_eq!(draft.at("/mailto"), Value::Null, "a link that is hidden is not mailed by hand");
        let mut owner = world.owner().await;
        let kept: String = sqlx::query_scalar("select string_agg(m::text, ' ') from message m")
            .fetch_one(&mut owner)
            .await
            .expect("rows");
        assert!(kept.contains("Ottoline") && !kept.contains(&secret), "{kept}");
        // The text is as long-lived as the message; the link ends with it.
        world.manager.post(&format!("{message}/discard"), json!({})).await.expect(200);
        let sealed: Option<Vec<u8>> =
            sqlx::query_scalar("select link_sealed from message").fetch_one(&mut owner).await.expect("a row");
        assert_eq!(sealed, None);
    });
}

#[test]
fn a_wording_of_ones_own_is_looked_at_whole_and_serves_from_the_next_message_on() {
    scenario(async |world| {
        let of = async || world.manager.get("/mail-templates?kind=suspended&language=en").await.expect(200);
        let shipped = of().await;
        assert_eq!((shipped.at("/items/0/own"), shipped.at("/items/0/etag")), (json!(false), json!("\"v0\"")));
        let wording =
            |body: &str| json!({"kind": "suspended", "language": "en", "subject": "About {{ troop }}", "body": body});
        let refused = world.manager.put(
            "/mail-templates",
            "\"v0\"",
            wording("Dear {{ first_name }}\n\n{{ phone }} {{ link }}\n"),
        );
        let refused = refused.await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/pointer"), "/body");
        assert_eq!(refused.text("/errors/0/code"), "unknown_field");
        assert!(
            refused.text("/errors/0/detail").starts_with("line 3: between {{ and }} one of: first_name"),
            "{refused}"
        );
        assert_eq!(refused.at("/errors").as_array().map(Vec::len), Some(2));
        let endless = "{% for a in missing %}{% for b in missing %}{{ b.title }}{% endfor %}{% endfor %}";
        let refused =
            world.manager.put("/mail-templates", "\"v0\"", wording(endless)).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/code"), "loop_in_loop");
        world
            .manager
            .put("/mail-templates", "\"v0\"", wording(&"x".repeat(10_001)))
            .await
            .expect_problem(422, "invalid");
        let own = world.manager.put("/mail-templates", "\"v0\"", wording("Dear {{ first_name }}, please ring me.\n"));
        let own = own.await.expect(200);
        assert_eq!(own.at("/own"), true);
        world.manager.put("/mail-templates", "\"v0\"", wording("late")).await.expect_problem(412, "version_stale");
        let first = world.manager.get(&format!("/messages/{}", suspended(world).await)).await.expect(200);
        assert_eq!(
            (first.text("/message/subject"), first.text("/text")),
            ("About 0101".to_owned(), "Dear Clara, please ring me.\n".to_owned())
        );
        world.manager.post("/mail-templates/restore", json!({"kind": "suspended", "language": "en"})).await.expect(200);
        let again = json!({"kind": "suspended", "language": "en"});
        world.manager.post("/mail-templates/restore", again).await.expect_problem(409, "wrong_state");
        assert_eq!(of().await.at("/items/0/body"), shipped.at("/items/0/body"));
        // What was written stays as it was.
        let kept = world.manager.get(&format!("/messages/{}", first.text("/message/message_id"))).await.expect(200);
        assert_eq!(kept.text("/text"), "Dear Clara, please ring me.\n");
    });
}

#[test]
fn who_is_erased_is_written_to_no_more_and_what_was_written_is_gone() {
    scenario(async |world| {
        let suspend = format!("/assignments/{}/suspend", crate::support::fixture::PIOTRS_ASSIGNMENT);
        let message = world.manager.post(&suspend, json!({"reason": "Away."})).await.expect(200).text("/message_id");
        let piotr = PIOTR.place.expect("a place").person;
        let leaving = json!({"left_on": "2040-01-10"});
        world.manager.post(&format!("/people/{piotr}/leave"), leaving).await.expect(200);
        world.forward(days(1)).await;
        let etag = world.manager.get(&format!("/people/{piotr}")).await.expect(200).text("/etag");
        world.manager.post(&format!("/people/{piotr}/erase"), json!({})).header("if-match", &etag).await.expect(200);
        let left = world.manager.get(&format!("/messages/{message}")).await.expect(200);
        assert_eq!((left.at("/message/state"), left.at("/message/to_address")), (json!("discarded"), Value::Null));
        assert_eq!((left.text("/message/subject"), left.text("/text")), (String::new(), String::new()));
    });
}
