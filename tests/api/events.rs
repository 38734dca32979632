//! The stream of events: what is done in the unit, told as it happens by ids alone, each to who may read it, and taken up again
//! where it broke off.

use std::collections::BTreeMap;
use std::time::Duration;

use reqwest::{Method, Response};
use serde_json::{Value, json};
use uuid::Uuid;

use crate::standings::{met, person};
use crate::support::client::{Answered, Caller};
use crate::support::server::{Server, options};
use crate::support::world::World;
use crate::support::{fixture, scenario};

/// How long a test waits for what must come.
const PATIENCE: Duration = Duration::from_mins(1);

/// One block of a stream.
#[derive(Clone, Debug, PartialEq)]
struct Told {
    id: i64,
    event: Option<String>,
    data: Value,
}

/// The blocks of a stream's text; comments are left out.
fn told(text: &str) -> Vec<Told> {
    let field = |block: &str, name: &str| {
        block.lines().find_map(|line| line.strip_prefix(&format!("{name}: ")).map(str::to_owned))
    };
    let blocks = text.split("\n\n").filter(|block| !block.trim().is_empty() && !block.starts_with(':'));
    let one = |block: &str| Told {
        id: field(block, "id").unwrap_or_else(|| panic!("no id: {block}")).parse().expect("a number"),
        event: field(block, "event"),
        data: field(block, "data").map_or(Value::Null, |data| serde_json::from_str(&data).expect("one line of JSON")),
    };
    blocks.map(one).collect()
}

/// The events among them, each with its action.
fn events(text: &str) -> Vec<Told> {
    let events: Vec<Told> = told(text).into_iter().filter(|one| one.event.is_some()).collect();
    for one in &events {
        assert_eq!(one.data["seq"], one.id, "{one:?}");
        assert_eq!(one.data["action"].as_str(), one.event.as_deref(), "{one:?}");
        let keys: Vec<&String> = one.data.as_object().expect("an object").keys().collect();
        assert_eq!(keys, ["action", "at", "seq", "subjects"], "ids only, and never who did it");
    }
    events
}

fn actions(text: &str) -> Vec<String> {
    events(text).into_iter().map(|one| one.event.expect("an action")).collect()
}

fn text(answered: &Answered) -> String {
    assert_eq!(answered.header("content-type"), "text/event-stream", "{answered}");
    String::from_utf8(answered.body.clone()).expect("UTF-8")
}

/// What is there after a number of the log.
async fn after(who: &Caller, seq: i64) -> String {
    text(&who.get(&format!("/events?wait_seconds=0&after={seq}")).await.expect(200))
}

/// An open stream.
struct Stream {
    response: Response,
    read: String,
}

impl Stream {
    async fn open(base: &str, who: &Caller, query: &str, last: Option<i64>) -> Self {
        let address = format!("{base}/v1/units/{}/events{query}", fixture::UNIT);
        let mut request = reqwest::Client::new().get(address).bearer_auth(who.token());
        // As a browser asks: what is compressed would come late.
        request = request.header("accept-encoding", "gzip, deflate").header("accept", "text/event-stream");
        if let Some(last) = last {
            request = request.header("last-event-id", last.to_string());
        }
        let response = request.send().await.expect("an answer");
        assert_eq!(response.status().as_u16(), 200);
        assert!(response.headers().get("content-encoding").is_none());
        Self { response, read: String::new() }
    }

    /// Reads until this many blocks have come, and takes them.
    async fn next(&mut self, count: usize) -> Vec<Told> {
        tokio::time::timeout(PATIENCE, async {
            while told(self.read.rsplit_once("\n\n").map_or("", |(whole, _)| whole)).len() < count {
                let part = self.response.chunk().await.expect("a part").expect("the stream goes on");
                self.read.push_str(std::str::from_utf8(&part).expect("UTF-8"));
            }
        })
        .await
        .expect("what must come comes");
        told(&std::mem::take(&mut self.read))
    }

    /// Reads to the end, and gives what came.
    async fn rest(&mut self) -> String {
        tokio::time::timeout(PATIENCE, async {
            while let Ok(Some(part)) = self.response.chunk().await {
                self.read.push_str(std::str::from_utf8(&part).expect("UTF-8"));
            }
        })
        .await
        .expect("the stream ends");
        std::mem::take(&mut self.read)
    }
}

