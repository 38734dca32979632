//! Nobody's change is overwritten unseen (R31).

use futures_util::future::join_all;
use serde_json::json;

use crate::support::fixture::SEASON;
use crate::support::scenario;

#[test]
fn of_fifty_changes_under_one_etag_one_succeeds() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}");
        let etag = world.manager.get(&path).await.expect(200).etag();
        let ask = |number: usize| {
            let change = json!({"label": format!("Season {number}")});
            let asked = world.manager.patch(&path, &etag, change);
            async { asked.await }
        };
        let answers = join_all((0..50).map(ask)).await;
        let with = |status: u16| answers.iter().filter(|answer| answer.status == status).count();
        assert_eq!((with(200), with(412)), (1, 49));
        let now = world.manager.get(&path).await.expect(200);
        assert_eq!(now.text("/etag"), "\"v2\"");
        let winner = answers.iter().find(|answer| answer.status == 200).expect("a winner");
        assert_eq!(winner.text("/label"), now.text("/label"));
    });
}

#[test]
fn an_edit_says_which_version_it_has_read() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}");
        let change = json!({"label": "Changed"});
        let missing = world.manager.ask(reqwest::Method::PATCH, &path).json(&change).await;
        let missing = missing.expect_problem(428, "version_missing");
        assert_eq!(missing.header("etag"), "\"v1\"", "the answer has the current one");
        for stale in ["\"v0\"", "\"v2\"", "W/\"v1\"", "*", "v1", "\"v1\", \"v2\""] {
            let refused = world.manager.patch(&path, stale, change.clone()).await.expect_problem(412, "version_stale");
            assert_eq!(refused.header("etag"), "\"v1\"", "{stale}");
        }
        let changed = world.manager.patch(&path, "\"v1\"", change).await.expect(200);
        assert_eq!((changed.text("/label").as_str(), changed.etag().as_str()), ("Changed", "\"v2\""));
    });
}

/// Two people change two fields: the second is told, reads again, and both changes stand.
#[test]
fn two_changes_of_different_fields_both_survive() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}");
        let read = world.manager.get(&path).await.expect(200);
        world.manager.patch(&path, &read.etag(), json!({"label": "First"})).await.expect(200);
        world
            .manager
            .patch(&path, &read.etag(), json!({"ends_on": "2040-06-15"}))
            .await
            .expect_problem(412, "version_stale");
        let again = world.manager.get(&path).await.expect(200);
        world.manager.patch(&path, &again.etag(), json!({"ends_on": "2040-06-15"})).await.expect(200);
        let now = world.manager.get(&path).await.expect(200);
        assert_eq!((now.text("/label").as_str(), now.text("/ends_on").as_str()), ("First", "2040-06-15"));
    });
}

#[test]
fn a_poller_that_has_the_answer_gets_304_until_it_changes() {
    scenario(async |world| {
        let path = format!("/seasons/{SEASON}");
        let first = world.clara.get(&path).await.expect(200);
        let tag = first.header("etag").to_owned();
        let same = world.clara.get(&path).header("if-none-match", &tag).await.expect(304);
        assert_eq!((same.header("etag"), same.body.len()), (tag.as_str(), 0));
        world.manager.patch(&path, &first.etag(), json!({"label": "Changed"})).await.expect(200);
        world.clara.get(&path).header("if-none-match", &tag).await.expect(200);

        let me = world.clara.get("/v1/me").await.expect(200);
        let weak = me.header("etag").to_owned();
        assert!(weak.starts_with("W/\""), "{me}");
        world.clara.get("/v1/me").header("if-none-match", &weak).await.expect(304);
        world.piotr.get("/v1/me").header("if-none-match", &weak).await.expect(200);
    });
}
