//! That a filed return was sent, and what came back; and a name erased from it; over HTTP. The world stands on 10 January
//! 2040, 16:00 UTC.

use calamine::{Reader as _, Xlsx};
use futures_util::future::join_all;
use serde_json::{Value, json};

use crate::returns::{file, names, preview};
use crate::standings::{met, person};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

/// A filed return: its path.
async fn filed(world: &World) -> String {
    format!("/returns/{}", file(world).await.text("/return_id"))
}

fn mailed() -> Value {
    json!({"sent_to": "Head office, season desk", "way": "mail"})
}

async fn mark(world: &World, path: &str, body: Value) -> Answered {
    world.manager.post(&format!("{path}/sendings"), body).await
}

async fn note(world: &World, path: &str, body: Value) -> Answered {
    world.manager.post(&format!("{path}/answer"), body).await
}

async fn owed(world: &World, path: &str) -> bool {
    let changes = world.manager.get(&format!("{path}/changes")).await.expect(200).at("/new_return_owed");
    let preview = preview(world).await.at("/new_return_owed");
    assert_eq!(changes, preview, "both say the same");
    changes.as_bool().expect("yes or no")
}

#[test]
fn who_sent_it_when_to_whom_and_what_came_back_stand_beside_the_return() {
    scenario(async |world| {
        let path = filed(world).await;
        let before = world.manager.get(&path).await.expect(200).json();
        let line = world.manager.get("/returns").await.expect(200);
        assert_eq!(line.at("/items/0/last_sending"), Value::Null);
        world.forward(days(2)).await;
        let mut new = mailed();
        new["sent_at"] = json!("2040-01-11T09:30:00Z");
        let sent = mark(world, &path, new).await.expect(201);
        let by = format!("account:{}", fixture::MANAGER.account);
        assert_eq!(
            (sent.text("/sent_to"), sent.text("/way"), sent.text("/sent_at"), sent.text("/noted_by")),
            ("Head office, season desk".into(), "mail".into(), "2040-01-11T09:30:00Z".into(), by.clone())
        );
        assert!(sent.text("/noted_at").starts_with("2040-01-12T"), "{sent}");
        assert_eq!((sent.at("/answer"), sent.at("/answered_at")), (Value::Null, Value::Null));
        world.forward(days(1)).await;
        let answer =
            json!({"answer": "received", "reason": "Filed under 4711.", "answered_at": "2040-01-12T18:00:00Z"});
        let answered = note(world, &path, answer).await.expect(200);
        assert_eq!(
            (answered.text("/answer"), answered.text("/answer_reason"), answered.text("/answered_at")),
            ("received".into(), "Filed under 4711.".into(), "2040-01-12T18:00:00Z".into())
        );
        assert_eq!((answered.text("/answer_by"), answered.at("/sending_id")), (by, sent.at("/sending_id")));
        let all = world.overseer.get(&format!("{path}/sendings")).await.expect(200);
        assert_eq!(all.at("/items"), json!([answered.json()]));
        let line = world.overseer.get("/returns").await.expect(200);
        assert_eq!(line.at("/items/0/last_sending"), answered.json());
        assert_eq!(world.manager.get(&path).await.expect(200).json(), before, "the return itself never changes");
        assert!(!owed(world, &path).await);
    });
}

