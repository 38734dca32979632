//! Several troops' numbers in one act.

use serde_json::{Value, json};

use super::{each, places};
use crate::support::fixture::{self, OTHER_TROOP, TROOP, VACANT_TROOP};
use crate::support::scenario;

fn numbers(of: &[(uuid::Uuid, &str, &str)]) -> Value {
    let rows = of.iter().map(|(troop, number, etag)| json!({"troop_id": troop, "number": number, "etag": etag}));
    json!({"troops": rows.collect::<Vec<_>>()})
}

const V1: &str = "\"v1\"";

#[test]
fn numbers_go_round_in_a_circle_in_one_act() {
    scenario(async |world| {
        let circle = numbers(&[(TROOP, "0102", V1), (OTHER_TROOP, "0103", V1), (VACANT_TROOP, "101", V1)]);
        world.overseer.post("/troops/renumber", circle.clone()).await.expect_problem(403, "forbidden");
        let done = world.manager.post("/troops/renumber", circle.clone()).await.expect(200);
        let told = done.at("/troops");
        let told: Vec<_> = told.as_array().expect("troops").iter().map(|one| (&one["number"], &one["etag"])).collect();
        let v2 = json!("\"v2\"");
        assert_eq!(told, [(&json!("0102"), &v2), (&json!("0103"), &v2), (&json!("101"), &v2)]);
        let listed = world.viewer.get("/troops").await.expect(200);
        assert_eq!(each(&listed, "troop_id"), [VACANT_TROOP, TROOP, OTHER_TROOP].map(|troop| troop.to_string()));
        assert_eq!(each(&world.viewer.get("/standings").await.expect(200), "number"), ["101", "0102", "0103"]);
        let stale = world.manager.post("/troops/renumber", circle).await.expect_problem(412, "version_stale");
        assert_eq!(places(&stale), ["/troops/0/etag", "/troops/1/etag", "/troops/2/etag"]);
    });
}

#[test]
fn one_that_cannot_be_renumbered_leaves_all_as_they_were() {
    scenario(async |world| {
        let ask = async |of: &[(uuid::Uuid, &str, &str)]| world.manager.post("/troops/renumber", numbers(of)).await;
        let taken = ask(&[(TROOP, "0105", V1), (OTHER_TROOP, " 103", V1)]).await.expect_problem(409, "number_taken");
        assert_eq!(places(&taken), ["/troops/1/number"]);
        let stale = ask(&[(TROOP, "0105", V1), (OTHER_TROOP, "0106", "\"v7\"")]).await;
        assert_eq!(places(&stale.expect_problem(412, "version_stale")), ["/troops/1/etag"]);
        let twice = ask(&[(TROOP, "0105", V1), (OTHER_TROOP, "105", V1), (TROOP, "0107", V1)]).await;
        assert_eq!(places(&twice.expect_problem(422, "invalid")), ["/troops/1/number", "/troops/2/troop_id"]);
        let away = ask(&[(fixture::AWAY_TROOP, "0105", V1), (TROOP, "0106", V1)]).await;
        assert_eq!(places(&away.expect_problem(422, "unknown_reference")), ["/troops/0/troop_id"]);
        let listed = world.manager.get("/troops").await.expect(200);
        assert_eq!(each(&listed, "number"), ["0101", "0102", "0103"]);
        assert_eq!(each(&listed, "etag"), [V1, V1, V1]);
    });
}
