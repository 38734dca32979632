//! The second factor of an account: begun, confirmed by its first code, asked for at every sign-in, taken away.
//!
//! Administrators, unit managers and overseers must have one (a setting relaxes that): until they do, they can set one up and
//! sign out, and nothing else (`auth::arrive`).

use actix_web::post;
use garde::Validate;
use secrecy::{ExposeSecret as _, SecretString};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::sql::second_factor as sql;
use super::{codes, proof, sql as accounts};
use crate::auth::{SignedIn, Tx, token};
use crate::common::answer::{Answer, Created};
use crate::common::body::Json;
use crate::common::ids::AccountId;
use crate::common::short_text::ShortText;
use crate::error::{ApiError, Code, Problems};
use crate::server::run::{Around, Surroundings};

/// What a code was worth.
enum Worth {
    Right,
    Wrong,
    Wait(u32),
}

/// Looks at a code of this account, whose second factor is locked by `row`.
async fn weigh(
    tx: &mut Tx,
    around: &Surroundings,
    account: AccountId,
    row: &sql::FactorRow,
    code: &str,
) -> Result<Worth, ApiError> {
    let now = tx.real_now();
    if let Some(seconds) = codes::wait(row.failures, row.last_failed_at, now) {
        return Ok(Worth::Wait(seconds));
    }
    let seed = around.seal.open(&row.secret_sealed, &account.to_string());
    if seed.is_none() {
        tracing::warn!(%account, "a second factor was sealed with another key: only recovery codes open it");
    }
    let step = seed.and_then(|seed| codes::step(seed.expose_secret(), code, now, row.last_step));
    let digest = token::digest(&codes::plain(code));
    if step.is_some() || (row.confirmed_at.is_some() && sql::use_recovery(tx, account, &digest).await?) {
        sql::take(tx, account, step).await?;
        return Ok(Worth::Right);
    }
    sql::count_failure(tx, account).await?;
    Ok(Worth::Wrong)
}

/// Lets a code count, or commits that it was wrong and refuses it as `refusal` says.
async fn judge(tx: Tx, worth: Worth, refusal: ApiError) -> Result<Tx, ApiError> {
    match worth {
        Worth::Right => Ok(tx),
        Worth::Wrong => {
            tx.commit_unlogged().await?;
            Err(refusal)
        }
        Worth::Wait(seconds) => Err(ApiError::new(Code::SignInDelayed).retry_after(seconds).detail(
            "Several codes were wrong. Wait as long as Retry-After says, then send the code that the app shows at that moment; look whether the phone's clock is right.",
        )),
    }
}

/// Asks for the second factor of an account that has one, once the password was right or the link was good.
pub(super) async fn pass(
    mut tx: Tx,
    around: &Surroundings,
    account: AccountId,
    code: Option<&str>,
) -> Result<Tx, ApiError> {
    let row = sql::lock(&mut tx, account).await?.filter(|row| row.confirmed_at.is_some());
    let Some(row) = row else { return Ok(tx) };
    let Some(code) = code else {
        // The password was right: what was counted against it is taken back, so that the code may follow at once.
        tx.commit_unlogged().await?;
        return Err(Code::SecondFactorNeeded.into());
    };
    let worth = weigh(&mut tx, around, account, &row, code).await?;
    judge(tx, worth, Code::CodeWrong.into()).await
}

/// A code.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"code": "287082"}))]
pub struct GivenCode {
    /// The six figures that the app shows, or one of your recovery codes.
    #[garde(length(min = 1, max = 60))]
    #[schema(min_length = 1, max_length = 60)]
    code: String,
}

/// Asks a signed-in person for a code of the second factor.
pub(super) async fn ask(
    signed_in: &SignedIn,
    around: &Surroundings,
    code: &str,
    confirmed: bool,
) -> Result<Tx, ApiError> {
    signed_in.session()?;
    let account = signed_in.actor().entered.account_id;
    let mut tx = signed_in.tx()?;
    tx.replay().await?;
    let row = match sql::lock(&mut tx, account).await? {
        Some(row) if row.confirmed_at.is_some() == confirmed => row,
        Some(_) if !confirmed => return Err(Code::SecondFactorOn.into()),
        _ => {
            return Err(ApiError::new(Code::WrongState)
                .detail("There is no second factor that waits for this. Begin with begin_second_factor."));
        }
    };
    let worth = weigh(&mut tx, around, account, &row, code).await?;
    let refusal = ApiError::new(Code::ProofWrong).detail(
        "This code is not right, so nothing was done; you stay signed in. Send the six figures that the app shows now (each counts once), or a recovery code; look whether the phone's clock is right.",
    );
    judge(tx, worth, refusal).await
}

/// The password.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"password": "four words in a row"}))]
pub struct GivenPassword {
    /// Your password.
    #[garde(skip)]
    #[schema(value_type = String, format = Password, min_length = 1, max_length = 512)]
    password: SecretString,
}

/// A second factor that waits for its first code.
#[derive(Debug, Serialize, ToSchema)]
pub struct BegunSecondFactor {
    /// Type this into an authenticator app (six figures, half a minute, SHA-1), if it cannot read the address below. Shown
    /// once.
    #[schema(max_length = 100)]
    pub secret: String,
    /// The same as an address: shown as a square of dots, the app's camera reads it. Shown once.
    #[schema(max_length = 1000)]
    pub otpauth_uri: String,
}

