//! Finding people and troops as people type them.

use serde_json::json;

use super::each;
use crate::support::{fixture, scenario};

#[test]
fn accents_case_apostrophes_and_short_forms_hide_nobody() {
    scenario(async |world| {
        for (first, last) in [("Elizabeth", "Ngata"), ("Peggy", "O\u{2019}Brien"), ("Anne-Marie", "B\u{f3}")] {
            world.manager.post("/people", json!({"first_name": first, "last_name": last})).await.expect(201);
        }
        for (typed, found) in [
            ("ruben", vec!["Rubén"]),
            ("RUB%C3%89N%20szal", vec!["Rubén"]),
            ("liz%20ngata", vec!["Elizabeth"]),
            ("margaret", vec!["Peggy"]),
            ("obrien", vec!["Peggy"]),
            ("annemarie", vec!["Anne-Marie"]),
            ("lind", vec!["Tobias"]),
            ("%27", vec![]),
            ("nobody%20at%20all", vec![]),
        ] {
            let page = world.materials.get(&format!("/people?search={typed}")).await.expect(200);
            assert_eq!(each(&page, "first_name"), found, "{typed}");
        }
        // Only among those whom one may see.
        assert_eq!(each(&world.clara.get("/people?search=ngata").await.expect(200), "first_name"), [""; 0]);
    });
}

#[test]
fn what_is_found_comes_in_pages_that_miss_nobody() {
    scenario(async |world| {
        for last in ["Aho", "Bello", "Cissé", "Dlamini", "Eriksen"] {
            world.manager.post("/people", json!({"first_name": "Liz", "last_name": last})).await.expect(201);
        }
        let mut names = Vec::new();
        let mut next = String::new();
        for _ in 0..3 {
            let page = world.overseer.get(&format!("/people?search=elizabeth&limit=2{next}")).await.expect(200);
            names.extend(each(&page, "last_name"));
            next = page.at("/next_cursor").as_str().map(|cursor| format!("&cursor={cursor}")).unwrap_or_default();
        }
        assert_eq!(
            (names, next),
            (["Aho", "Bello", "Cissé", "Dlamini", "Eriksen"].map(str::to_owned).to_vec(), String::new())
        );
    });
}

#[test]
fn a_troop_is_found_by_its_number_and_by_its_name() {
    scenario(async |world| {
        let new = json!({"number": "0412", "name": "Rívergate Owls", "age_band": "juniors", "selling_youths": 8, "first_season": true});
        world.manager.post("/troops", new).await.expect(201);
        for (typed, found) in [
            ("rivergate", vec!["0412"]),
            ("owls%20river", vec!["0412"]),
            ("412", vec!["0412"]),
            ("00412", vec!["0412"]),
            ("0101", vec!["0101"]),
            ("troop%20010", vec!["0101", "0102", "0103"]),
            ("%25", vec![]),
        ] {
            let page = world.viewer.get(&format!("/troops?search={typed}")).await.expect(200);
            assert_eq!(each(&page, "number"), found, "{typed}");
        }
        assert_eq!(fixture::TROOP.to_string(), world.viewer.get("/troops?search=0101").await.text("/items/0/troop_id"));
    });
}
