//! Prove once more that it is you who uses a session, for what asks for that (`x-stepup`).

use actix_web::post;
use chrono::{DateTime, Utc};
use garde::Validate;
use secrecy::SecretString;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{proof, second_factor, sql};
use crate::auth::SignedIn;
use crate::auth::actor::PROOF_LASTS;
use crate::common::answer::Answer;
use crate::common::body::Json;
use crate::error::{ApiError, Code, FieldError, Problems};
use crate::server::run::Around;

/// The password or a code: one of the two.
#[derive(Deserialize, Validate, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"password": "four words in a row"}))]
pub struct GivenProof {
    /// Your password.
    #[garde(skip)]
    #[serde(default)]
    #[schema(value_type = Option<String>, format = Password, min_length = 1, max_length = 512)]
    password: Option<SecretString>,
    /// The code of your second factor: the six figures that the app shows, or a recovery code.
    #[garde(length(min = 1, max = 60))]
    #[serde(default)]
    #[schema(min_length = 1, max_length = 60)]
    code: Option<String>,
}

/// A session whose owner has proved to be it.
#[derive(Debug, Serialize, ToSchema)]
pub struct ConfirmedSession {
    /// Until when what asks for it is done without asking again.
    pub proven_until: DateTime<Utc>,
}

/// Confirm that it is you: with your password, or with a code of your second factor.
///
/// A few operations weigh so much (roles, keys, erasing a person; `x-stepup` in this document) that they ask for it when the last
/// time lies more than ten minutes back. Signing in counts too.
#[utoipa::path(tag = "accounts", request_body = GivenProof, extensions(("x-permission" = json!("signed_in"))), responses((status = 200, description = "It is confirmed.", body = ConfirmedSession), Problems))]
#[post("/v1/sessions/current/confirm")]
pub async fn confirm_session(
    signed_in: SignedIn,
    around: Around,
    body: Json<GivenProof>,
) -> Result<Answer<ConfirmedSession>, ApiError> {
    let session = signed_in.session()?;
    let mut tx = match (body.0.password, body.0.code) {
        (Some(password), None) => {
            let (tx, asking) = proof::asking(&signed_in).await?;
            proof::password(tx, asking, &signed_in, &around, password).await?.go_on(&around).await?
        }
        (None, Some(code)) => second_factor::ask(&signed_in, &around, &code, true).await?,
        _ => {
            let why = "either the password or a code of the second factor, and not both";
            return Err(ApiError::new(Code::Invalid).errors(vec![FieldError::at("/password", "one_of_two", why)]));
        }
    };
    sql::prove_session(&mut tx, session).await?;
    let proven_until = tx.real_now() + PROOF_LASTS;
    tx.about("session", session);
    tx.commit_with(Answer::new(&ConfirmedSession { proven_until })?).await
}
