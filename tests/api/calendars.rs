//! A calendar program follows the season by a secret address (RFC 5545), and shows what its owner may see.

use reqwest::Method;
use serde_json::{Value, json};

use crate::standings::{person, screening};
use crate::support::client::{Answered, Caller};
use crate::support::world::World;
use crate::support::{fixture, scenario};

/// The path of the address that somebody makes.
async fn made_by(who: &Caller) -> String {
    let address = who.post("/my-calendar", json!({})).await.expect(201).text("/address");
    let path = address.strip_prefix("https://sale.example.org").expect("an address of this server").to_owned();
    assert_eq!(path.len(), "/calendar/".len() + 64, "{path}");
    path
}

async fn read(world: &World, path: &str) -> String {
    let answered = world.nobody.get(path).await.expect(200);
    assert_eq!(answered.header("content-type"), "text/calendar; charset=utf-8");
    String::from_utf8(answered.body).expect("UTF-8")
}

/// The entries, each as its lines, folded ones joined (RFC 5545, section 3.1).
fn entries(calendar: &str) -> Vec<Vec<String>> {
    assert!(calendar.ends_with("END:VCALENDAR\r\n") && calendar.lines().all(|line| line.len() <= 75), "{calendar}");
    assert_eq!(calendar.matches('\n').count(), calendar.matches("\r\n").count(), "every line ends in CRLF");
    let joined = calendar.replace("\r\n ", "");
    let parts = joined.split("BEGIN:VEVENT\r\n").skip(1);
    parts.map(|part| part.split("END:VEVENT").next().unwrap_or_default().lines().map(str::to_owned).collect()).collect()
}

/// The value of a property of the entry with this title.
fn of(calendar: &str, title: &str, property: &str) -> Vec<String> {
    let titled = |entry: &&Vec<String>| entry.contains(&format!("SUMMARY:{title}"));
    let value = |entry: &Vec<String>| {
        let start = entry.iter().find_map(|line| line.strip_prefix(property).map(|rest| rest[1..].to_owned()));
        start.unwrap_or_default()
    };
    let entries = entries(calendar);
    entries.iter().filter(titled).map(value).collect()
}

async fn change(who: &Caller, code: &str, change: Value) -> Answered {
    let path = format!("/seasons/{}/milestones", fixture::SEASON);
    let items = who.get(&path).await.expect(200).at("/items");
    let row = items.as_array().expect("items").iter().find(|one| one["code"] == code).cloned().expect("a milestone");
    let id = row["milestone_id"].as_str().expect("an id");
    who.patch(&format!("{path}/{id}"), row["etag"].as_str().expect("an etag"), change).await.expect(200)
}

#[test]
fn days_are_whole_days_and_hours_are_instants_right_across_the_change_of_clocks() {
    scenario(async |world| {
        let path = made_by(&world.clara).await;
        let calendar = read(world, &path).await;
        assert!(calendar.starts_with("BEGIN:VCALENDAR\r\nVERSION:2.0\r\nPRODID:-//Caselot//"), "{calendar}");
        assert!(calendar.contains("\r\nX-WR-CALNAME:Juniper Ridge\\, 2040\r\n"), "{calendar}");
        assert_eq!(entries(&calendar).len(), 6, "six of the seven milestones have a day");
        assert_eq!(of(&calendar, "Season return due", "DTSTART"), ["VALUE=DATE:20400119"]);
        assert_eq!(of(&calendar, "Season return due", "DTEND"), ["VALUE=DATE:20400120"]);
        assert_eq!(of(&calendar, "Season return due", "DESCRIPTION"), ["Counts to the end of the day."]);
        assert_eq!(of(&calendar, "Sale opens", "DESCRIPTION"), ["From the beginning of the day."]);
        assert_eq!(of(&calendar, "Kits out", "DESCRIPTION"), [""]);
        // Chicago changes its clocks on 11 March 2040: six hours behind before, five after.
        let evenings = json!({"code": "stall_evening", "title": "Stall evening", "kind": "event", "on_day": "2040-03-06",
            "at_local_time": "18:00", "repeats_until_on": "2040-03-20"});
        world.manager.post(&format!("/seasons/{}/milestones", fixture::SEASON), evenings).await.expect(201);
        change(
            &world.manager,
            "opening_orders_due",
            json!({"head_office_on_day": "2040-01-28", "head_office_at_local_time": "17:30"}),
        )
        .await;
        let calendar = read(world, &path).await;
        let instants = ["20400307T000000Z", "20400313T230000Z", "20400320T230000Z"];
        assert_eq!(of(&calendar, "Stall evening", "DTSTART"), instants);
        let uids = of(&calendar, "Stall evening", "UID");
        assert!(uids[0].ends_with("-2040-03-06") && uids[2].ends_with("-2040-03-20"), "{uids:?}");
        let note = of(&calendar, "Opening orders due", "DESCRIPTION");
        assert_eq!(note, ["Counts to the end of the day. Head office's own date: 2040-01-28\\, 17:30."]);
    });
}