async fn rename(world: &World, troop: Uuid, name: &str) {
    let path = format!("/troops/{troop}");
    let etag = world.manager.get(&path).await.expect(200).etag();
    world.manager.patch(&path, &etag, json!({"name": name})).await.expect(200);
}

#[test]
fn a_listener_hears_what_is_done_as_it_happens_by_ids_alone() {
    scenario(async |world| {
        rename(world, fixture::TROOP, "Before").await;
        let mut stream = Stream::open(world.base(), &world.manager, "", None).await;
        assert_eq!(stream.next(1).await, [Told { id: 1, event: None, data: Value::Null }], "from now on");
        rename(world, fixture::OTHER_TROOP, "Canary Fontanelle").await;
        let subjects = json!([{"kind": "troop", "id": fixture::OTHER_TROOP}, {"kind": "field", "id": "name"}]);
        let heard = stream.next(1).await;
        assert_eq!((heard[0].id, heard[0].event.as_deref()), (2, Some("change_troop")));
        assert_eq!(heard[0].data["subjects"], subjects);
        assert!(heard[0].data["at"].as_str().is_some_and(|at| at.starts_with("2040-01-10T1")), "{heard:?}");
        // The overseer hears the same, the stranger nothing at all.
        assert_eq!(events(&after(&world.overseer, 1).await), heard);
        world.stranger.get(&format!("/v1/units/{}/events?wait_seconds=0", fixture::UNIT)).await.expect(404);
    });
}

/// Everything that this scenario does to other troops and to the unit, and some of it to the own one.
async fn much_is_done(world: &World) {
    let manager = &world.manager;
    let season = format!("/seasons/{}/milestones", fixture::SEASON);
    rename(world, fixture::TROOP, "Of the old mill").await;
    rename(world, fixture::OTHER_TROOP, "Of the new mill").await;
    let new =
        json!({"number": "0777", "name": "New", "age_band": "juniors", "selling_youths": 6, "first_season": true});
    let new = manager.post("/troops", new).await.expect(201).text("/troop_id");
    let mira = manager.post("/people", json!({"first_name": "Mira", "last_name": "Osei"})).await.expect(201);
    let mira = mira.text("/person_id");
    for troop in [fixture::TROOP.to_string(), fixture::OTHER_TROOP.to_string(), new] {
        let named = json!({"troop_id": troop, "person_id": mira, "lead": false});
        let named = manager.post("/assignments", named).await.expect(201).text("/assignment_id");
        manager.post(&format!("/assignments/{named}/suspend"), json!({"reason": "Asked to."})).await.expect(200);
    }
    for who in [&fixture::CLARA, &fixture::YESENIA] {
        let path = format!("/people/{}", person(who));
        let etag = manager.get(&path).await.expect(200).text("/etag");
        manager.patch(&path, &etag, json!({"last_name": "Renamed"})).await.expect(200);
        let contact = manager.get(&format!("{path}/contact")).await.expect(200).text("/etag");
        manager.patch(&format!("{path}/contact"), &contact, json!({"phone": "+1 555 0199"})).await.expect(200);
        met(world, who, "registration").await;
    }
    let mut numbers = Vec::new();
    for (troop, number) in [(fixture::TROOP, "0901"), (fixture::OTHER_TROOP, "0902")] {
        let etag = manager.get(&format!("/troops/{troop}")).await.expect(200).etag();
        numbers.push(json!({"troop_id": troop, "etag": etag, "number": number}));
    }
    let numbers = json!({"troops": numbers});
    manager.post("/troops/renumber", numbers).await.expect(200);
    for troop in [fixture::VACANT_TROOP, fixture::TROOP] {
        manager.post(&format!("/troops/{troop}/sit-out"), json!({"reason": "A year off."})).await.expect(200);
        manager.post(&format!("/troops/{troop}/rejoin"), json!({"reason": "Back again."})).await.expect(200);
    }
    let milestone = json!({"code": "stall_evening", "title": "Stall evening", "kind": "event", "on_day": "2040-03-06"});
    manager.post(&season, milestone).await.expect(201);
    let role = json!({"person_id": person(&fixture::PIOTR), "role": "viewer"});
    manager.post("/grants", role).await.expect(201);
    let treasurer = json!({"person_id": fixture::DOV, "duty": "treasurer"});
    manager.post(&format!("/troops/{}/contacts", fixture::OTHER_TROOP), treasurer).await.expect(201);
    world.clara.post("/my-calendar", json!({})).await.expect(201);
    // Opening orders are due: every troop stands elsewhere now, and one row of the log says so.
    world.tick().await;
    world.set_clock("2040-01-27T06:00:30Z".parse().expect("an instant")).await;
    world.tick().await;
}

