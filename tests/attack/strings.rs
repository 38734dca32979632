//! R19: no value in any place of any request makes the program fall over, and each refusal is a problem as documented.
//!
//! Every answer passes the promise check of the harness on its way (status, content type, every key of the body, nothing of
//! the inside); here also: nothing above 499, and no header field that what was sent could have made.

use reqwest::Method;
use serde_json::Value;

use crate::aim::{Tally, chosen, dressed, insider, reads};
use crate::naughty::{Naughty, values};
use crate::objects::{self, Target};
use crate::operations::{OPERATIONS, Operation};
use crate::places::{Kind, places};
use crate::reset::Kept;
use crate::support::client::Answered;
use crate::support::scenario;
use crate::support::world::World;

/// Sends bodies to one operation, each to the world as it was.
struct Aimed<'a> {
    world: &'a World,
    operation: &'a Operation,
    path: String,
    etag: String,
    /// Whether something was changed since the world was as it was.
    changed: bool,
}

impl<'a> Aimed<'a> {
    fn at(world: &'a World, operation: &'a Operation) -> Self {
        let path = objects::path(operation, Target::Own).expect("a path");
        let path = format!("{path}{}", objects::query(operation));
        Self { world, operation, path, etag: "\"v1\"".to_owned(), changed: false }
    }

    async fn once(&mut self, tally: &mut Tally, what: &str, body: &str) -> Option<Answered> {
        let caller = insider(self.world, self.operation);
        let ask =
            |etag: &str| dressed(caller, self.operation, &self.path, etag).bytes("application/json", body.to_owned());
        let answer = tally.send(what, ask(&self.etag)).await?;
        if answer.status != 412 {
            return Some(answer);
        }
        // The refusal says which version there is now.
        answer.header("etag").clone_into(&mut self.etag);
        tally.send(what, ask(&self.etag)).await
    }

    /// Sends a body. Where a change before stands in its way, the world is given back first and the body sent again.
    async fn send(&mut self, tally: &mut Tally, kept: &mut Kept, what: &str, body: &str) -> Option<Answered> {
        let mut answer = self.once(tally, what, body).await;
        if self.changed && answer.as_ref().is_some_and(|answer| matches!(answer.status, 404 | 409)) {
            self.restore(kept).await;
            answer = self.once(tally, what, body).await;
        }
        if answer.as_ref().is_some_and(|answer| answer.status < 300) {
            self.changed = true;
            tally.reached.insert(self.operation.id.clone());
        }
        answer
    }

    async fn restore(&mut self, kept: &mut Kept) {
        kept.restore(self.world).await;
        "\"v1\"".clone_into(&mut self.etag);
        self.changed = false;
    }

    /// A body that is let through: the example as it stands, or with the fixture's ids in the places of ids.
    async fn base(&mut self, tally: &mut Tally, kept: &mut Kept) -> Option<Value> {
        let example = self.operation.json_example()?;
        let own = objects::body(self.operation, Target::Own)?;
        for body in [&own, &example] {
            let answer = self.send(tally, kept, &self.operation.id.clone(), &body.to_string()).await;
            if answer.is_some_and(|answer| answer.status < 300) {
                self.restore(kept).await;
                return Some(body.clone());
            }
        }
        Some(own)
    }
}

/// A part of the operations, so that several parts run at once.
const PARTS: usize = 4;

/// What is sent into every place of the bodies of one part of the operations.
fn bodies(part: usize) {
    scenario(async |world| {
        let mut kept = Kept::of(world).await;
        let (mut tally, values) = (Tally::default(), values());
        let with_body: Vec<&Operation> = OPERATIONS.iter().filter(|one| one.json_schema().is_some()).collect();
        assert!(with_body.len() >= 50, "{}", with_body.len());
        let (mut number, mut attacked, mut words) = (0, 0, 0);
        for operation in with_body.into_iter().skip(part).step_by(PARTS) {
            let mut aimed = Aimed::at(world, operation);
            let base = aimed.base(&mut tally, &mut kept).await.expect("an example");
            for place in places(operation, &base).into_iter().filter(|place| place.kind != Kind::Object) {
                number += 1;
                words += usize::from(place.kind == Kind::Text);
                for (entry, Naughty { json, .. }) in values.iter().enumerate() {
                    // A password is hashed for a tenth of a second before it is refused: those are tried more sparingly.
                    let sparing = place.name() == "password" && !entry.is_multiple_of(5);
                    if !chosen(number, entry) || sparing {
                        continue;
                    }
                    if operation.id == "sign_in" {
                        forget_failures(world).await;
                    }
                    let shown: String = json.chars().take(60).collect();
                    let what = format!("{} {} = {shown}", operation.id, place.pointer);
                    aimed.send(&mut tally, &mut kept, &what, &place.with(json)).await;
                    attacked += 1;
                }
            }
            if aimed.changed {
                aimed.restore(&mut kept).await;
            }
        }
        kept.remove().await;
        println!("part {part}: {number} places ({words} of words), {attacked} values put into them");
        println!("part {part}: reached its effect: {:?}", tally.reached);
        tally.conclude(&format!("bodies, part {part}"));
        assert!(tally.reached.len() >= 4, "nothing was reached: {:?}", tally.reached);
    });
}

