//! The season so far, day by day, on the demo's clock.

use chrono::NaiveDate;
use chrono_tz::America::Chicago;
use serde_json::{Value, json};

use crate::Arguments;
use crate::client::{Caller, Server, text};
use crate::days::{TODAY, day};
use crate::expect;
use crate::lists::{self, List};
use crate::matters;
use crate::people::{COORDINATORS_WHO_SIGN_IN, HOLDERS};
use crate::set_up::{self, Unit, Who, numbered, program, sign_in};
use crate::sign_ins::{Demo, SignIn};

/// Appointed on day 8, when everything was met.
const APPOINTED: [&str; 10] = ["104", "108", "112", "117", "133", "139", "145", "152", "172", "207"];
/// Whose coordinator never signed the agreement.
const UNSIGNED: &str = "190";

/// Lives through the season up to today.
pub async fn play(arguments: &Arguments) -> Result<Demo, String> {
    let server = Server::new(&arguments.address);
    let zero = caselot::common::clock::real_now().with_timezone(&Chicago).date_naive();
    let mut sign_ins = Vec::new();
    let (id, manager) = set_up::unit(&server, &arguments.program, &mut sign_ins).await?;
    set_up::season(&id, &manager, zero).await?;
    let unit = Unit { id, manager };
    set_up::troops(&unit).await?;
    matters::policy(&unit, zero).await?;
    helpers(&server, &unit, &mut sign_ins).await?;
    first_list(&unit, zero).await?;
    let coordinators = invite_coordinators(&server, &unit, &mut sign_ins).await?;
    matters::one_person_twice(&unit).await?;
    matters::mail(&unit).await?;

    forwards(arguments, 8).await?;
    lists::apply(&unit, &List::BANK_DETAILS, day(zero, 8), zero).await?;
    lists::apply(&unit, &List::CERTIFICATES, day(zero, 8), zero).await?;
    for troop in APPOINTED {
        decide(&unit, troop, "appoint", "Everything is in order.").await?;
    }

    forwards(arguments, 8).await?;
    decide(&unit, "207", "stand-down", "Moves away this month; thanks for two good seasons.").await?;
    decide(&unit, "145", "suspend", "Kit not collected and three calls not answered.").await?;
    troop_decision(&unit, "222", "sit-out", "Three youths are too few to sell on their own.").await?;
    matters::deputy_and_leaver(&unit, zero).await?;
    troop_decision(&unit, "229", "sit-out", "Pauses this season and comes back in the next.").await?;

    forwards(arguments, 6).await?;
    lists::apply(&unit, &List::SECOND_ROLE_LIST, day(zero, 22), zero).await?;
    matters::tick_appointments(&unit).await?;
    decide(&unit, "152", "suspend", "Membership has run out; no new date from head office yet.").await?;

    forwards(arguments, 2).await?;
    let report = json!({"troop_id": troop_id(&unit, "158").await?, "requirement": "yearly_training", "done_on": day(zero, TODAY - 1)});
    let aroha = coordinators.get(1).ok_or("nobody coordinates troop 158")?;
    aroha.post(&unit.path("/my-steps/reports"), &report).await?;
    matters::waiver_for_two(&unit, zero).await?;
    matters::let_through(&unit, zero).await?;

    let different =
        expect::differences(&expect::typed(expect::STANDINGS)?, &expect::computed(&unit.manager, &unit.id).await?);
    if !different.is_empty() {
        return Err(format!("the demo is not as it should be:\n  {}", different.join("\n  ")));
    }
    Ok(Demo {
        address: arguments.address.clone(),
        unit: unit.id,
        today: day(zero, TODAY),
        sign_ins,
        lists: lists::all_rendered(zero)?,
    })
}

async fn forwards(arguments: &Arguments, days: i64) -> Result<(), String> {
    program(&arguments.program, &["clock", "--forwards", &format!("{days}d")]).await.map(|_| ())
}

/// A person by hand, with an address.
pub async fn person(unit: &Unit, first_name: &str, last_name: &str, email: &str) -> Result<String, String> {
    let body = json!({"first_name": first_name, "last_name": last_name, "email": email});
    Ok(text(&unit.manager.post(&unit.path("/people"), &body).await?, "person_id")?.to_owned())
}

async fn invite(unit: &Unit, person: &str) -> Result<String, String> {
    let invitation = unit.manager.act(&unit.path(&format!("/people/{person}/invite"))).await?;
    Ok(text(&invitation, "invitation_link")?.to_owned())
}