#[test]
fn the_same_is_not_noted_twice_unless_it_happened_twice() {
    scenario(async |world| {
        let path = filed(world).await;
        let first = world.manager.post(&format!("{path}/sendings"), mailed()).key("sent-by-mail").await.expect(201);
        let same = world.manager.post(&format!("{path}/sendings"), mailed()).key("sent-by-mail").await.expect(201);
        assert_eq!(first.json(), same.json(), "a retry is no second sending");
        mark(world, &path, mailed()).await.expect_problem(409, "sent_before");
        note(world, &path, json!({"answer": "received"})).await.expect(200);
        note(world, &path, json!({"answer": "received"})).await.expect_problem(409, "wrong_state");
        note(world, &path, json!({"answer": "sent_back", "reason": "x"})).await.expect_problem(409, "wrong_state");
        mark(world, &path, mailed()).await.expect_problem(409, "sent_before");
        let again = json!({"sent_to": "Head office, season desk", "way": "by_hand", "again": true});
        mark(world, &path, again).await.expect(201);
        let page = world.manager.get(&format!("{path}/sendings?limit=1")).await.expect(200);
        assert_eq!((page.at("/items/0/way"), page.at("/items/0/answer")), (json!("by_hand"), Value::Null));
        let next = format!("{path}/sendings?limit=1&cursor={}", page.text("/next_cursor"));
        let next = world.manager.get(&next).await.expect(200);
        assert_eq!((next.at("/items/0/way"), next.at("/items/0/answer")), (json!("mail"), json!("received")));
        assert_eq!(next.at("/next_cursor"), Value::Null);
    });
}

#[test]
fn of_two_who_mark_or_answer_at_once_one_does() {
    scenario(async |world| {
        let path = filed(world).await;
        let both = async |end: &'static str, body: Value| -> Vec<u16> {
            let one = async |key: String| {
                for _ in 0..50 {
                    let answer = world.manager.post(&format!("{path}{end}"), body.clone()).key(&key).await;
                    if answer.status != 503 {
                        return answer.status;
                    }
                }
                panic!("the server stayed busy");
            };
            let keys = ["here", "there"].map(|place| format!("noted-{place}{end}"));
            let mut statuses = join_all(keys.map(one)).await;
            statuses.sort_unstable();
            statuses
        };
        assert_eq!(both("/sendings", mailed()).await, [201, 409]);
        assert_eq!(both("/answer", json!({"answer": "received"})).await, [200, 409]);
    });
}

#[test]
fn what_cannot_have_happened_is_refused_with_what_would_be_right() {
    scenario(async |world| {
        let path = filed(world).await;
        note(world, &path, json!({"answer": "received"})).await.expect_problem(409, "wrong_state");
        let sent_at = |at: &str| json!({"sent_to": "Head office", "way": "mail", "sent_at": at});
        // Before it was filed, and in the future.
        for at in ["2040-01-09T12:00:00Z", "2040-01-11T12:00:00Z"] {
            let refused = mark(world, &path, sent_at(at)).await.expect_problem(422, "invalid");
            assert_eq!(
                (refused.text("/errors/0/pointer"), refused.text("/errors/0/code")),
                ("/sent_at".into(), "out_of_order".into())
            );
            assert!(refused.text("/errors/0/detail").starts_with("an instant from 2040-01-10T"), "{refused}");
        }
        for wrong in [
            json!({}),
            json!({"sent_to": "Head office"}),
            json!({"sent_to": " ", "way": "mail"}),
            json!({"sent_to": "x".repeat(201), "way": "mail"}),
            json!({"sent_to": "Head\noffice", "way": "mail"}),
            json!({"sent_to": "Head office", "way": "pigeon"}),
            json!({"sent_to": "Head office", "way": "mail", "sent_at": "yesterday"}),
            json!({"sent_to": "Head office", "way": "mail", "sent_by": "me"}),
        ] {
            mark(world, &path, wrong).await.expect_problem(422, "invalid");
        }
        let without = world.manager.post(&format!("{path}/sendings"), mailed()).without_key().await;
        without.expect_problem(400, "idempotency_key_missing");
        mark(world, &path, mailed()).await.expect(201);
        for wrong in [
            json!({}),
            json!({"answer": "lost"}),
            json!({"answer": "sent_back"}),
            json!({"answer": "sent_back", "reason": " "}),
            json!({"answer": "received", "reason": "x".repeat(1001)}),
            json!({"answer": "received", "answered_at": "2040-01-10T15:00:00Z"}),
            json!({"answer": "received", "answered_at": "2040-02-10T15:00:00Z"}),
        ] {
            note(world, &path, wrong).await.expect_problem(422, "invalid");
        }
        let page = world.manager.get(&format!("{path}/sendings")).await.expect(200);
        assert_eq!((page.at("/items/0/answer"), page.at("/items/1")), (Value::Null, Value::Null), "nothing was noted");
        let unfiled = format!("/returns/{}", fixture::NOTHING);
        mark(world, &unfiled, mailed()).await.expect_problem(404, "not_found");
        note(world, &unfiled, json!({"answer": "received"})).await.expect_problem(404, "not_found");
        for query in ["limit=0", "limit=201"] {
            world.manager.get(&format!("{path}/sendings?{query}")).await.expect_problem(422, "invalid");
        }
        world.manager.get(&format!("{path}/sendings?cursor=x")).await.expect_problem(400, "bad_cursor");
    });
}