/// Otherwise the eleventh try waits, whatever it says.
async fn forget_failures(world: &World) {
    sqlx::query("delete from sign_in_delay").execute(&mut world.owner().await).await.expect("nothing known");
}

#[test]
fn no_value_in_a_body_makes_it_fall_over_first_part() {
    bodies(0);
}

#[test]
fn no_value_in_a_body_makes_it_fall_over_second_part() {
    bodies(1);
}

#[test]
fn no_value_in_a_body_makes_it_fall_over_third_part() {
    bodies(2);
}

#[test]
fn no_value_in_a_body_makes_it_fall_over_fourth_part() {
    bodies(3);
}

/// The query of an operation with one parameter given or set anew.
fn with_parameter(operation: &Operation, name: &str, value: &str) -> String {
    let before = objects::query(operation);
    let others: Vec<&str> = before
        .trim_start_matches('?')
        .split('&')
        .filter(|pair| !pair.is_empty() && !pair.starts_with(&format!("{name}=")))
        .collect();
    let all: Vec<String> = others.iter().map(|pair| (*pair).to_owned()).chain([format!("{name}={value}")]).collect();
    format!("?{}", all.join("&"))
}

fn query_parameters(operation: &Operation) -> Vec<String> {
    let parameters = operation.value["parameters"].as_array().into_iter().flatten();
    parameters.filter(|one| one["in"] == "query").filter_map(|one| one["name"].as_str().map(str::to_owned)).collect()
}

#[test]
fn no_value_of_a_parameter_in_an_address_makes_it_fall_over() {
    scenario(async |world| {
        let mut kept = Kept::of(world).await;
        let (mut tally, values) = (Tally::default(), values());
        let mut number = 0;
        for operation in OPERATIONS.iter() {
            let path = objects::path(operation, Target::Own).expect("a path");
            let mut changed = false;
            for name in query_parameters(operation) {
                number += 1;
                for (entry, value) in values.iter().enumerate().filter(|(entry, _)| chosen(number, *entry)) {
                    let Some(value) = &value.address else { continue };
                    let address = format!("{path}{}", with_parameter(operation, &name, value));
                    let mut asked = dressed(insider(world, operation), operation, &address, "\"v1\"");
                    if let Some(body) = objects::body(operation, Target::Own) {
                        asked = asked.json(&body);
                    } else if let Some(kind) = operation.body_types().first() {
                        asked = asked.bytes(kind, format!("Troop,Received on\n0101,2040-01-0{}\n", entry % 9 + 1));
                    }
                    let shown: String = address.chars().take(200).collect();
                    let answer = tally.send(&format!("{} {shown}", operation.id), asked).await;
                    changed |= !reads(operation) && answer.is_some_and(|answer| answer.status < 300);
                }
            }
            if changed {
                kept.restore(world).await;
            }
        }
        kept.remove().await;
        assert!(number > 100, "{number}");
        tally.conclude(&format!("{number} parameters of queries"));
    });
}

#[test]
fn no_value_in_the_place_of_an_id_in_a_path_makes_it_fall_over() {
    scenario(async |world| {
        let mut kept = Kept::of(world).await;
        let (mut tally, values) = (Tally::default(), values());
        let (mut number, mut changed) = (0, false);
        for operation in OPERATIONS.iter() {
            for name in operation.path_parameters() {
                number += 1;
                for value in
                    values.iter().enumerate().filter(|(entry, _)| chosen(number, *entry)).map(|(_, value)| value)
                {
                    // Nothing in the place of an id is another address, and so is one that the client itself takes apart.
                    let Some(value) =
                        value.address.as_ref().filter(|value| !value.is_empty() && !value.contains(['#', '?']))
                    else {
                        continue;
                    };
                    let mut path = operation.pattern.clone();
                    for other in operation.path_parameters() {
                        let here = if other == name { value.clone() } else { own(operation, &other) };
                        path = path.replace(&format!("{{{other}}}"), &here);
                    }
                    let mut asked = dressed(insider(world, operation), operation, &path, "\"v1\"");
                    if let Some(body) = objects::body(operation, Target::Own) {
                        asked = asked.json(&body);
                    }
                    let answer = tally.send(&format!("{} {path}", operation.id), asked).await;
                    changed |= *operation.method.as_str() != *Method::GET.as_str()
                        && answer.is_some_and(|answer| answer.status < 300);
                }
            }
            if changed {
                kept.restore(world).await;
                changed = false;
            }
        }
        kept.remove().await;
        assert!(number > 100, "{number}");
        tally.conclude(&format!("{number} places in paths"));
    });
}

/// The own thing for a place in a path.
fn own(operation: &Operation, parameter: &str) -> String {
    let path = objects::path(operation, Target::Own).expect("a path");
    let (pattern, path): (Vec<&str>, Vec<&str>) = (operation.pattern.split('/').collect(), path.split('/').collect());
    let place = pattern.iter().position(|part| *part == format!("{{{parameter}}}")).expect("the place");
    path[place].to_owned()
}
