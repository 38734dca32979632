//! The season return, over HTTP. The world stands on 10 January 2040: troops 0101 and 0102 gather, 0103 is vacant.

use futures_util::future::join_all;
use serde_json::{Value, json};
use sha2::{Digest as _, Sha256};

use crate::standings::{clara_is_ready, met, person, screening};
use crate::support::client::Answered;
use crate::support::world::World;
use crate::support::{days, fixture, scenario};

pub(crate) async fn preview(world: &World) -> Answered {
    world.manager.get("/return-preview").await.expect(200)
}

/// Files what the preview shows.
pub(crate) async fn file(world: &World) -> Answered {
    let stamp = preview(world).await.text("/stamp");
    world.manager.post("/returns", json!({"stamp": stamp})).await.expect(201)
}

pub(crate) fn names(answer: &Value) -> Vec<(String, Value)> {
    let rows = answer["names"].as_array().expect("names").iter();
    rows.map(|row| (row["person_id"].as_str().expect("an id").to_owned(), row["name"].clone())).collect()
}

#[test]
fn the_preview_is_the_roster_as_head_office_wants_it() {
    scenario(async |world| {
        let seen = preview(world).await;
        let states: Vec<(Value, Value)> = (0..3)
            .map(|n| {
                (seen.at(&format!("/document/troops/{n}/number")), seen.at(&format!("/document/troops/{n}/state")))
            })
            .collect();
        let expected = [
            (json!("0101"), json!("under_way")),
            (json!("0102"), json!("under_way")),
            (json!("0103"), json!("no_coordinator")),
        ];
        assert_eq!(states, expected);
        assert_eq!(
            seen.at("/document/totals"),
            json!({"troops": 3, "appointed": 0, "under_way": 2, "no_coordinator": 1, "sitting_out": 0, "open_requirements": 14}),
            "six of 0101, seven of 0102, the bank details form of 0103"
        );
        assert_eq!(seen.at("/due_at"), "2040-01-20T06:00:00Z", "the end of 19 January in Chicago");
        assert_eq!(seen.at("/new_return_owed"), true);
        assert_eq!(seen.at("/last_number"), Value::Null);
        assert_eq!(seen.at("/changes"), json!([]));
        assert!(seen.text("/document/note").contains("Head office's figures prevail"));
        assert!(seen.at("/document/troops/0/reasons/0").as_str().is_some_and(|text| !text.is_empty()));
        let told = names(&seen.json());
        assert!(told.contains(&(person(&fixture::CLARA).to_string(), json!("Clara Fontaine-Diallo"))), "{told:?}");
        assert!(!seen.at("/document").to_string().contains("Fontaine"), "figures name nobody");
    });
}

#[test]
fn a_filed_return_is_numbered_and_its_digest_can_be_worked_out_again() {
    scenario(async |world| {
        let filed = file(world).await;
        assert_eq!(filed.at("/number"), 1);
        let id = filed.text("/return_id");
        assert_eq!(filed.header("location"), format!("/v1/units/{}/returns/{id}", fixture::UNIT));
        let shown = world.overseer.get(&format!("/returns/{id}")).await.expect(200);
        assert_eq!(shown.json(), filed.json());
        // The figures hold whole numbers, short keys and no text that canonical JSON would write otherwise, so that keys
        // sorted and spaces left out is the canonical form; serde_json's default map is sorted here by hand.
        let canonical = sorted(&shown.at("/document"));
        let digest = Sha256::digest(canonical).iter().fold(String::new(), |text, byte| format!("{text}{byte:02x}"));
        assert_eq!(shown.text("/sha256"), digest);
        let line = world.manager.get("/returns").await.expect(200);
        assert_eq!(line.at("/items/0/return_id"), id);
        assert_eq!(line.at("/items/0/number"), 1);
        assert_eq!(line.at("/items/0/filed_by"), format!("account:{}", fixture::MANAGER.account));
    });
}

/// JSON with its keys in order and no space.
fn sorted(value: &Value) -> String {
    match value {
        Value::Object(entries) => {
            let mut keys: Vec<&String> = entries.keys().collect();
            keys.sort();
            let told: Vec<String> =
                keys.into_iter().map(|key| format!("{}:{}", json!(key), sorted(&entries[key]))).collect();
            format!("{{{}}}", told.join(","))
        }
        Value::Array(items) => format!("[{}]", items.iter().map(sorted).collect::<Vec<_>>().join(",")),
        plain => plain.to_string(),
    }
}

