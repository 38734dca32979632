//! A person is erased: no word is left, and everything that was counted stays counted.

use serde_json::json;
use sqlx::Row as _;
use sqlx::postgres::PgConnection;
use uuid::Uuid;

use crate::support::built::built;
use crate::support::cluster::Role;
use crate::support::fixture;
use crate::support::scenario;
use crate::support::world::World;

/// A word for each field that takes words about a person; none of them is any other text's.
const CANARIES: [&str; 13] = [
    "zaphirine",
    "quellenberg",
    "canaryword",
    "kq-55-81",
    "kanarie",
    "5550190",
    "notetext",
    "reasontext",
    "handovertext",
    "overtext",
    "keytext",
    "listtext",
    "filetext",
];

/// Everything in the database as text, table by table; bytes as the letters that they hold.
async fn dump(backup: &mut PgConnection) -> Vec<(String, String)> {
    let columns: Vec<(String, String, String)> = sqlx::query_as(
        "select c.table_name::text, c.column_name::text, c.data_type::text from information_schema.columns c
         join information_schema.tables t using (table_schema, table_name)
         where c.table_schema = 'public' and t.table_type = 'BASE TABLE' order by 1, 2",
    )
    .fetch_all(&mut *backup)
    .await
    .expect("the columns");
    let mut texts = Vec::new();
    for (table, column, kind) in columns {
        let shown = if kind == "bytea" { format!("encode({column}, 'escape')") } else { format!("{column}::text") };
        let rows = sqlx::query(built(format!("select {shown} from {table} where {column} is not null")));
        for row in rows.fetch_all(&mut *backup).await.unwrap_or_else(|error| panic!("{table}.{column}: {error}")) {
            texts.push((format!("{table}.{column}"), row.get::<String, _>(0).to_lowercase()));
        }
    }
    texts
}

fn found(texts: &[(String, String)], word: &str) -> Vec<String> {
    let mut places: Vec<String> =
        texts.iter().filter(|(_, text)| text.contains(word)).map(|(place, _)| place.clone()).collect();
    places.dedup();
    places
}

/// Somebody with a word in every field, and what one does in a season: invited, named, proven, decided about, replaced,
/// on a list, in a filed return.
async fn somebody(world: &World) -> Uuid {
    let new = json!({"first_name": "Zaphirine", "last_name": "Quellenberg", "membership_number": "KQ-55-81"});
    let made = world.manager.post("/people", new).await.expect(201);
    let who: Uuid = made.text("/person_id").parse().expect("an id");
    let contact = json!({"email": "kanarie@example.org", "phone": "+1 5550190"});
    world.manager.patch(&format!("/people/{who}/contact"), "\"v0\"", contact).await.expect(200);
    let double = json!({"first_name": "Zaphirine", "last_name": "Canaryword"});
    let double = world.manager.post("/people", double).await.expect(201).text("/person_id");
    let merge = json!({"into_person_id": who});
    world.manager.once_and_for_all("merge", double, merge).await.expect(200);
    let invited = world.manager.post(&format!("/people/{who}/invite"), json!({})).await.expect(201);
    let link = invited.text("/invitation_link");
    let secret = link.split_once('#').expect("a secret behind the hash").1;
    let accepted = json!({"token": secret, "password": "seven lanterns over water"});
    let session = world.nobody.post("/v1/invitations/accept", accepted).await.expect(201);
    let named = json!({"troop_id": fixture::VACANT_TROOP, "person_id": who, "lead": true});
    let named = world.manager.post("/assignments", named).await.expect(201).text("/assignment_id");
    let account: Uuid = sqlx::query_scalar("select account_id from membership where person_id = $1")
        .bind(who)
        .fetch_one(&mut world.owner().await)
        .await
        .expect("the account");
    let own = world.clara.with_token(session.text("/access_token")).acting_as(&account.to_string());
    let key = json!({"name": "keytext", "unit_id": fixture::UNIT, "permissions": ["troops.read"], "lasts_days": 30});
    own.post("/v1/keys", key).await.expect(201);
    let fact = json!({"requirement": "agreement", "person_id": who, "outcome": "met", "observed_on": "2040-01-08", "note": "notetext"});
    world.manager.post("/evidence", fact).await.expect(201);
    let reason = json!({"reason": "reasontext"});
    world.manager.post(&format!("/assignments/{named}/suspend"), reason).await.expect(200);
    list(world).await;
    let preview = world.manager.get("/return-preview").await.expect(200);
    let filed = world.manager.post("/returns", json!({"stamp": preview.text("/stamp")})).await;
    filed.expect(201);
    let over = json!({"person_id": fixture::DOV, "reason": "overtext", "note": "handovertext"});
    world.manager.post(&format!("/assignments/{named}/replace"), over).await.expect(201);
    who
}

