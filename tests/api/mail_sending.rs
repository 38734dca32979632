//! Handing messages to a mail server that behaves, and to one that does not.

use std::num::NonZeroU32;
use std::time::Duration;

use caselot::common::ids::UnitId;
use caselot::mail::worker::{self, LeftAlone, Post};
use caselot::mail::{Security, Transport, Transports};
use serde_json::{Value, json};
use tokio::sync::watch;

use crate::support::client::Answered;
use crate::support::fixture::{CLARA, CLARAS_ASSIGNMENT, PIOTRS_ASSIGNMENT, UNIT};
use crate::support::smtp::{Act, Letter, Sink};
use crate::support::world::{World, scenario_with};

fn transports(port: u16) -> Transports {
    let transport = Transport {
        host: "127.0.0.1".to_owned(),
        port,
        security: Security::None,
        credentials: None,
        sender: "sale@juniper.example.org".to_owned(),
        root: None,
    };
    Transports::new(Some(transport), Vec::new())
}

/// A world whose server has a mail server, and whose unit sends.
pub fn sending(test: impl AsyncFnOnce(&World, &Sink)) {
    let sink = Sink::start();
    let mail = transports(sink.port);
    let change = |options: caselot::server::run::Options| caselot::server::run::Options {
        mail,
        requests_per_minute: NonZeroU32::MAX,
        ..options
    };
    scenario_with(change, async |world| {
        world
            .manager
            .patch("/mail-settings", "\"v0\"", json!({"sends": true, "reply_to": "imani@example.org"}))
            .await
            .expect(200);
        test(world, &sink).await;
    });
}

fn post(world: &World, port: u16) -> Post {
    Post {
        system: world.system(),
        transports: transports(port),
        seal: caselot::auth::seal::Seal::new(&"s".repeat(32).into()),
        own_address: "https://sale.example.org".to_owned(),
    }
}

/// One round of the worker, as it goes every two seconds.
pub async fn round(world: &World, port: u16) {
    round_that_may_fail(world, port).await.expect("a round");
}

async fn round_that_may_fail(world: &World, port: u16) -> Result<(), caselot::error::ApiError> {
    let office = post(world, port);
    let (_stop, stopped) = watch::channel(false);
    caselot::accounts::answer_link_requests(&office.system, &office.seal, &office.own_address).await?;
    worker::round(&office, &[UnitId(UNIT)], &mut LeftAlone::default(), &stopped).await
}

async fn suspended(world: &World, assignment: uuid::Uuid) -> String {
    let suspend = format!("/assignments/{assignment}/suspend");
    world.manager.post(&suspend, json!({"reason": "Not reached."})).await.expect(200).text("/message_id")
}

pub async fn message(world: &World, id: &str) -> Answered {
    world.manager.get(&format!("/messages/{id}")).await.expect(200)
}

/// As if every message that waits, or that a dead worker took, were due by now.
async fn all_due(world: &World) {
    let later = "update message set due_at = due_at - interval '3 days', claimed_at = claimed_at - interval '3 days' where due_at is not null";
    sqlx::query(later).execute(&mut world.owner().await).await.expect("later");
}

#[test]
fn a_message_is_handed_over_once_with_text_and_html_and_nobody_else_on_it() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        assert_eq!(message(world, &id).await.at("/message/state"), "waiting");
        round(world, sink.port).await;
        round(world, sink.port).await;
        let letters = sink.letters();
        assert_eq!(letters.len(), 1);
        let letter = &letters[0];
        assert_eq!(letter.to, [CLARA.email]);
        assert_eq!(letter.header("to").as_deref(), Some(CLARA.email));
        assert_eq!(letter.header("from").as_deref(), Some("\"Juniper Ridge\" <sale@juniper.example.org>"));
        assert_eq!(letter.header("reply-to").as_deref(), Some("imani@example.org"));
        assert_eq!(letter.header("subject").as_deref(), Some("Troop 0101: please read this"));
        assert_eq!(letter.header("message-id"), Some(format!("<{id}@juniper.example.org>")));
        assert_eq!(letter.header("auto-submitted").as_deref(), Some("auto-generated"));
        let plain = letter.plain();
        assert!(
            plain.contains("\r\nHello Clara,\r\n") && plain.contains("<p style=\"margin:0 0 1em\">Hello Clara,</p>"),
            "{plain}"
        );
        let sent = message(world, &id).await;
        assert_eq!((sent.at("/message/state"), sent.at("/message/attempts")), (json!("sent"), json!(1)));
        let log = world.manager.get("/log?limit=200").await.expect(200);
        assert!(String::from_utf8_lossy(&log.body).contains("message_sent"), "{log}");
    });
}

