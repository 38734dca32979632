//! Links that open something, by mail: an invitation, a new password, one sign-in.

use serde_json::{Value, json};

use crate::mail_sending::{message, round, sending};
use crate::support::fixture::{CLARA, MANAGER};

#[test]
fn an_invitation_goes_to_the_invited_alone_and_its_link_opens() {
    sending(async |world, sink| {
        let made =
            world.manager.post("/people", json!({"first_name": "Ottoline"})).await.expect(201).text("/person_id");
        let contact = format!("/people/{made}/contact");
        world.manager.patch(&contact, "\"v0\"", json!({"email": "ottoline@example.org"})).await.expect(200);
        let invited = world.manager.post(&format!("/people/{made}/invite"), json!({})).await.expect(201);
        assert_eq!(invited.at("/invitation_link"), Value::Null);
        round(world, sink.port).await;
        let letter = sink.letters().remove(0);
        assert_eq!(letter.to, ["ottoline@example.org"]);
        let plain = letter.plain();
        let link = plain.lines().find(|line| line.starts_with("https://sale.example.org/invitation#")).expect("a link");
        let token = link.rsplit_once('#').expect("a secret").1;
        let accepted = json!({"token": token, "password": "seven lanterns over water"});
        world.nobody.post("/v1/invitations/accept", accepted).await.expect(201);
        let shown = message(world, &invited.text("/message_id")).await;
        assert!(!String::from_utf8_lossy(&shown.body).contains(token), "{shown}");
        assert!(plain.contains(&format!("<a href=\"https://sale.example.org/invitation#{token}\"")), "{plain}");
    });
}

#[test]
fn a_link_for_a_new_password_goes_to_the_accounts_address_and_the_answer_tells_nothing() {
    sending(async |world, sink| {
        let ask =
            async |email: &str| world.nobody.post("/v1/password-resets", json!({"email": email})).await.expect(202);
        let (known, unknown) = (ask(MANAGER.email).await, ask("nobody.at.all@example.org").await);
        assert_eq!(known.body, unknown.body);
        assert_eq!(known.at("/mail_server"), true);
        // Who answers for much gets no link that signs in, and is told nothing else.
        let link = world.nobody.post("/v1/sign-in-links", json!({"email": MANAGER.email})).await.expect(202);
        assert_eq!(link.body, known.body);
        round(world, sink.port).await;
        let letters = sink.letters();
        assert_eq!(letters.len(), 1, "{letters:?}");
        assert_eq!(letters[0].to, [MANAGER.email]);
        let plain = letters[0].plain();
        let address = plain.lines().find(|row| row.starts_with("https://sale.example.org/reset#")).expect("a link");
        let token = address.rsplit_once('#').expect("a secret").1;
        let new = json!({"token": token, "password": "four other words in a row"});
        world.nobody.post("/v1/password-resets/accept", new).await.expect(201);
        // Four more: an address gets three in an hour.
        for _ in 0..4 {
            ask(MANAGER.email).await;
        }
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 3, "one before, and two of the four");
        world.nobody.post("/v1/password-resets", json!({"email": "no address"})).await.expect_problem(422, "invalid");
        for _ in 0..3 {
            ask("nobody.at.all@example.org").await;
        }
        let late = world.nobody.post("/v1/password-resets", json!({"email": CLARA.email})).await;
        late.expect_problem(429, "sign_in_delayed");
    });
}

#[test]
fn a_link_that_signs_a_coordinator_in_comes_by_mail() {
    sending(async |world, sink| {
        world.nobody.post("/v1/sign-in-links", json!({"email": CLARA.email.to_uppercase()})).await.expect(202);
        round(world, sink.port).await;
        let plain = sink.letters().remove(0).plain();
        let line = plain.lines().find(|line| line.starts_with("https://sale.example.org/sign-in#")).expect("a link");
        let token = line.rsplit_once('#').expect("a secret").1;
        let session = world.nobody.post("/v1/sign-in-links/accept", json!({"token": token})).await.expect(201);
        let clara = world.clara.with_token(session.text("/access_token"));
        assert_eq!(clara.get("/v1/me").await.expect(200).at("/email"), CLARA.email);
    });
}
