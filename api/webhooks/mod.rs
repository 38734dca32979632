//! Webhooks: programs outside that are told what is done in the unit, by the Standard Webhooks specification.
//!
//! The unit manager names an address and what it is told; the overseer reads along. What is told is ids only, signed with a
//! secret that is shown once. Deliveries derive from the unit's log (`worker.rs`): each is made once and sent until it is taken,
//! eight times at most, always with the same id; a receiver that has seen the id does nothing again.
//!
//! Invariants: nothing is sent to a private or special network, and what a name stood for when it was checked is what is
//! connected to; no redirect is followed; nothing of an answer is kept. An address where nobody is, or where nothing arrived for
//! five days, is told nothing more until a person says so, and `list_needs` asks for one.

mod address;
mod change;
mod deliveries;
mod end;
mod find;
mod list;
mod make;
mod needs;
mod resend;
mod resume;
mod rotate;
mod rules;
mod send;
mod sign;
mod sql;
mod trial;
mod worker;

pub use address::AddressRules;
pub use send::{Found, Patience, Resolve};
pub use worker::Worker;

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;
use crate::auth::Tx;
use crate::common::ids::{UnitId, WebhookId};
use crate::error::{ApiError, Code, FieldError};
use crate::events::ACTIONS;
use crate::server::run::Around;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("webhooks", "Programs outside that are told what is done in the unit.", routes)
        .every_minute(|system, unit| Box::pin(worker::forget(system, unit)))
        .with_needs(|tx, asked| Box::pin(needs::look(tx, asked)))
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(make::make_webhook)
        .service(list::list_webhooks)
        .service(find::find_webhook)
        .service(change::change_webhook)
        .service(rotate::rotate_webhook_secret)
        .service(trial::test_webhook)
        .service(resume::resume_webhook)
        .service(end::end_webhook)
        .service(deliveries::list_webhook_deliveries)
        .service(resend::resend_webhook_delivery);
}

/// For whom a secret is sealed.
fn owner_of(unit: UnitId, webhook: WebhookId) -> String {
    format!("webhook {unit} {webhook}")
}

/// What is wrong with an address and with a choice of actions.
async fn faults(
    tx: &mut Tx,
    around: &Around,
    address: Option<&str>,
    actions: Option<&[String]>,
) -> Result<(), ApiError> {
    let mut rules = around.webhooks.clone();
    rules.loopback &= sql::is_demo(tx).await?;
    let address = address.and_then(|text| rules.target(text).err());
    let mut faults: Vec<FieldError> =
        address.map(|right| FieldError::at("/address", "not_allowed", right)).into_iter().collect();
    for (place, action) in actions.into_iter().flatten().enumerate() {
        if !ACTIONS.iter().any(|(_, actions)| actions.contains(&&**action)) {
            let pointer = format!("/actions/{place}");
            let right =
                "an action that can be told, such as standing_changed or file_return; leave all out to be told of each";
            faults.push(FieldError::at(pointer, "unknown", right));
        }
    }
    if faults.is_empty() { Ok(()) } else { Err(ApiError::new(Code::Invalid).errors(faults)) }
}