#[test]
fn only_who_answers_for_the_return_says_that_it_was_sent() {
    scenario(async |world| {
        let path = filed(world).await;
        let (sendings, answer) = (format!("{path}/sendings"), format!("{path}/answer"));
        for other in [&world.overseer, &world.materials, &world.distributor, &world.viewer, &world.clara] {
            other.post(&sendings, mailed()).await.expect_problem(403, "forbidden");
            other.post(&answer, json!({"answer": "received"})).await.expect_problem(403, "forbidden");
        }
        for other in [&world.materials, &world.distributor, &world.viewer, &world.clara] {
            other.get(&sendings).await.expect_problem(403, "forbidden");
        }
        world.stranger.post(&sendings, mailed()).await.expect_problem(404, "not_found");
        world.stranger.post(&answer, json!({"answer": "received"})).await.expect_problem(404, "not_found");
        world.stranger.get(&sendings).await.expect_problem(404, "not_found");
        world.nobody.post(&format!("/v1/units/{}{sendings}", fixture::UNIT), mailed()).await.expect(401);
        let read = world.overseer.get(&sendings).await.expect(200);
        assert_eq!(read.at("/items"), json!([]));
        // A reader who asks again is told only what is new.
        let unchanged = world.overseer.get(&sendings).header("if-none-match", read.header("etag")).await;
        unchanged.expect(304);
        mark(world, &path, mailed()).await.expect(201);
        let changed = world.overseer.get(&sendings).header("if-none-match", read.header("etag")).await.expect(200);
        assert_eq!(changed.at("/items/0/way"), "mail");
    });
}

#[test]
fn a_closed_season_keeps_what_was_noted() {
    scenario(async |world| {
        let path = filed(world).await;
        mark(world, &path, mailed()).await.expect(201);
        sqlx::query("update season set closed_at = '2040-01-10T00:00:00Z' where season_id = $1")
            .bind(fixture::SEASON)
            .execute(&mut world.owner().await)
            .await
            .expect("a closed season");
        let again = json!({"sent_to": "Head office", "way": "mail", "again": true});
        mark(world, &path, again).await.expect_problem(409, "season_closed");
        note(world, &path, json!({"answer": "received"})).await.expect_problem(409, "season_closed");
        assert_eq!(world.manager.get(&format!("{path}/sendings")).await.expect(200).at("/items/0/way"), "mail");
    });
}

#[test]
fn one_that_was_sent_back_or_has_changed_is_owed_anew() {
    scenario(async |world| {
        let path = filed(world).await;
        assert!(!owed(world, &path).await);
        mark(world, &path, mailed()).await.expect(201);
        note(world, &path, json!({"answer": "sent_back", "reason": "The old form was used."})).await.expect(200);
        assert!(owed(world, &path).await, "another was asked for");
        let needs = world.manager.get("/needs").await.expect(200).at("/items");
        let item =
            needs.as_array().expect("items").iter().find(|item| item["kind"] == "file_return").expect("it").clone();
        assert_eq!(item["why"], "Return 1 was sent back: The old form was used.");
        // Nothing has changed, and yet it may be filed: once.
        let second = filed(world).await;
        assert!(!owed(world, &second).await);
        let stamp = preview(world).await.text("/stamp");
        world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(409, "nothing_new");
        mark(world, &second, mailed()).await.expect(201);
        met(world, &fixture::CLARA, "membership").await;
        assert!(owed(world, &second).await);
        let third = filed(world).await;
        assert!(!owed(world, &third).await);
    });
}

