//! Day 0: the administrator makes the unit, the manager its season, its troops and its helpers.

use std::path::Path;

use chrono::NaiveDate;
use serde_json::{Value, json};
use tokio::process::Command;

use crate::client::{Caller, Server, text};
use crate::days::day;
use crate::people::{Holder, MANAGER, OTHER_UNIT, TROOPS};
use crate::sign_ins::{SignIn, password};

/// The unit as it is being filled.
pub struct Unit {
    pub id: String,
    pub manager: Caller,
}

impl Unit {
    /// A path of this unit.
    pub fn path(&self, rest: &str) -> String {
        format!("/v1/units/{}{rest}", self.id)
    }
}

/// Runs a command of the server's own program, which finds its settings in the environment as the server did.
pub async fn program(program: &Path, arguments: &[&str]) -> Result<String, String> {
    let output =
        Command::new(program).args(arguments).output().await.map_err(|e| format!("{}: {e}", program.display()))?;
    if output.status.success() {
        Ok(String::from_utf8_lossy(&output.stdout).trim().to_owned())
    } else {
        Err(String::from_utf8_lossy(&output.stderr).trim().to_owned())
    }
}

/// Accepts an invitation and remembers the sign-in.
pub async fn sign_in(server: &Server, link: &str, who: Who<'_>, all: &mut Vec<SignIn>) -> Result<Caller, String> {
    let password = password();
    let caller = server.accept(link, &password).await?;
    all.push(SignIn { name: who.name, who: who.what.to_owned(), email: who.email.to_owned(), password });
    Ok(caller)
}

/// Who signs in.
pub struct Who<'a> {
    /// A short name, for the shell.
    pub name: &'static str,
    /// What they are here.
    pub what: &'a str,
    pub email: &'a str,
}

/// The administrator, the unit with its manager, and another unit beside it.
pub async fn unit(server: &Server, path: &Path, all: &mut Vec<SignIn>) -> Result<(String, Caller), String> {
    let email = "administrator@example.org";
    let link = program(path, &["account", "first-administrator", "--email", email]).await?;
    let who = Who { name: "ADMINISTRATOR", what: "server's administrator", email };
    let administrator = sign_in(server, &link, who, all).await?;
    let unit = make(server, &administrator, ("Juniper Ridge", &MANAGER, "unit manager"), all).await?;
    make(server, &administrator, (OTHER_UNIT.0, &OTHER_UNIT.1, "manager of another unit"), all).await?;
    Ok(unit)
}

async fn make(
    server: &Server,
    administrator: &Caller,
    (name, manager, what): (&str, &Holder, &str),
    all: &mut Vec<SignIn>,
) -> Result<(String, Caller), String> {
    let Holder { first_name, last_name, email, .. } = manager;
    let body = json!({"name": name, "manager": {"first_name": first_name, "last_name": last_name, "email": email}});
    let made = administrator.post("/v1/units", &body).await?;
    let who = Who { name: manager.name, what, email };
    let caller = sign_in(server, text(&made, "invitation_link")?, who, all).await?;
    Ok((text(&made, "unit_id")?.to_owned(), caller))
}

/// The season, with its milestones dated so that day 24 is in mid-work.
pub async fn season(unit: &str, manager: &Caller, zero: NaiveDate) -> Result<(), String> {
    let season = manager
        .post(
            &format!("/v1/units/{unit}/seasons"),
            &json!({"label": "This season", "time_zone": "America/Chicago", "currency": "USD", "starts_on": day(zero, -10), "ends_on": day(zero, 150)}),
        )
        .await?;
    let season = text(&season, "season_id")?.to_owned();
    let path = format!("/v1/units/{unit}/seasons/{season}/milestones");
    let dates = [
        ("kits_out", 15),
        ("return_due", 31),
        ("opening_orders_due", 36),
        ("web_sale_opens", 44),
        ("sale_opens", 51),
        ("youth_count_fixed", 60),
        ("delivery_day", 72),
        ("first_payment", 90),
        ("last_exchange", 100),
        ("sale_closes", 105),
        ("final_payment", 115),
        ("items_due", 130),
        ("close_out_due", 145),
    ];
    let dates = dates.map(|(code, offset)| json!({"code": code, "on_day": day(zero, offset)}));
    manager.post(&format!("{path}/dates"), &json!({"milestones": dates})).await.map(|_| ())
}

/// The 24 troops.
pub async fn troops(unit: &Unit) -> Result<(), String> {
    for troop in &TROOPS {
        let body = json!({
            "number": troop.number, "age_band": troop.age_band, "selling_youths": troop.youths,
            "first_season": troop.first_season, "meeting_place": troop.meets,
        });
        unit.manager.post(&unit.path("/troops"), &body).await?;
    }
    Ok(())
}

/// The troop with this number.
pub fn numbered<'a>(troops: &'a [Value], number: &str) -> Result<&'a Value, String> {
    let fits = |troop: &&Value| troop.get("number").and_then(Value::as_str) == Some(number);
    troops.iter().find(fits).ok_or_else(|| format!("no troop {number}"))
}