#[test]
fn what_changed_since_the_preview_is_named_and_nothing_is_filed() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        world.forward(days(1)).await;
        met(world, &fixture::YESENIA, "agreement").await;
        let refused =
            world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(409, "preview_stale");
        assert_eq!(refused.at("/errors").as_array().map(Vec::len), Some(1), "{refused}");
        assert_eq!(refused.at("/errors/0/code"), "changed_meanwhile");
        let told = refused.text("/errors/0/detail");
        assert!(told.starts_with("Troop 0102: ") && told.matches("agreement").count() == 1, "{told}");
        assert_eq!(world.manager.get("/returns").await.expect(200).at("/items"), json!([]));
        let again = preview(world).await.text("/stamp");
        world.manager.post("/returns", json!({"stamp": again})).await.expect(201);
    });
}

#[test]
fn time_alone_makes_no_preview_stale() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        world.forward(days(2)).await;
        world.manager.post("/returns", json!({"stamp": stamp})).await.expect(201);
    });
}

#[test]
fn a_stamp_is_taken_from_a_preview() {
    scenario(async |world| {
        for stamp in [
            "x",
            "1.2",
            ".",
            "99999999999999999999.00000000000000000000000000000000",
            "1.é0000000000000000000000000000000",
        ] {
            world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(422, "invalid");
        }
        // Well-formed, but of nothing: from before the season, and from the future.
        for micros in ["0", "9999999999999999"] {
            let stamp = format!("{micros}.00000000000000000000000000000000");
            world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(409, "preview_stale");
        }
        world.manager.post("/returns", json!({})).await.expect_problem(422, "invalid");
        world.manager.post("/returns", json!({"stamp": "x", "number": 7})).await.expect_problem(422, "invalid");
    });
}

#[test]
fn a_return_is_filed_once_however_often_it_is_sent() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        let new = json!({"stamp": stamp});
        world.manager.post("/returns", new.clone()).without_key().await.expect_problem(400, "idempotency_key_missing");
        let first = world.manager.post("/returns", new.clone()).key("return-2040").await.expect(201);
        let second = world.manager.post("/returns", new).key("return-2040").await.expect(201);
        assert_eq!(first.json(), second.json());
        assert_eq!(world.manager.get("/returns").await.expect(200).at("/items").as_array().map(Vec::len), Some(1));
    });
}

#[test]
fn many_at_once_get_numbers_without_a_gap() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        // A busy server may send one away (503); it sends the same request again, as any client would.
        let one = async |n: u32| {
            let key = format!("return-number-{n}");
            let new = json!({"stamp": stamp, "again": true});
            for _ in 0..50 {
                let answer = world.manager.post("/returns", new.clone()).key(&key).await;
                if answer.status != 503 {
                    return answer.expect(201);
                }
            }
            panic!("the server stayed busy");
        };
        join_all((0..12).map(one)).await;
        let page = world.manager.get("/returns?limit=5").await.expect(200);
        let numbers = |page: &Answered| -> Vec<i64> {
            page.at("/items")
                .as_array()
                .expect("rows")
                .iter()
                .map(|row| row["number"].as_i64().expect("a number"))
                .collect()
        };
        assert_eq!(numbers(&page), [12, 11, 10, 9, 8]);
        let next =
            world.manager.get(&format!("/returns?limit=5&cursor={}", page.text("/next_cursor"))).await.expect(200);
        assert_eq!(numbers(&next), [7, 6, 5, 4, 3]);
    });
}