/// An uploaded list with the person in a row.
async fn list(world: &World) {
    let rows = "Troop,First name,Last name,E-mail,Membership number,Remark\n103,Zaphirine,Quellenberg,kanarie@example.org,KQ-55-81,listtext\n103,Otherone,Elsewhere,,,\n";
    let path = "/intakes?kind=role_list&file_name=filetext-quellenberg.csv&listed_on=2040-01-09";
    let sent = world.manager.ask(reqwest::Method::POST, path).bytes("application/octet-stream", rows);
    let intake = sent.await.expect(202).text("/intake_id");
    for _ in 0..400 {
        let state = world.manager.get(&format!("/intakes/{intake}")).await.expect(200).text("/state");
        if state != "reading" {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(25)).await;
    }
    panic!("the list is still being read");
}

const COUNTED: [&str; 10] = [
    "person",
    "person_contact",
    "assignment",
    "evidence",
    "decision",
    "take_over",
    "frozen_document",
    "frozen_name",
    "intake",
    "standing",
];

/// How many rows there are of what is counted, and the digests of what was filed.
async fn figures(owner: &mut PgConnection) -> Vec<(String, String)> {
    let mut figures = Vec::new();
    for table in COUNTED {
        let count: i64 = sqlx::query_scalar(built(format!("select count(*) from {table}")))
            .fetch_one(&mut *owner)
            .await
            .expect(table);
        figures.push((table.to_owned(), count.to_string()));
    }
    let digests: Vec<String> = sqlx::query_scalar("select encode(sha256, 'hex') from frozen_document order by 1")
        .fetch_all(&mut *owner)
        .await
        .expect("the digests");
    let answers: Vec<String> =
        sqlx::query_scalar("select answer::text from standing order by unit_id, season_id, troop_id")
            .fetch_all(owner)
            .await
            .expect("the standings");
    figures.extend(digests.into_iter().chain(answers).map(|text| ("text".to_owned(), text)));
    figures
}

#[test]
fn an_erased_person_is_in_no_byte_of_a_dump_and_every_count_is_as_before() {
    scenario(async |world| {
        let who = somebody(world).await;
        let mut backup = world.copy.connect(Role::Backup).await;
        let before = dump(&mut backup).await;
        for word in CANARIES {
            assert_ne!(
                found(&before, word),
                Vec::<String>::new(),
                "{word} was planted nowhere, so this would prove nothing"
            );
        }
        world.overseer.once_and_for_all("erase", who, json!({})).await.expect_problem(403, "forbidden");
        let duty = json!({"person_id": who, "duty": "treasurer"});
        world.manager.post(&format!("/troops/{}/contacts", fixture::VACANT_TROOP), duty).await.expect(201);
        world.manager.once_and_for_all("erase", who, json!({})).await.expect_problem(409, "wrong_state");
        world.manager.post(&format!("/people/{who}/leave"), json!({"left_on": "2040-01-10"})).await.expect(200);
        let counted = figures(&mut world.owner().await).await;
        let erased = world.manager.once_and_for_all("erase", who, json!({})).await.expect(200);
        assert_eq!(erased.at("/person_id"), json!(who));
        let after = dump(&mut backup).await;
        for word in CANARIES {
            assert_eq!(found(&after, word), Vec::<String>::new(), "{word} is left");
        }
        assert_eq!(figures(&mut world.owner().await).await, counted);
        let left = world.overseer.get(&format!("/people/{who}")).await.expect(200);
        assert_eq!((left.text("/first_name"), left.text("/last_name")), ("Erased".to_owned(), String::new()));
        let named: Vec<String> = world
            .overseer
            .get("/people?search=erased")
            .await
            .expect(200)
            .at("/items")
            .as_array()
            .into_iter()
            .flatten()
            .map(ToString::to_string)
            .collect();
        assert_eq!(named, [""; 0]);
        // The log still names the id, and holds (as after every test).
        assert_ne!(found(&after, &who.to_string()), Vec::<String>::new());
    });
}