#[test]
fn a_moved_date_is_the_same_entry_and_one_that_is_taken_away_is_marked_as_cancelled() {
    scenario(async |world| {
        let path = made_by(&world.viewer).await;
        let before = read(world, &path).await;
        let uid = of(&before, "Delivery day", "UID");
        assert_eq!(
            (of(&before, "Delivery day", "SEQUENCE"), of(&before, "Delivery day", "STATUS")),
            (vec!["0".to_owned()], vec!["CONFIRMED".to_owned()])
        );
        change(&world.manager, "delivery_day", json!({"on_day": "2040-02-17"})).await;
        let moved = read(world, &path).await;
        assert_eq!(of(&moved, "Delivery day", "UID"), uid);
        assert_eq!(of(&moved, "Delivery day", "SEQUENCE"), ["1"]);
        assert_eq!(of(&moved, "Delivery day", "DTSTART"), ["VALUE=DATE:20400217"]);
        assert_ne!(
            of(&moved, "Delivery day", "DTSTAMP"),
            of(&before, "Delivery day", "DTSTAMP"),
            "when it was changed"
        );

        change(&world.manager, "delivery_day", json!({"on_day": null})).await;
        let gone = read(world, &path).await;
        assert_eq!(of(&gone, "Delivery day", "UID"), uid);
        assert_eq!(of(&gone, "Delivery day", "STATUS"), ["CANCELLED"]);
        assert_eq!(of(&gone, "Delivery day", "SEQUENCE"), ["2"]);
        assert_eq!(of(&gone, "Delivery day", "DTSTART"), ["VALUE=DATE:20400217"], "where programs have it");
        change(&world.manager, "delivery_day", json!({"on_day": "2040-02-24"})).await;
        let again = read(world, &path).await;
        assert_eq!(
            (of(&again, "Delivery day", "STATUS"), of(&again, "Delivery day", "SEQUENCE")),
            (vec!["CONFIRMED".to_owned()], vec!["3".to_owned()])
        );

        // One that was added by mistake, and removed.
        let own = json!({"code": "plans_due", "title": "Plans due", "on_day": "2040-02-02"});
        let made = world.manager.post(&format!("/seasons/{}/milestones", fixture::SEASON), own).await.expect(201);
        let at = format!("/seasons/{}/milestones/{}", fixture::SEASON, made.text("/milestone_id"));
        world.manager.delete(&at, &made.etag()).await.expect(200);
        let calendar = read(world, &path).await;
        assert_eq!(of(&calendar, "Plans due", "STATUS"), ["CANCELLED"]);
    });
}