/// Begin to set up a second factor: a code of six figures from an app on your phone.
///
/// Nobody is asked for a code until `confirm_second_factor` was sent the first one. Begun again, the older secret is void.
#[utoipa::path(tag = "accounts", request_body = GivenPassword, extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 201, description = "It waits for its first code.", body = BegunSecondFactor), Problems))]
#[post("/v1/me/second-factor")]
pub async fn begin_second_factor(
    signed_in: SignedIn,
    around: Around,
    body: Json<GivenPassword>,
) -> Result<Created<BegunSecondFactor>, ApiError> {
    let (mut tx, asking) = proof::asking(&signed_in).await?;
    let (account, email) = (asking.account, asking.email.clone());
    none_yet(&mut tx, account).await?;
    let proven = proof::password(tx, asking, &signed_in, &around, body.0.password).await?;
    let mut tx = proven.go_on(&around).await?;
    none_yet(&mut tx, account).await?;
    let seed: [u8; 20] = token::chance();
    let sealed = around.seal.close(&seed, &account.to_string());
    let (sealed, told) =
        sealed.zip(codes::told(&seed, &email)).ok_or_else(|| ApiError::broken("a seed that is none"))?;
    sql::begin(&mut tx, account, &sealed).await?;
    tx.about("account", account);
    let begun = BegunSecondFactor { secret: told.secret, otpauth_uri: told.otpauth_uri };
    tx.commit_with_secret(Created::new(&begun)?.location("/v1/me")).await
}

/// Refuses where the second factor is on.
async fn none_yet(tx: &mut Tx, account: AccountId) -> Result<(), ApiError> {
    let on = sql::lock(tx, account).await?.is_some_and(|row| row.confirmed_at.is_some());
    if on { Err(Code::SecondFactorOn.into()) } else { Ok(()) }
}

/// Codes for the day on which the phone is lost.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = MadeRecoveryCodes)]
pub struct RecoveryCodes {
    /// Each opens once, in place of the app's code. Write them down and keep them apart from the phone: they are shown this
    /// once.
    #[schema(min_items = 10, max_items = 10, value_type = Vec<ShortText>)]
    pub recovery_codes: Vec<String>,
}

/// Makes new recovery codes in place of the older ones.
async fn new_codes(tx: &mut Tx, account: AccountId) -> Result<RecoveryCodes, ApiError> {
    let made: Vec<String> = (0..codes::RECOVERY_CODES).map(|_| codes::recovery_code(token::chance())).collect();
    let digests: Vec<Vec<u8>> = made.iter().map(|code| token::digest(&codes::plain(code))).collect();
    sql::replace_recovery(tx, account, &digests).await?;
    Ok(RecoveryCodes { recovery_codes: made })
}

/// Confirm the second factor with the first code that the app shows: from then on every sign-in asks for one.
///
/// The answer has ten recovery codes, shown this once. Your other sessions end.
#[utoipa::path(tag = "accounts", request_body = GivenCode, extensions(("x-permission" = json!("signed_in")), ("x-without-second-factor" = json!(true))), responses((status = 200, description = "It is on; keep the recovery codes.", body = RecoveryCodes), Problems))]
#[post("/v1/me/second-factor/confirm")]
pub async fn confirm_second_factor(
    signed_in: SignedIn,
    around: Around,
    body: Json<GivenCode>,
) -> Result<Answer<RecoveryCodes>, ApiError> {
    let account = signed_in.actor().entered.account_id;
    let mut tx = ask(&signed_in, &around, &body.0.code, false).await?;
    let codes = new_codes(&mut tx, account).await?;
    let keep = Some(signed_in.session()?);
    accounts::end_sessions(&mut tx, account, keep, "second_factor_changed").await?;
    tx.about("account", account);
    tx.commit_with_secret(Answer::new(&codes)?).await
}

/// Make ten new recovery codes; the older ones are void.
#[utoipa::path(tag = "accounts", request_body = GivenCode, extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "The new recovery codes.", body = RecoveryCodes), Problems))]
#[post("/v1/me/second-factor/recovery-codes")]
pub async fn renew_recovery_codes(
    signed_in: SignedIn,
    around: Around,
    body: Json<GivenCode>,
) -> Result<Answer<RecoveryCodes>, ApiError> {
    let account = signed_in.actor().entered.account_id;
    let mut tx = ask(&signed_in, &around, &body.0.code, true).await?;
    let codes = new_codes(&mut tx, account).await?;
    tx.about("account", account);
    tx.commit_with_secret(Answer::new(&codes)?).await
}

/// A second factor that was taken away.
#[derive(Debug, Serialize, ToSchema)]
pub struct RemovedSecondFactor {
    /// How many other sessions ended with it.
    pub ended_sessions: u64,
}

/// Take the second factor away, with a last code of it: to set up another phone, begin anew afterwards.
///
/// Your other sessions end, and the recovery codes are void. Whoever must have a second factor can do nothing else until there
/// is one again.
#[utoipa::path(tag = "accounts", request_body = GivenCode, extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "It is off.", body = RemovedSecondFactor), Problems))]
#[post("/v1/me/second-factor/remove")]
pub async fn remove_second_factor(
    signed_in: SignedIn,
    around: Around,
    body: Json<GivenCode>,
) -> Result<Answer<RemovedSecondFactor>, ApiError> {
    let account = signed_in.actor().entered.account_id;
    let mut tx = ask(&signed_in, &around, &body.0.code, true).await?;
    sql::remove(&mut tx, account).await?;
    let keep = Some(signed_in.session()?);
    let ended_sessions = accounts::end_sessions(&mut tx, account, keep, "second_factor_changed").await?;
    tx.about("account", account);
    tx.commit_with(Answer::new(&RemovedSecondFactor { ended_sessions })?).await
}
