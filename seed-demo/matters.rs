//! What else a season brings: work in head office's system, two rows that are one person, a deputy, somebody who leaves, a
//! waiver that waits for a second person, a gate passed by leave.

use chrono::NaiveDate;
use serde_json::{Value, json};

use crate::client::text;
use crate::days::day;
use crate::season::{lead, person, troop_id};
use crate::set_up::Unit;

/// What head office's own system must be told by hand, and after which event.
const OUTSIDE_STEPS: [(&str, &str, &str); 4] = [
    ("enter_appointment", "Enter the appointment in head office's system", "appointed"),
    ("enter_suspension", "Mark the coordinator as suspended in head office's system", "suspended"),
    ("enter_standing_down", "Take the coordinator out of head office's system", "stood_down"),
    ("send_return", "Send the season return to head office", "return_filed"),
];

/// Day 0: the policy names the outside steps, and restocks can be asked for until a cut-off every week.
pub async fn policy(unit: &Unit, zero: NaiveDate) -> Result<(), String> {
    let season = unit.manager.get(&unit.path("/standings?limit=1")).await?;
    let season = unit.path(&format!("/seasons/{}", text(&season, "season_id")?));
    let found = unit.manager.get(&format!("{season}/policy")).await?;
    let mut policy = found.get("policy").cloned().unwrap_or_default();
    let steps = OUTSIDE_STEPS.map(|(code, title, event)| json!({"code": code, "title": title, "event": event}));
    if let Some(fields) = policy.as_object_mut() {
        fields.insert("outside_steps".to_owned(), json!(steps));
    }
    unit.manager.put(&format!("{season}/policy"), text(&found, "etag")?, &policy).await?;
    let restocks = json!({
        "code": "restock_cut_off", "title": "Restocks to be asked for", "on_day": day(zero, 74),
        "at_local_time": "18:00", "repeats_until_on": day(zero, 102),
    });
    unit.manager.post(&format!("{season}/milestones"), &restocks).await.map(|_| ())
}

/// Day 0: somebody typed a coordinator a second time, and the two rows become one again.
pub async fn one_person_twice(unit: &Unit) -> Result<(), String> {
    let double = person(unit, "Shivaun", "Fitzgerald", "s.fitzgerald@example.org").await?;
    let path = unit.path(&format!("/people/{double}"));
    let row = unit.manager.get(&path).await?;
    let into = text(&lead(unit, "112").await?, "person_id")?.to_owned();
    let body = json!({"into_person_id": into});
    unit.manager.act_on(&format!("{path}/merge"), text(&row, "etag")?, &body).await.map(|_| ())
}

/// Day 16: a co-coordinator steps in for troop 104 while its lead is away, and the treasurer of troop 211 moves away.
pub async fn deputy_and_leaver(unit: &Unit, zero: NaiveDate) -> Result<(), String> {
    let deputy = person(unit, "Caoimhe", "Adeyinka", "caoimhe.adeyinka@example.org").await?;
    let until = format!("{}T12:00:00Z", day(zero, 40));
    let troop = troop_id(unit, "104").await?;
    let body = json!({"troop_id": troop, "person_id": deputy, "lead": false, "until_at": until});
    unit.manager.post(&unit.path("/assignments"), &body).await?;
    let leaver = person(unit, "Bram", "Osterhout", "bram.osterhout@example.org").await?;
    let contacts = unit.path(&format!("/troops/{}/contacts", troop_id(unit, "211").await?));
    unit.manager.post(&contacts, &json!({"person_id": leaver, "duty": "treasurer"})).await?;
    let left = json!({"left_on": day(zero, 16)});
    unit.manager.post(&unit.path(&format!("/people/{leaver}/leave")), &left).await.map(|_| ())
}

/// Day 22: what was decided on day 8 has been entered in head office's system; what came after it has not.
pub async fn tick_appointments(unit: &Unit) -> Result<(), String> {
    let due = unit.manager.all(&unit.path("/outside-steps")).await?;
    let appointed = |step: &&Value| step.get("step").and_then(Value::as_str) == Some("enter_appointment");
    let steps: Vec<Value> = due
        .iter()
        .filter(appointed)
        .map(|step| json!({"step": step.get("step"), "event_id": step.get("event_id")}))
        .collect();
    let path = unit.path("/outside-steps/tick");
    unit.manager.post(&path, &json!({"steps": steps, "done": true})).await.map(|_| ())
}

/// Day 24: troop 163's coordinator was ill on the training evening; the policy wants two people to let that go.
pub async fn waiver_for_two(unit: &Unit, zero: NaiveDate) -> Result<(), String> {
    let who = text(&lead(unit, "163").await?, "person_id")?.to_owned();
    let waiver = json!({
        "requirement": "yearly_training", "person_id": who, "until_on": day(zero, 50),
        "reason": "Ill on the training evening; the next one is in seven weeks.",
    });
    unit.manager.post(&unit.path("/waivers"), &waiver).await.map(|_| ())
}

/// Day 24: head office has promised the new membership date on the phone, so troop 133 may order all the same.
pub async fn let_through(unit: &Unit, zero: NaiveDate) -> Result<(), String> {
    let leave = json!({
        "gate": "order", "troop_id": troop_id(unit, "133").await?, "until_on": day(zero, 30),
        "reason": "Head office confirmed the renewal on the phone; the list follows.",
    });
    unit.manager.post(&unit.path("/overrides"), &leave).await.map(|_| ())
}

/// From here on the unit writes to people by itself, if its server has a mail server; answers go to the unit's own address.
pub async fn mail(unit: &Unit) -> Result<(), String> {
    let settings = unit.manager.get(&unit.path("/mail-settings")).await?;
    let change = json!({"sends": true, "reply_to": "sale@juniper-ridge.example.org"});
    unit.manager.patch(&unit.path("/mail-settings"), text(&settings, "etag")?, &change).await?;
    Ok(())
}
