//! Mail: what the unit writes to its people, and the links that the server sends to its accounts.
//!
//! A message is rendered once, from the unit's own wording or the shipped one, and kept as it will be sent; it is written in
//! the transaction of its cause. It goes `draft` -> `waiting` -> `sending` -> `sent`, or ends as `given_up` or `discarded`. In a unit
//! that sends nothing (no mail server, or not switched on) every message stays a draft, to be sent by hand. A worker hands
//! over what waits, with the same Message-ID however often it must try: a message is never lost, and a second copy is one that
//! the mail server can tell.
//!
//! Secrets (the links that open an account) are sealed beside the text until the message has ended, and never listed.

pub mod account;
mod change_template;
mod compose;
mod end_message;
mod find_message;
mod grammar;
mod kinds;
mod list_messages;
mod list_templates;
mod needs;
mod outcome;
mod send_message;
mod settings;
mod shipped;
mod sql;
mod texts;
mod tick;
mod transport;
pub mod worker;
mod write;

pub use change_template::{wording, wording_language};
pub use kinds::Kind;
pub use settings::{MailPath, is_language};
pub use shipped::Wording;
pub use texts::{day, instant};
pub use transport::{Security, Transport, Transports};
pub use write::{
    NewMessage, Recipient, Rendered, SecretLink, Written, html, language_of, preview, write, written_since,
};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("mail", "What is written to people, how it is worded, and what became of it.", routes)
        .every_minute(tick::tick)
        .with_needs(needs::look)
        .merging_people(sql::people::follow)
        .erasing(&[sql::people::ERASER])
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(settings::find_mail_settings)
        .service(settings::change_mail_settings)
        .service(list_messages::list_messages)
        .service(find_message::find_message)
        .service(send_message::send_message)
        .service(end_message::discard_message)
        .service(end_message::mark_message_sent)
        .service(end_message::mark_message_bounced)
        .service(list_templates::list_mail_templates)
        .service(change_template::change_mail_template)
        .service(change_template::restore_mail_template);
}