/// Whoever stands on the same lists keeps the rows there; whoever has the same name keeps all of them.
#[test]
fn what_lists_say_of_others_stays_when_somebody_is_erased() {
    scenario(async |world| {
        let utf16: Vec<u8> = std::iter::once(0xfeff_u16)
            .chain("Troop\tReceived on\n0101\t2040-01-03\n".encode_utf16())
            .flat_map(u16::to_le_bytes)
            .collect();
        let path = "/intakes?kind=bank_details&file_name=forms.txt&listed_on=2040-01-09";
        let send = || world.manager.ask(reqwest::Method::POST, path).bytes("text/plain", utf16.clone());
        let bank = crate::intake::until_read(&world.manager, send().await.expect(202).header("location")).await;
        crate::intake::apply(&world.manager, &bank).await.expect(200);
        let people = "Troop,First name,Last name,E-mail\n0101,Clara,Fontaine-Diallo,clara.fd@example.org\n0103,Dana,Fielding,dana.f@example.org\n0103,Ruta,Ozola,ruta@example.org\n";
        let listed = crate::intake::read(&world.manager, "role_list", "2040-01-09", people).await;
        crate::intake::apply(&world.manager, &listed).await.expect(200);
        let names = async |list: &crate::support::client::Answered| {
            let rows = crate::intake::rows(&world.manager, list).await;
            rows.iter().map(|row| row["name"].as_str().unwrap_or_default().to_owned()).collect::<Vec<_>>()
        };
        assert_eq!(names(&listed).await, ["Clara Fontaine-Diallo", "Dana Fielding", "Ruta Ozola"]);
        // A second Dana Fielding, on no list: the first one's rows are not hers.
        let double =
            json!({"first_name": "Dana", "last_name": "Fielding", "membership_number": "T-77", "another_person": true});
        let double = world.manager.post("/people", double).await.expect(201).text("/person_id");
        world.manager.once_and_for_all("erase", &double, json!({})).await.expect(200);
        assert_eq!(names(&listed).await, ["Clara Fontaine-Diallo", "Dana Fielding", "Ruta Ozola"]);
        world.manager.once_and_for_all("erase", &double, json!({})).await.expect_problem(409, "wrong_state");
        let merge = json!({"into_person_id": double});
        let piotr = super::person(&fixture::PIOTR);
        world.manager.once_and_for_all("merge", piotr, merge).await.expect_problem(422, "unknown_reference");
        let change = json!({"first_name": "Back"});
        world.manager.patch(&format!("/people/{double}"), "\"v2\"", change).await.expect_problem(404, "not_found");
        // Ruta is on one list: her row goes, the others stay, and so does what the bank list says of a troop.
        let ruta = world.manager.get("/people?search=ozola").await.expect(200).text("/items/0/person_id");
        let held =
            world.manager.get(&format!("/assignments?person={ruta}")).await.expect(200).text("/items/0/assignment_id");
        world.manager.post(&format!("/assignments/{held}/decline"), json!({})).await.expect(200);
        world.manager.once_and_for_all("erase", ruta, json!({})).await.expect(200);
        assert_eq!(names(&listed).await, ["Clara Fontaine-Diallo", "Dana Fielding"]);
        assert_eq!(
            crate::intake::rows(&world.manager, &bank).await.len(),
            1,
            "a file that cannot be looked into keeps its rows"
        );
        // The same bytes once more are read, not what is left in their place.
        let again = crate::intake::until_read(&world.manager, send().await.expect(202).header("location")).await;
        assert_eq!((again.at("/state"), again.at("/counts/rows")), (json!("ready"), json!(1)), "{again}");
    });
}