#[test]
fn what_is_refused_for_now_is_tried_later_and_what_is_refused_for_good_is_shown() {
    sending(async |world, sink| {
        let (busy, unknown) = (suspended(world, CLARAS_ASSIGNMENT).await, suspended(world, PIOTRS_ASSIGNMENT).await);
        sink.then(&[Act::Refuse("450 4.2.1 mailbox busy"), Act::Refuse("550 5.1.1 no such user")]);
        round(world, sink.port).await;
        assert_eq!(sink.letters(), []);
        let waits = message(world, &busy).await;
        assert_eq!(waits.at("/message/state"), "waiting");
        assert!(waits.text("/message/last_answer").contains("mailbox busy"), "{waits}");
        let lost = message(world, &unknown).await;
        assert_eq!((lost.at("/message/state"), lost.at("/message/due_at")), (json!("given_up"), Value::Null));
        let needs = world.manager.get("/needs").await.expect(200);
        assert!(String::from_utf8_lossy(&needs.body).contains("no such user"), "{needs}");
        // Not before its time; then it goes.
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 0);
        all_due(world).await;
        sink.then(&[Act::RefuseData("451 4.3.0 try later")]);
        round(world, sink.port).await;
        all_due(world).await;
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 1);
        assert_eq!(message(world, &busy).await.at("/message/attempts"), 3);
        let again = world.manager.post(&format!("/messages/{unknown}/send"), json!({})).await.expect(200);
        assert_eq!((again.at("/message/state"), again.at("/message/attempts")), (json!("waiting"), json!(0)));
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 2);
    });
}

#[test]
fn after_eight_tries_it_is_given_up_and_shown() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        sink.then(&[Act::Refuse("450 4.2.1 mailbox busy"); 8]);
        for tried in 1..=8 {
            all_due(world).await;
            round(world, sink.port).await;
            let now = message(world, &id).await;
            let state = if tried == 8 { "given_up" } else { "waiting" };
            assert_eq!((now.at("/message/state"), now.at("/message/attempts")), (json!(state), json!(tried)));
        }
    });
}

#[test]
fn a_connection_that_breaks_after_the_letter_brings_the_same_letter_again_by_its_name() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        sink.then(&[Act::TakeAndBreak]);
        round(world, sink.port).await;
        assert_eq!(message(world, &id).await.at("/message/state"), "waiting");
        all_due(world).await;
        round(world, sink.port).await;
        let letters = sink.letters();
        // Twice at the mail server, which can tell: the same to the byte.
        assert_eq!(letters.len(), 2);
        assert_eq!(letters[0], letters[1]);
        assert_eq!(message(world, &id).await.at("/message/state"), "sent");
    });
}

#[test]
fn a_worker_that_dies_with_a_letter_in_hand_leaves_it_to_the_next_after_a_quarter_of_an_hour() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        sink.then(&[Act::TakeInSilence]);
        // Dropped in the middle, as if the process had been killed.
        let dying = tokio::time::timeout(Duration::from_secs(3), round(world, sink.port)).await;
        assert!(dying.is_err(), "the mail server says nothing");
        assert_eq!(message(world, &id).await.at("/message/state"), "sending");
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 1, "it is not taken from a worker that may be alive");
        world.manager.post(&format!("/messages/{id}/discard"), json!({})).await.expect_problem(409, "wrong_state");
        all_due(world).await;
        round(world, sink.port).await;
        let letters = sink.letters();
        assert_eq!((letters.len(), &letters[0]), (2, &letters[1]));
        assert_eq!(message(world, &id).await.at("/message/state"), "sent");
    });
}