#[test]
fn a_return_that_says_nothing_new_is_refused_unless_it_is_asked_for_once_more() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        world.manager.post("/returns", json!({"stamp": stamp})).await.expect(201);
        let fresh = preview(world).await.text("/stamp");
        for stamp in [&stamp, &fresh] {
            let new = json!({"stamp": stamp});
            let refused = world.manager.post("/returns", new).await.expect_problem(409, "nothing_new");
            let told = refused.text("/detail");
            assert!(told.starts_with("Return 1 of this season says exactly this"), "{told}");
            assert!(told.contains("\"again\": true"), "{told}");
        }
        let wrong = json!({"stamp": stamp, "again": "yes"});
        world.manager.post("/returns", wrong).await.expect_problem(422, "invalid");
        assert_eq!(world.manager.get("/returns").await.expect(200).at("/items").as_array().map(Vec::len), Some(1));
        let again = json!({"stamp": stamp, "again": true});
        assert_eq!(world.manager.post("/returns", again).await.expect(201).at("/number"), 2);
        // What is new needs no such word: a fact, and after it a name, which no figure holds.
        met(world, &fixture::CLARA, "membership").await;
        assert_eq!(file(world).await.at("/number"), 3);
        let path = format!("/people/{}", person(&fixture::CLARA));
        let known = world.manager.get(&path).await.expect(200);
        let change = json!({"last_name": "Fontaine"});
        world.manager.patch(&path, &known.text("/etag"), change).await.expect(200);
        let renamed = file(world).await;
        assert_eq!(renamed.at("/number"), 4);
        let told = names(&renamed.json());
        assert!(told.contains(&(person(&fixture::CLARA).to_string(), json!("Clara Fontaine"))), "{told:?}");
        let stamp = preview(world).await.text("/stamp");
        let refused = world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(409, "nothing_new");
        assert!(refused.text("/detail").starts_with("Return 4 "), "{refused}");
    });
}

#[test]
fn of_two_who_file_the_same_at_once_one_does() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        let one = async |key: &'static str| {
            for _ in 0..50 {
                let answer = world.manager.post("/returns", json!({"stamp": stamp})).key(key).await;
                if answer.status != 503 {
                    return answer;
                }
            }
            panic!("the server stayed busy");
        };
        let answers = join_all(["filed-here-1", "filed-there-2"].map(one)).await;
        let mut statuses: Vec<u16> = answers.iter().map(|answer| answer.status).collect();
        statuses.sort_unstable();
        assert_eq!(statuses, [201, 409]);
        let page = world.manager.get("/returns").await.expect(200);
        assert_eq!((page.at("/items/0/number"), page.at("/items/1")), (json!(1), Value::Null));
    });
}

#[test]
fn what_changed_since_the_last_return_says_that_a_new_one_is_owed() {
    scenario(async |world| {
        let filed = file(world).await;
        let changes = format!("/returns/{}/changes", filed.text("/return_id"));
        let none = world.manager.get(&changes).await.expect(200);
        assert_eq!((none.at("/changes"), none.at("/new_return_owed")), (json!([]), json!(false)));
        clara_is_ready(world).await;
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        let since = world.overseer.get(&changes).await.expect(200);
        assert_eq!(since.at("/new_return_owed"), true);
        let told: Vec<(Value, Value, Value)> = since
            .at("/changes")
            .as_array()
            .expect("changes")
            .iter()
            .map(|one| (one["troop_number"].clone(), one["what"].clone(), one["after"].clone()))
            .collect();
        assert_eq!(told[0], (json!("0101"), json!("standing"), json!("appointed")));
        assert_eq!(told[1].1, "open_requirements");
        assert_eq!(told.len(), 2, "{since}");
        assert_eq!(preview(world).await.at("/new_return_owed"), true);
        let newer = file(world).await;
        assert_eq!(newer.at("/number"), 2);
        let after = world.manager.get(&changes).await.expect(200);
        assert_eq!(after.at("/newest_return_id"), newer.at("/return_id"));
        assert_eq!(after.at("/new_return_owed"), false, "the newer one says it");
        assert_eq!(after.at("/changes").as_array().map(Vec::len), Some(2), "this one does not");
    });
}

#[test]
fn the_clock_alone_makes_a_new_return_owed() {
    scenario(async |world| {
        clara_is_ready(world).await;
        let appoint = format!("/assignments/{}/appoint", fixture::CLARAS_ASSIGNMENT);
        world.manager.post(&appoint, json!({})).await.expect(200);
        let filed = file(world).await;
        assert_eq!(filed.at("/document/troops/0/state"), "appointed");
        // Clara's membership is good until the end of August.
        world.forward(days(240)).await;
        let since = world.manager.get(&format!("/returns/{}/changes", filed.text("/return_id"))).await.expect(200);
        assert_eq!(since.at("/changes/0/after"), "lapsed");
        assert_eq!(since.at("/new_return_owed"), true);
        let shown = world.manager.get(&format!("/returns/{}", filed.text("/return_id"))).await.expect(200);
        assert_eq!(shown.json(), filed.json(), "what was filed stays");
    });
}

