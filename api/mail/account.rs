//! The server's mail to its accounts: links that open them. These are nobody's to word: an account belongs to no unit.

use chrono::{DateTime, TimeDelta, Utc};
use uuid::Uuid;

use super::outcome::Claimed;
use super::sql;
use super::write::{LINK, seal_link};
use crate::auth::Tx;
use crate::auth::seal::Seal;
use crate::common::ids::AccountId;
use crate::error::ApiError;

/// What the server writes to an account for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AccountMail {
    /// A link for a new password.
    PasswordReset,
    /// A link that signs in once.
    SignInLink,
    /// A link that confirms a new address, to the new one.
    EmailChange,
    /// A word to the address that is used so far that another one was asked for.
    EmailChanging,
}

impl AccountMail {
    /// Its lasting word.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::PasswordReset => "password_reset",
            Self::SignInLink => "sign_in_link",
            Self::EmailChange => "email_change",
            Self::EmailChanging => "email_changing",
        }
    }

    /// The one with this word.
    #[must_use]
    pub fn of(word: &str) -> Option<Self> {
        let all = [Self::PasswordReset, Self::SignInLink, Self::EmailChange, Self::EmailChanging];
        all.into_iter().find(|kind| kind.word() == word)
    }

    const fn subject(self) -> &'static str {
        match self {
            Self::PasswordReset => "A new password",
            Self::SignInLink => "Your link to sign in",
            Self::EmailChange => "Please confirm this address",
            Self::EmailChanging => "Another address was asked for",
        }
    }

    const fn text(self) -> &'static str {
        match self {
            Self::PasswordReset => {
                "Hello,\n\nsomebody asked for a new password for the account with this address. If that was you, open this link and choose one:\n\n\u{E000}\n\nIt works once, for 30 minutes. If it was not you, do nothing: your password stays as it is. If such messages keep coming, tell your unit manager.\n"
            }
            Self::SignInLink => {
                "Hello,\n\nsomebody asked to sign in with this address. If that was you, open this link:\n\n\u{E000}\n\nIt works once, for 15 minutes. If it was not you, do nothing: nobody is signed in without the link. Please do not pass it on.\n"
            }
            Self::EmailChange => {
                "Hello,\n\nsomebody wishes to sign in with this address from now on. If that was you, open this link and confirm it:\n\n\u{E000}\n\nIt works once, for 24 hours. If it was not you, do nothing: nothing changes.\n"
            }
            Self::EmailChanging => {
                "Hello,\n\nsomebody who knows your password asked that the account with this address be moved to another one. If that was you, nothing is left to do here.\n\nIf it was not you, choose a new password now (ask for a link to reset it where you sign in), and tell whoever runs this server.\n"
            }
        }
    }
}

/// Writes a message to an account, in the transaction of its cause.
///
/// # Errors
/// Database faults.
pub async fn write(
    tx: &mut Tx,
    seal: &Seal,
    account: AccountId,
    (kind, to): (AccountMail, &str),
    (link, useless_at): (Option<&str>, DateTime<Utc>),
) -> Result<(), ApiError> {
    let id = Uuid::now_v7();
    let sealed = seal_link(seal, link, &id)?;
    sql::account::insert(tx, (id, account), (kind.word(), to), sealed.as_deref(), useless_at).await
}

/// Forgets what ended more than thirty days ago (R45).
///
/// # Errors
/// Database faults.
pub async fn forget(tx: &mut Tx) -> Result<(), ApiError> {
    let before = tx.real_now() - TimeDelta::days(30);
    sql::account::forget(tx, before).await
}

/// What the worker sends of it.
pub(super) fn letter(row: sql::account::AccountClaimed) -> Claimed {
    let kind = AccountMail::of(&row.kind);
    Claimed {
        id: row.id,
        to: row.to,
        subject: kind.map_or_else(String::new, |kind| kind.subject().to_owned()),
        // A kind that this program does not know has a text that cannot be sent: it is given up, visibly.
        body: kind.map_or_else(|| LINK.to_string(), |kind| kind.text().to_owned()),
        language: "en".to_owned(),
        link_sealed: row.link_sealed,
        queued_at: row.queued_at,
        useless_at: Some(row.useless_at),
        attempts: row.attempts,
    }
}