#[test]
fn a_coordinators_stream_never_carries_another_troop() {
    scenario(async |world| {
        much_is_done(world).await;
        let log = world.manager.get("/log?limit=200").await.expect(200).at("/items");
        let log = log.as_array().expect("rows").clone();
        let whole = after(&world.manager, 0).await;
        let all: Vec<i64> = events(&whole).iter().map(|one| one.id).collect();
        assert_eq!(
            all,
            (1..=i64::try_from(log.len()).expect("few")).collect::<Vec<_>>(),
            "the manager hears every row"
        );

        let clara = after(&world.clara, 0).await;
        let heard = actions(&clara);
        let wanted = [
            "change_troop",
            // Mira, who coordinates the troop too by now: rights are those of the moment of reading.
            "add_person",
            "name_coordinator",
            "suspend_coordinator",
            "change_person",
            "change_contact",
            "sit_out_troop",
            "rejoin_troop",
            "standing_changed",
        ];
        assert_eq!(heard, wanted, "the own troop's, and no other");
        // The canary: nothing that any row of the log is about may stand in it, but the own troop, its places and its people.
        let places = world.manager.get(&format!("/assignments?troop={}&limit=200", fixture::TROOP)).await.expect(200);
        let places = String::from_utf8(places.body.clone()).expect("UTF-8");
        let (mut own, mut strange) = (0, 0);
        for subject in log.iter().flat_map(|row| row["subjects"].as_array().expect("subjects").clone()) {
            let (kind, id) = (subject["kind"].as_str().expect("a kind"), subject["id"].as_str().expect("an id"));
            let theirs = match kind {
                "field" | "decision" => continue,
                "troop" => id == fixture::TROOP.to_string(),
                _ => places.contains(id),
            };
            if theirs {
                own += 1;
            } else {
                strange += 1;
                assert!(!clara.contains(id), "{subject} stands in clara's stream:\n{clara}");
            }
        }
        assert!(own > 10 && strange > 20, "{own} own and {strange} strange ids were looked for");
        let several = log.iter().find(|row| row["action"] == "standing_changed").expect("what time changed");
        assert!(several["subjects"].as_array().is_some_and(|troops| troops.len() == 4), "{several}");
        let changed = events(&clara).pop().expect("an event").data["subjects"].clone();
        assert_eq!(changed, json!([{"kind": "troop", "id": fixture::TROOP}]));
    });
}

#[test]
fn each_role_hears_of_what_it_may_read_and_of_screenings_grants_and_accounts_only_the_logs_readers() {
    scenario(async |world| {
        much_is_done(world).await;
        let log = after(&world.manager, 0).await;
        let mut counted = BTreeMap::new();
        for who in [&world.overseer, &world.materials, &world.distributor, &world.viewer, &world.clara] {
            counted.insert(who.name, actions(&after(who, 0).await));
        }
        assert_eq!(counted["Tobias"], actions(&log), "the overseer hears what the manager hears");
        for (name, heard) in &counted {
            let of_readers = ["record_evidence", "make_calendar", "give_role"];
            let hears = heard.iter().any(|action| of_readers.contains(&action.as_str()));
            assert_eq!(hears, *name == "Tobias", "{name}: {heard:?}");
        }
        let has = |name: &str, action: &str| counted[name].iter().any(|one| one == action);
        assert!(has("Mei", "change_contact") && has("Rubén", "name_coordinator") && has("Agnes", "sit_out_troop"));
        assert!(!has("Agnes", "change_contact") && !has("Agnes", "name_coordinator") && !has("Agnes", "change_person"));
        let viewer = after(&world.viewer, 0).await;
        for kind in ["person", "assignment", "decision", "grant", "evidence"] {
            assert!(!viewer.contains(&format!("\"kind\":\"{kind}\"")), "{kind}: {viewer}");
        }
    });
}

