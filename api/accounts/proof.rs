//! Proving that it is the account's owner who asks: tries are counted before they are looked at, and a signed-in person is
//! asked for the password once more before what would lock the owner out.

use secrecy::SecretString;

use super::{rules, sql};
use crate::auth::password::Verdict;
use crate::auth::{Pause, SignedIn, Tx, token};
use crate::common::ids::{AccountId, SessionId};
use crate::common::text::hex;
use crate::error::{ApiError, Code};
use crate::server::run::Surroundings;

/// Under which two names a try is counted: the account's, by a digest of the address typed in, known or not, so that both
/// behave alike; and the sender's.
pub(super) struct Tried {
    pub account: String,
    pub sender: String,
}

impl Tried {
    pub(super) fn of(email_key: &str, sender: &str) -> Self {
        let digest = hex(&token::digest(email_key));
        Self { account: format!("account:{digest}"), sender: format!("address:{sender}") }
    }
}

/// Counts a try as failed before the password is looked at, so that parallel tries and a crash cannot win any; a right
/// password takes it back (`sql::clear_failures`).
pub(super) async fn count_try(tx: &mut Tx, tried: &Tried) -> Result<(), ApiError> {
    let now = tx.real_now();
    let by_account = sql::lock_failures(tx, &tried.account).await?;
    let by_sender = sql::lock_failures(tx, &tried.sender).await?;
    let wait = rules::account_wait(by_account, now).max(rules::address_wait(by_sender, now));
    if let Some(seconds) = wait {
        return Err(ApiError::new(Code::SignInDelayed).retry_after(seconds));
    }
    sql::keep_failures(tx, &tried.account, rules::one_more(by_account, now, rules::ACCOUNT_WINDOW)).await?;
    sql::keep_failures(tx, &tried.sender, rules::one_more(by_sender, now, rules::ADDRESS_WINDOW)).await
}

/// Whoever asks, with what is known of the account.
pub(super) struct Asking {
    pub account: AccountId,
    pub session: SessionId,
    pub email: String,
    phc: Option<String>,
}

/// The owner, proven, while no transaction is open.
pub(super) struct Proven {
    pause: Pause,
    account: AccountId,
    session: SessionId,
    phc: Option<String>,
    tried: Tried,
}

/// Reads the account of a person (never a key) who asks, and answers a repeated request.
pub(super) async fn asking(signed_in: &SignedIn) -> Result<(Tx, Asking), ApiError> {
    let session = signed_in.session()?;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    tx.replay().await?;
    let (email, phc) = sql::account_for_proof(&mut tx, account).await?.ok_or(Code::NotSignedIn)?;
    Ok((tx, Asking { account, session, email, phc }))
}

/// Asks for the password. A wrong one counts like a failed sign-in.
pub(super) async fn password(
    mut tx: Tx,
    asking: Asking,
    signed_in: &SignedIn,
    around: &Surroundings,
    password: SecretString,
) -> Result<Proven, ApiError> {
    let tried = Tried::of(&rules::email_key(&asking.email), &signed_in.origin().address);
    count_try(&mut tx, &tried).await?;
    let pause = tx.pause().await?;
    match around.passwords.verify(password, asking.phc.clone()).await? {
        Verdict::Wrong => Err(Code::ProofWrong.into()),
        // The better hash is kept at the next sign-in.
        Verdict::Right | Verdict::RightRehashed(_) => {
            let Asking { account, session, phc, .. } = asking;
            Ok(Proven { pause, account, session, phc, tried })
        }
    }
}

impl Proven {
    /// Goes on in another transaction, unless the sign-in ended or the password was changed meanwhile. The account is locked in
    /// it.
    pub(super) async fn go_on(self, around: &Surroundings) -> Result<Tx, ApiError> {
        let Self { pause, account, session, phc, tried } = self;
        let mut tx = pause.over(&around.system).await?;
        if sql::lock_password(&mut tx, account).await?.ok_or(Code::NotSignedIn)? != phc {
            return Err(Code::ProofWrong.into());
        }
        if !sql::lock_session(&mut tx, account, session).await? {
            return Err(Code::NotSignedIn.into());
        }
        tx.replay().await?;
        sql::clear_failures(&mut tx, &tried.account, &tried.sender).await?;
        Ok(tx)
    }
}