/// The last step of all: the mail server has it, and that it has cannot be written down any more.
#[test]
fn a_worker_that_cannot_write_down_what_it_sent_sends_the_same_once_more_and_no_other() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        sink.then(&[Act::TakeWhenTold]);
        let mut owner = world.owner().await;
        let handing = round_that_may_fail(world, sink.port);
        let holding = async {
            while sink.letters().is_empty() {
                tokio::time::sleep(Duration::from_millis(20)).await;
            }
            sqlx::raw_sql("begin; select from message for update").execute(&mut owner).await.expect("held");
            sink.answer();
        };
        let (outcome, ()) = tokio::join!(handing, holding);
        assert!(outcome.is_err(), "the row was held for longer than a statement waits");
        sqlx::raw_sql("rollback").execute(&mut owner).await.expect("let go");
        assert_eq!(message(world, &id).await.at("/message/state"), "sending");
        all_due(world).await;
        round(world, sink.port).await;
        let letters = sink.letters();
        assert_eq!((letters.len(), &letters[0]), (2, &letters[1]));
        assert_eq!(message(world, &id).await.at("/message/state"), "sent");
        all_due(world).await;
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 2);
    });
}

#[test]
fn a_mail_server_that_is_not_there_uses_up_no_tries_and_holds_up_nothing_else() {
    sending(async |world, sink| {
        let id = suspended(world, CLARAS_ASSIGNMENT).await;
        let nowhere =
            std::net::TcpListener::bind("127.0.0.1:0").and_then(|one| one.local_addr()).expect("a port").port();
        for _ in 0..12 {
            all_due(world).await;
            round(world, nowhere).await;
        }
        let waits = message(world, &id).await;
        assert_eq!((waits.at("/message/state"), waits.at("/message/attempts")), (json!("waiting"), json!(0)));
        assert!(waits.at("/message/last_answer").is_string(), "{waits}");
        all_due(world).await;
        round(world, sink.port).await;
        assert_eq!(sink.letters().len(), 1);
    });
}

#[test]
fn two_workers_at_once_hand_a_thousand_messages_over_once_each_over_a_connection_each() {
    sending(async |world, sink| {
        let many = "insert into message (unit_id, message_id, kind, person_id, language, to_address, subject, body, state, sent_by_hand,
                written_at, written_by, queued_at, due_at, attempts, version, log_seq)
            select m.unit_id, gen_random_uuid(), 'missing', m.person_id, 'en', 'clara@example.org', 'x', 'x', 'waiting', false, 'epoch', 'system',
                'epoch', 'epoch', 0, 1, 0
            from (select unit_id, person_id from assignment where assignment_id = $1) m, generate_series(1, 1000)";
        sqlx::query(many).bind(CLARAS_ASSIGNMENT).execute(&mut world.owner().await).await.expect("a thousand");
        tokio::join!(round(world, sink.port), round(world, sink.port));
        let letters = sink.letters();
        let mut names: Vec<String> = letters.iter().filter_map(|letter: &Letter| letter.header("message-id")).collect();
        names.sort();
        names.dedup();
        assert_eq!((letters.len(), names.len()), (1000, 1000));
        assert_eq!(sink.connections(), 2);
    });
}

#[test]
fn line_ends_in_a_name_are_no_header_and_no_recipient() {
    sending(async |world, sink| {
        let evil = "update person set first_name = E'Clara\\r\\nBcc: everybody@example.org\\r\\n\\r\\nhello' where person_id = $1";
        sqlx::query(evil)
            .bind(CLARA.place.expect("a place").person)
            .execute(&mut world.owner().await)
            .await
            .expect("a name that no operation takes");
        let wording = json!({"kind": "suspended", "language": "en", "subject": "For {{ first_name }}", "body": "Dear {{ first_name }}\n.\nQUIT\n"});
        world.manager.put("/mail-templates", "\"v0\"", wording).await.expect(200);
        suspended(world, CLARAS_ASSIGNMENT).await;
        round(world, sink.port).await;
        let letters = sink.letters();
        assert_eq!(letters.len(), 1);
        assert_eq!(letters[0].to, [CLARA.email]);
        assert_eq!(letters[0].header("subject").as_deref(), Some("For Clara Bcc: everybody@example.org hello"));
        assert_eq!((letters[0].header("bcc"), letters[0].header("cc")), (None, None));
        assert!(letters[0].plain().contains("\r\n.\r\nQUIT\r\n"), "a dot alone ends nothing");
    });
}