#[test]
fn cut_off_after_any_event_a_listener_loses_nothing_and_hears_nothing_twice() {
    scenario(async |world| {
        much_is_done(world).await;
        for who in [&world.manager, &world.clara, &world.viewer] {
            let whole = events(&after(who, 0).await);
            let last = world.manager.get("/log?limit=200").await.expect(200).at("/items");
            let head = last.as_array().expect("rows").len();
            for cut in 0..=i64::try_from(head).expect("few") {
                let asked = who.get("/events?wait_seconds=0&after=0").header("last-event-id", &cut.to_string());
                let rest = text(&asked.await.expect(200));
                let wanted: Vec<Told> = whole.iter().filter(|one| one.id > cut).cloned().collect();
                assert_eq!(events(&rest), wanted, "{} after {cut}", who.name);
                assert_eq!(told(&rest).last().map(|one| one.id), i64::try_from(head).ok(), "how far the log has come");
            }
        }
    });
}

#[test]
fn a_restart_loses_nothing_and_doubles_nothing() {
    scenario(async |world| {
        let first = Server::start(options(&world.copy));
        let mut stream = Stream::open(&first.base, &world.clara, "", None).await;
        let mut last = stream.next(1).await[0].id;
        rename(world, fixture::TROOP, "One").await;
        let mut heard = stream.next(1).await;
        last = heard.last().map_or(last, |one| one.id);
        // The server goes away; meanwhile this and that is done, and another one comes up.
        first.stop().await;
        rename(world, fixture::TROOP, "Two").await;
        rename(world, fixture::OTHER_TROOP, "Not hers").await;
        rename(world, fixture::TROOP, "Three").await;
        let second = Server::start(options(&world.copy));
        let mut stream = Stream::open(&second.base, &world.clara, "", Some(last)).await;
        while heard.len() < 3 {
            heard.extend(stream.next(1).await.into_iter().filter(|one| one.event.is_some()));
        }
        rename(world, fixture::TROOP, "Four").await;
        while heard.len() < 4 {
            heard.extend(stream.next(1).await.into_iter().filter(|one| one.event.is_some()));
        }
        assert_eq!(heard.iter().map(|one| one.id).collect::<Vec<_>>(), [1, 2, 4, 5]);
        drop(stream);
        second.stop().await;
    });
}

/// The sign of life would notice it too, after 20 seconds.
#[test]
fn a_stream_ends_with_the_session_and_with_the_place_in_the_unit_before_another_event_is_told() {
    scenario(async |world| {
        let mut clara = Stream::open(world.base(), &world.clara, "", None).await;
        let mut piotr = Stream::open(world.base(), &world.piotr, "", None).await;
        assert_eq!((clara.next(1).await.len(), piotr.next(1).await.len()), (1, 1));
        world.clara.post("/v1/sessions/current/end", json!({})).await.expect(200);
        let path = format!("/assignments/{}/stand-down", fixture::PIOTRS_ASSIGNMENT);
        world.manager.post(&path, json!({"reason": "Moved away."})).await.expect(200);
        rename(world, fixture::TROOP, "Nobody hears of this").await;
        assert_eq!((clara.rest().await.as_str(), piotr.rest().await.as_str()), ("", ""));
    });
}

#[test]
fn a_stream_ends_with_the_access_token() {
    scenario(async |world| {
        let (account, session) = (fixture::CLARA.account, fixture::CLARA.session);
        let made = caselot::common::clock::real_now() - chrono::TimeDelta::seconds(597);
        let keys = crate::support::server::signing_keys();
        let token =
            keys.issue(caselot::common::ids::AccountId(account), caselot::common::ids::SessionId(session), made);
        let old = world.clara.with_token(token.expect("a token"));
        let mut stream = Stream::open(world.base(), &old, "", None).await;
        let rest = stream.rest().await;
        assert_eq!(told(&rest), [Told { id: 0, event: None, data: Value::Null }], "and then comes the end");
    });
}