#[test]
fn a_coordinator_sees_the_own_proofs_end_and_nobody_elses_and_never_a_screening() {
    scenario(async |world| {
        screening(world, &fixture::CLARA, "met", Some("2040-02-10")).await;
        for (who, until) in [(&fixture::CLARA, "2040-01-20"), (&fixture::YESENIA, "2040-02-01")] {
            let fact = json!({"requirement": "membership", "person_id": person(who), "outcome": "met",
                "observed_on": "2040-01-08", "valid_until_on": until});
            world.manager.post("/evidence", fact).await.expect(201);
        }
        let calendar = read(world, &made_by(&world.clara).await).await;
        let title = "Last day: Current membership";
        assert_eq!(of(&calendar, title, "DTSTART"), ["VALUE=DATE:20400120"]);
        assert_eq!(entries(&calendar).len(), 7, "six dates and the one ending:\n{calendar}");
        for word in ["Clara", "Yesenia", "creening", "Room", "roop", "example.org"] {
            assert!(!calendar.contains(word), "{word} is nobody's who runs a calendar program:\n{calendar}");
        }
        let managers = read(world, &made_by(&world.manager).await).await;
        assert_eq!(entries(&managers).len(), 6, "who coordinates no troop has the season's dates");
        assert_eq!(of(&read(world, &made_by(&world.yesenia).await).await, title, "DTSTART"), ["VALUE=DATE:20400201"]);
    });
}

#[test]
fn an_address_ends_when_it_is_renewed_or_ended_or_its_owner_is_out_and_tells_nothing_then() {
    scenario(async |world| {
        let mut owner = world.owner().await;
        world.clara.get("/my-calendar").await.expect_problem(404, "not_found");
        let first = made_by(&world.clara).await;
        world.clara.get("/my-calendar").await.expect(200);
        let second = made_by(&world.clara).await;
        let dead = world.nobody.get(&first).await.expect_problem(404, "not_found");
        let bare = |answered: &Answered| {
            let mut body = answered.json();
            body["request_id"] = Value::Null;
            body["instance"] = Value::Null;
            body
        };
        let guessed = format!("/calendar/{}", "A".repeat(64));
        for path in [guessed.as_str(), "/calendar/x", &second[..second.len() - 1]] {
            let none = world.nobody.get(path).await.expect_problem(404, "not_found");
            assert_eq!(bare(&none), bare(&dead), "{path}");
        }
        // A poller that has it already gets 304, and something new when something is new.
        let read = world.nobody.get(&second).await.expect(200);
        let tag = read.header("etag").to_owned();
        world.nobody.ask(Method::GET, &second).header("if-none-match", &tag).await.expect(304);
        change(&world.manager, "delivery_day", json!({"on_day": "2040-02-17"})).await;
        world.nobody.ask(Method::GET, &second).header("if-none-match", &tag).await.expect(200);

        world.clara.post("/my-calendar/end", json!({})).await.expect(200);
        world.nobody.get(&second).await.expect_problem(404, "not_found");
        world.clara.post("/my-calendar/end", json!({})).await.expect_problem(404, "not_found");

        let path = made_by(&world.piotr).await;
        world.nobody.get(&path).await.expect(200);
        let disabled = "update account set disabled_at = $2 where account_id = $1";
        sqlx::query(disabled)
            .bind(fixture::PIOTR.account)
            .bind(Some(fixture::start()))
            .execute(&mut owner)
            .await
            .expect("disabled");
        world.nobody.get(&path).await.expect_problem(404, "not_found");
        sqlx::query(disabled)
            .bind(fixture::PIOTR.account)
            .bind(None::<chrono::DateTime<chrono::Utc>>)
            .execute(&mut owner)
            .await
            .expect("enabled");
        world.nobody.get(&path).await.expect(200);
        let place = "update assignment set ended_at = $2 where assignment_id = $1";
        for (ended, status) in [(Some(fixture::start()), 404), (None, 200)] {
            sqlx::query(place).bind(fixture::PIOTRS_ASSIGNMENT).bind(ended).execute(&mut owner).await.expect("a place");
            assert_eq!(world.nobody.get(&path).await.status, status);
        }
        // Kept is a digest alone.
        let kept: Vec<Vec<u8>> = sqlx::query_scalar("select secret_sha256 from calendar_address")
            .fetch_all(&mut owner)
            .await
            .expect("digests");
        assert!(kept.len() == 1 && kept[0].len() == 32);
    });
}