#[test]
fn a_screening_that_is_not_met_leaves_the_house_as_not_confirmed() {
    scenario(async |world| {
        screening(world, &fixture::YESENIA, "not_met", None).await;
        let filed = file(world).await;
        let text = filed.json().to_string();
        assert!(!text.contains("not_met"), "{text}");
        let own = filed.at("/document/troops/1/coordinators/0/open");
        let row =
            own.as_array().expect("rows").iter().find(|row| row["requirement"] == "screening").expect("a row").clone();
        assert_eq!(row["outcome"], "not_confirmed");
    });
}

#[test]
fn nobody_changes_what_was_filed_and_an_erased_name_changes_no_figure() {
    scenario(async |world| {
        let filed = file(world).await;
        let mut owner = world.owner().await;
        for change in [
            "update frozen_document set figures = '{}'",
            "update frozen_document set number = 2",
            "delete from frozen_document",
            "truncate frozen_document cascade",
            "update frozen_name set name = 'Somebody Else'",
            "delete from frozen_name",
        ] {
            let refused = sqlx::query(change).execute(&mut owner).await.expect_err(change);
            assert!(refused.to_string().contains("never changed"), "{change}: {refused}");
        }
        let gap = "insert into frozen_document select unit_id, gen_random_uuid(), kind, 3, season_id, figures, sha256, stands_at, made_at, made_by, log_seq from frozen_document";
        assert!(
            sqlx::query(gap).execute(&mut owner).await.expect_err("a gap").to_string().contains("not the next one")
        );
        let forged = "insert into frozen_document select unit_id, gen_random_uuid(), kind, 2, season_id, '{}', sha256, stands_at, made_at, made_by, log_seq from frozen_document";
        assert!(
            sqlx::query(forged)
                .execute(&mut owner)
                .await
                .expect_err("a digest of something else")
                .to_string()
                .contains("frozen_document_digest")
        );
        sqlx::query("update frozen_name set name = null where person_id = $1")
            .bind(person(&fixture::CLARA))
            .execute(&mut owner)
            .await
            .expect("an erased name");
        let shown = world.manager.get(&format!("/returns/{}", filed.text("/return_id"))).await.expect(200);
        assert_eq!((shown.at("/document"), shown.at("/sha256")), (filed.at("/document"), filed.at("/sha256")));
        let told = names(&shown.json());
        assert!(told.contains(&(person(&fixture::CLARA).to_string(), Value::Null)), "{told:?}");
    });
}

#[test]
fn returns_are_the_managers_and_reach_no_other_unit() {
    scenario(async |world| {
        let id = file(world).await.text("/return_id");
        let reads = [
            "/return-preview".to_owned(),
            "/returns".to_owned(),
            format!("/returns/{id}"),
            format!("/returns/{id}/file"),
            format!("/returns/{id}/changes"),
        ];
        for path in &reads {
            world.overseer.get(path).await.expect(200);
            for other in [&world.materials, &world.distributor, &world.viewer, &world.clara] {
                other.get(path).await.expect_problem(403, "forbidden");
            }
        }
        for path in reads.iter().skip(2) {
            world.stranger.get(path).await.expect_problem(404, "not_found");
        }
        assert_eq!(world.stranger.get("/returns").await.expect(200).at("/items"), json!([]));
        let stamp = preview(world).await.text("/stamp");
        for other in [&world.overseer, &world.clara, &world.viewer] {
            other.post("/returns", json!({"stamp": stamp})).await.expect_problem(403, "forbidden");
        }
        world.manager.get(&format!("/returns/{}", fixture::NOTHING)).await.expect_problem(404, "not_found");
        world.manager.get("/returns/rubbish").await.expect_problem(404, "not_found");
        let away = format!("/return-preview?season={}", fixture::AWAY_SEASON);
        world.manager.get(&away).await.expect_problem(422, "unknown_reference");
    });
}

#[test]
fn a_closed_season_takes_no_return() {
    scenario(async |world| {
        let stamp = preview(world).await.text("/stamp");
        sqlx::query("update season set closed_at = '2040-01-10T00:00:00Z' where season_id = $1")
            .bind(fixture::SEASON)
            .execute(&mut world.owner().await)
            .await
            .expect("a closed season");
        world.manager.post("/returns", json!({"stamp": stamp})).await.expect_problem(409, "season_closed");
    });
}