#[test]
fn a_key_hears_of_what_it_was_given() {
    scenario(async |world| {
        let key = async |permissions: &[&str]| {
            let new = json!({"name": "wall", "unit_id": fixture::UNIT, "permissions": permissions, "lasts_days": 1});
            let made = world.manager.post("/v1/keys", new).await.expect(201);
            world.manager.with_key(&made.text("/key/key_id"), made.text("/secret"))
        };
        much_is_done(world).await;
        let troops = after(&key(&["events.read", "troops.read"]).await, 0).await;
        assert_eq!(actions(&troops), ["change_troop", "change_troop", "add_troop", "renumber_troops"]);
        assert!(!troops.contains("\"kind\":\"person\""), "{troops}");
        let nothing = after(&key(&["events.read"]).await, 0).await;
        assert_eq!(actions(&nothing), Vec::<String>::new());
        let without = key(&["troops.read", "log.read"]).await;
        without.get("/events?wait_seconds=0").await.expect_problem(403, "forbidden");
    });
}

#[test]
fn what_another_process_does_is_noticed_within_a_second_or_so() {
    scenario(async |world| {
        let unit = caselot::common::ids::UnitId(fixture::AWAY_UNIT);
        let mut grown = caselot::auth::wake::when_grown(unit);
        let watching = tokio::spawn(caselot::events::watch(world.system()));
        tokio::time::timeout(PATIENCE, grown.changed()).await.expect("a first look").expect("a watcher");
        let mut owner = world.owner().await;
        let head = "update unit_log_head set seq = seq + $2 where unit_id = $1";
        sqlx::query(head).bind(unit.0).bind(1_i64).execute(&mut owner).await.expect("a log that grew");
        tokio::time::timeout(PATIENCE, grown.changed()).await.expect("it is noticed").expect("a watcher");
        watching.abort();
        sqlx::query(head).bind(unit.0).bind(-1_i64).execute(&mut owner).await.expect("as it was");
    });
}

#[test]
fn what_cannot_be_meant_is_refused_with_what_would_be_right() {
    scenario(async |world| {
        let manager = &world.manager;
        manager.get("/events?wait_seconds=601").await.expect_problem(422, "invalid");
        manager.get("/events?wait_seconds=-1").await.expect_problem(400, "bad_parameter");
        manager.get("/events?after=-1&wait_seconds=0").await.expect_problem(422, "invalid");
        manager.get("/events?since=1&wait_seconds=0").await.expect_problem(400, "bad_parameter");
        for sent in ["", "x", "-1", "1.0", "9999999999999999999"] {
            let asked = manager.get("/events?wait_seconds=0").header("last-event-id", sent);
            let refused = asked.await.expect_problem(400, "bad_header");
            assert_eq!(refused.text("/errors/0/parameter"), "Last-Event-ID", "{sent:?}");
        }
        let ahead = manager.get("/events?after=5&wait_seconds=0").await.expect_problem(422, "invalid");
        assert!(ahead.text("/errors/0/detail").starts_with("0 at most"), "{ahead}");
        world.nobody.get(&format!("/v1/units/{}/events", fixture::UNIT)).await.expect_problem(401, "not_signed_in");
        // A HEAD has nothing to wait for.
        let head = manager.ask(Method::HEAD, "/events").await.expect(200);
        assert_eq!(head.header("content-type"), "text/event-stream");
    });
}

#[test]
fn five_streams_at_once_and_no_more() {
    scenario(async |world| {
        let mut open = Vec::new();
        for _ in 0..5 {
            open.push(Stream::open(world.base(), &world.clara, "", None).await);
        }
        let refused = world.clara.get("/events?wait_seconds=0").await.expect_problem(429, "too_many_requests");
        assert!(refused.text("/detail").contains("5 times"), "{refused}");
        // Another listener has places of their own.
        after(&world.piotr, 0).await;
        // What has ended gives its place back: each notices the end of the session with the next event.
        let ended = "update session set ended_at = $2, ended_because = 'administrator' where session_id = $1";
        let at = caselot::common::clock::real_now();
        let mut owner = world.owner().await;
        sqlx::query(ended).bind(fixture::CLARA.session).bind(at).execute(&mut owner).await.expect("an end");
        rename(world, fixture::TROOP, "Nobody hears of this").await;
        for stream in &mut open {
            stream.rest().await;
        }
        let again = "update session set ended_at = null, ended_because = null where session_id = $1";
        sqlx::query(again).bind(fixture::CLARA.session).execute(&mut owner).await.expect("as it was");
        after(&world.clara, 0).await;
    });
}