/// Overseer, materials coordinator, distributor and viewer; a troop with a co-coordinator but no lead; and a leader through
/// whom a vacant troop can be reached.
async fn helpers(server: &Server, unit: &Unit, sign_ins: &mut Vec<SignIn>) -> Result<(), String> {
    for holder in &HOLDERS {
        let id = person(unit, holder.first_name, holder.last_name, holder.email).await?;
        unit.manager.post(&unit.path("/grants"), &json!({"person_id": id, "role": holder.role})).await?;
        let who = holder.role.replace('_', " ");
        let who = Who { name: holder.name, what: &who, email: holder.email };
        sign_in(server, &invite(unit, &id).await?, who, sign_ins).await?;
    }
    let olga = person(unit, "Olga", "Petrenko", "olga.petrenko@example.org").await?;
    let body = json!({"troop_id": troop_id(unit, "216").await?, "person_id": olga, "lead": false});
    unit.manager.post(&unit.path("/assignments"), &body).await?;
    let gwen = person(unit, "Gwen", "Abara", "gwen.abara@example.org").await?;
    let path = unit.path(&format!("/troops/{}/contacts", troop_id(unit, "203").await?));
    unit.manager.post(&path, &json!({"person_id": gwen, "duty": "leader"})).await.map(|_| ())
}

/// Day 0: head office's first role list makes 21 coordinators known; the manager confirms what it proposes.
async fn first_list(unit: &Unit, zero: NaiveDate) -> Result<(), String> {
    lists::apply(unit, &List::FIRST_ROLE_LIST, zero, zero).await?;
    let unsigned = troop_id(unit, UNSIGNED).await?;
    for assignment in unit.manager.all(&unit.path("/assignments?proposed=true")).await? {
        let path = unit.path(&format!("/assignments/{}/confirm", text(&assignment, "assignment_id")?));
        unit.manager.post(&path, &json!({})).await?;
        if text(&assignment, "troop_id")? != unsigned {
            let signed = json!({
                "requirement": "agreement", "person_id": text(&assignment, "person_id")?, "outcome": "met",
                "observed_on": zero, "note": "Signed at the kick-off evening.",
            });
            unit.manager.post(&unit.path("/evidence"), &signed).await?;
        }
    }
    Ok(())
}

/// Three coordinators get a sign-in.
async fn invite_coordinators(server: &Server, unit: &Unit, sign_ins: &mut Vec<SignIn>) -> Result<Vec<Caller>, String> {
    let mut callers = Vec::new();
    for (name, troop, email) in COORDINATORS_WHO_SIGN_IN {
        let person = text(&lead(unit, troop).await?, "person_id")?.to_owned();
        let who = format!("coordinator of troop {troop}");
        let who = Who { name, what: &who, email };
        callers.push(sign_in(server, &invite(unit, &person).await?, who, sign_ins).await?);
    }
    Ok(callers)
}

pub async fn troop_id(unit: &Unit, number: &str) -> Result<String, String> {
    let troops = unit.manager.all(&unit.path("/troops")).await?;
    Ok(text(numbered(&troops, number)?, "troop_id")?.to_owned())
}

/// The lead of a troop, as its standing tells.
pub async fn lead(unit: &Unit, troop: &str) -> Result<Value, String> {
    let answer = unit.manager.get(&unit.path(&format!("/standings/{}", troop_id(unit, troop).await?))).await?;
    let coordinators = answer.pointer("/standing/coordinators").and_then(Value::as_array).cloned().unwrap_or_default();
    coordinators
        .into_iter()
        .find(|c| c.get("lead") == Some(&Value::Bool(true)))
        .ok_or_else(|| format!("troop {troop} has no lead"))
}

async fn decide(unit: &Unit, troop: &str, act: &str, reason: &str) -> Result<(), String> {
    let assignment = text(&lead(unit, troop).await?, "assignment_id")?.to_owned();
    unit.manager
        .post(&unit.path(&format!("/assignments/{assignment}/{act}")), &json!({"reason": reason}))
        .await
        .map(|_| ())
}

async fn troop_decision(unit: &Unit, troop: &str, act: &str, reason: &str) -> Result<(), String> {
    let path = unit.path(&format!("/troops/{}/{act}", troop_id(unit, troop).await?));
    unit.manager.post(&path, &json!({"reason": reason})).await.map(|_| ())
}