#[test]
fn a_filed_return_waits_in_the_queue_until_it_is_marked_as_sent() {
    scenario(async |world| {
        let path = filed(world).await;
        let find = |needs: &Value| -> Option<Value> {
            let mut items = needs.as_array().expect("items").iter();
            items.find(|item| item["kind"] == "send_return").cloned()
        };
        let item = find(&world.manager.get("/needs").await.expect(200).at("/items")).expect("it waits");
        assert_eq!(item["what"], "Send season return 1 to head office, and mark it as sent.");
        let paper = world.manager.get(item["look"].as_str().expect("the paper")).await.expect(200);
        assert_eq!(paper.header("content-type"), "application/pdf");
        let settle = &item["settle"][0];
        assert_eq!(settle["fill_in"], json!(["/sent_to", "/way"]));
        assert_eq!(settle["path"], format!("/v1/units/{}{path}/sendings", fixture::UNIT));
        world.manager.post(settle["path"].as_str().expect("a path"), mailed()).await.expect(201);
        assert_eq!(find(&world.manager.get("/needs").await.expect(200).at("/items")), None);
    });
}

#[test]
fn an_erased_name_leaves_every_file_and_no_figure_number_or_digest_changes() {
    scenario(async |world| {
        let path = filed(world).await;
        met(world, &fixture::CLARA, "membership").await;
        let newer = filed(world).await;
        let before = [world.manager.get(&path).await.expect(200), world.manager.get(&newer).await.expect(200)];
        let log = log_of(world).await;
        let clara = person(&fixture::CLARA);
        world.manager.post(&format!("/people/{clara}/leave"), json!({"left_on": "2040-01-10"})).await.expect(200);
        world.manager.once_and_for_all("erase", clara, json!({})).await.expect(200);
        for (path, before) in [&path, &newer].into_iter().zip(before) {
            let after = world.manager.get(path).await.expect(200);
            for same in ["/document", "/number", "/sha256", "/filed_at", "/stands_at"] {
                assert_eq!(after.at(same), before.at(same), "{same}");
            }
            let told = names(&after.json());
            assert!(told.contains(&(clara.to_string(), Value::Null)), "{told:?}");
            assert_eq!(told.len(), names(&before.json()).len());
            assert!(told.iter().any(|(_, name)| name == "Piotr Wanjiru"), "only the one: {told:?}");
            for format in ["csv", "json"] {
                let file = world.manager.get(&format!("{path}/file?format={format}")).await.expect(200);
                assert!(!String::from_utf8_lossy(&file.body).contains("Fontaine"), "{format}");
            }
            let book = world.manager.get(&format!("{path}/file?format=xlsx")).await.expect(200).body;
            let mut book: Xlsx<_> = calamine::open_workbook_from_rs(std::io::Cursor::new(book)).expect("a workbook");
            let cells = book.worksheet_range("Table").expect("a sheet");
            assert_eq!(cells.get_value((1, 4)).map(ToString::to_string), Some("name erased".to_owned()));
            assert!(!cells.cells().any(|(_, _, cell)| cell.to_string().contains("Fontaine")));
            world.manager.get(&format!("{path}/file?format=pdf")).await.expect(200);
            let table = world.manager.get(&format!("{path}/file?format=csv")).await.expect(200);
            assert!(String::from_utf8_lossy(&table.body).contains("name erased"));
        }
        let now = log_of(world).await;
        assert!(log.iter().all(|row| now.contains(row)), "what was logged stays as it was");
        let left: i64 = sqlx::query_scalar("select count(*) from frozen_name where name like '%Fontaine%'")
            .fetch_one(&mut world.owner().await)
            .await
            .expect("a count");
        assert_eq!(left, 0);
    });
}

/// The unit's log, as text.
async fn log_of(world: &World) -> Vec<String> {
    sqlx::query_scalar("select unit_log::text from unit_log where unit_id = $1 order by 1")
        .bind(fixture::UNIT)
        .fetch_all(&mut world.owner().await)
        .await
        .expect("the log")
}
