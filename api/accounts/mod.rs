//! Accounts: who can sign in to this server.
//!
//! An account begins with an invitation, which is bound to a person of a unit (or to the first administrator) and never
//! to an e-mail address. Accepting it sets the password; nobody starts with one and nobody chooses another's. Signing in
//! gives an access token of ten minutes and a refresh token that works once; a refresh token used twice ends the session,
//! since one of the two users is a thief. A reset link ends every session. A sign-in
//! link opens one for whoever answers for little, and proves nothing. Keys for scripts do what they were given by name.
//!
//! Whoever is signed in sees the own sessions and ends them, and changes the password or the address after giving the password
//! once more; a new address counts once the link that went to it is used. What ends (a session, a password, an address) takes
//! every open link to the account along.
//!
//! Invariants: only digests of secrets are kept; unknown, disabled and wrong sign-ins look and take the same; failed
//! tries are delayed per account and per address, in the database.

mod accept_invitation;
mod accept_reset;
mod accept_sign_in_link;
mod ask_for_link;
mod change_email;
mod change_password;
mod codes;
pub mod command_line;
mod confirm_session;
mod invite;
mod keys;
mod me;
mod one_person;
mod proof;
mod refresh;
mod rules;
mod second_factor;
mod sessions;
mod sign_in;
mod sign_out;
mod sql;

pub use ask_for_link::{answer_link_requests, forget_link_requests};
pub use invite::{Invitation, invite};
pub use rules::{email_fault, email_key};
pub use sql::{address_of_another, has_account, void_invitations};

use utoipa_actix_web::service_config::ServiceConfig;

use crate::Feature;

/// The feature's value.
#[must_use]
pub const fn feature() -> Feature {
    Feature::new("accounts", "Sign in and out, accept an invitation, reset a password, keys for scripts.", routes)
        .merging_people(one_person::follow)
        .erasing(&[one_person::ERASER])
}

fn routes(config: &mut ServiceConfig<'_>) {
    config
        .service(sign_in::sign_in)
        .service(refresh::refresh_session)
        .service(sign_out::sign_out)
        .service(confirm_session::confirm_session)
        .service(sessions::list_sessions)
        .service(sessions::end_session)
        .service(sessions::end_all_sessions)
        .service(accept_invitation::accept_invitation)
        .service(accept_invitation::join_unit)
        .service(accept_reset::accept_reset)
        .service(accept_sign_in_link::accept_sign_in_link)
        .service(ask_for_link::ask_for_reset)
        .service(ask_for_link::ask_for_sign_in_link)
        .service(change_password::change_password)
        .service(change_email::change_email)
        .service(change_email::accept_email)
        .service(second_factor::begin_second_factor)
        .service(second_factor::confirm_second_factor)
        .service(second_factor::renew_recovery_codes)
        .service(second_factor::remove_second_factor)
        .service(me::read_me)
        .service(keys::make_key)
        .service(keys::list_keys)
        .service(keys::revoke_key);
}
