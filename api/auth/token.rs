//! Tokens: the short access token (a signed JWT), and opaque secrets of which only the digest is kept (refresh tokens,
//! invitations, reset links, keys for scripts).
//!
//! The library's own checks are not enough (reliability.md finding 5): it accepts tokens without issuer or audience, of
//! any type, with unknown critical headers and of any length. So the header is read by a strict type of our own, claims
//! are required by their type, and times are checked here against a clock that is an argument.

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::{DateTime, Utc};
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use rand::RngExt as _;
use secrecy::{ExposeSecret as _, SecretSlice};
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use subtle::ConstantTimeEq as _;
use uuid::Uuid;

use crate::common::ids::{AccountId, SessionId};
use crate::common::text::hex;

/// How long an access token lasts, in seconds.
pub const ACCESS_SECONDS: i64 = 600;

/// How far two clocks may differ, in seconds.
const LEEWAY_SECONDS: i64 = 5;

/// The longest token that is looked at, in bytes.
const LONGEST: usize = 4_096;

const ISSUER: &str = "caselot";
const AUDIENCE: &str = "caselot-api";
const KIND: &str = "at+jwt";

/// The keys that sign and check access tokens: the first signs, all check, so that keys can be changed without a break.
#[derive(Clone)]
pub struct SigningKeys {
    keys: Vec<(String, SecretSlice<u8>)>,
}

impl std::fmt::Debug for SigningKeys {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_list().entries(self.keys.iter().map(|(name, _)| name)).finish()
    }
}

/// Why keys cannot be used.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
#[error("a signing key needs at least 32 bytes, and there must be one")]
pub struct WeakKeys;

/// What an access token says. Never roles or scope: those are read from the database on every request.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Claims {
    iss: String,
    aud: String,
    /// The account.
    pub sub: AccountId,
    /// The session.
    pub sid: SessionId,
    jti: Uuid,
    iat: i64,
    nbf: i64,
    exp: i64,
}

impl Claims {
    /// When the token was made.
    #[must_use]
    pub fn issued_at(&self) -> DateTime<Utc> {
        DateTime::from_timestamp(self.iat, 0).unwrap_or_default()
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct StrictHeader {
    alg: String,
    typ: String,
    kid: String,
}

impl SigningKeys {
    /// These keys, by name; the first signs.
    ///
    /// # Errors
    /// If there is none, or one is shorter than 32 bytes.
    pub fn new(keys: Vec<(String, SecretSlice<u8>)>) -> Result<Self, WeakKeys> {
        let strong = !keys.is_empty() && keys.iter().all(|(_, key)| key.expose_secret().len() >= 32);
        if strong { Ok(Self { keys }) } else { Err(WeakKeys) }
    }

    /// A new access token of a session.
    #[must_use]
    pub fn issue(&self, account: AccountId, session: SessionId, now: DateTime<Utc>) -> Option<String> {
        let (name, key) = self.keys.first()?;
        let iat = now.timestamp();
        let claims = Claims {
            iss: ISSUER.to_owned(),
            aud: AUDIENCE.to_owned(),
            sub: account,
            sid: session,
            jti: Uuid::now_v7(),
            iat,
            nbf: iat,
            exp: iat.saturating_add(ACCESS_SECONDS),
        };
        let header = Header { typ: Some(KIND.to_owned()), kid: Some(name.clone()), ..Header::new(Algorithm::HS256) };
        jsonwebtoken::encode(&header, &claims, &EncodingKey::from_secret(key.expose_secret())).ok()
    }

    /// What a token says, if it is one of ours and in its time.
    #[must_use]
    pub fn check(&self, token: &str, now: DateTime<Utc>) -> Option<Claims> {
        if token.len() > LONGEST {
            return None;
        }
        let header = URL_SAFE_NO_PAD.decode(token.split('.').next()?).ok()?;
        let header: StrictHeader = serde_json::from_slice(&header).ok()?;
        if header.alg != "HS256" || header.typ != KIND {
            return None;
        }
        let (_, key) = self.keys.iter().find(|(name, _)| *name == header.kid)?;
        let mut rules = Validation::new(Algorithm::HS256);
        rules.set_required_spec_claims(&["exp", "nbf", "iss", "aud", "sub"]);
        rules.set_issuer(&[ISSUER]);
        rules.set_audience(&[AUDIENCE]);
        // Times are checked below, against the clock that was handed in.
        rules.validate_exp = false;
        let claims =
            jsonwebtoken::decode::<Claims>(token, &DecodingKey::from_secret(key.expose_secret()), &rules).ok()?.claims;
        let at = now.timestamp();
        let in_time = claims.exp.saturating_add(LEEWAY_SECONDS) > at
            && claims.nbf.saturating_sub(LEEWAY_SECONDS) <= at
            && claims.iat.saturating_sub(LEEWAY_SECONDS) <= at
            && claims.exp.checked_sub(claims.iat).is_some_and(|life| (0..=ACCESS_SECONDS).contains(&life));
        in_time.then_some(claims)
    }
}

impl SigningKeys {
    /// Digests of a request's body, by each key: the first is kept, all are compared. Without a key nobody can try passwords
    /// on what is kept, and no such digest is ever a signature of a token, which has no space in it.
    #[must_use]
    pub fn digests_of_body(&self, body: &[u8]) -> Vec<Vec<u8>> {
        let message = format!("caselot body {}", hex(&Sha256::digest(body)));
        let by = |(_, key): &(String, SecretSlice<u8>)| {
            let key = EncodingKey::from_secret(key.expose_secret());
            let signed = jsonwebtoken::crypto::sign(message.as_bytes(), &key, Algorithm::HS256).ok()?;
            URL_SAFE_NO_PAD.decode(signed).ok()
        };
        self.keys.iter().filter_map(by).collect()
    }
}

impl SigningKeys {
    /// What page markers are signed with: of the first key, and nothing that signs anything else.
    #[must_use]
    pub fn for_page_markers(&self) -> Vec<u8> {
        self.digests_of_body(b"page markers").into_iter().next().unwrap_or_default()
    }
}

/// Bytes by chance.
#[must_use]
pub fn chance<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    rand::rng().fill(&mut bytes);
    bytes
}

/// A new opaque secret of 256 bits, and the digest that is kept of it.
#[must_use]
pub fn new_secret() -> (String, Vec<u8>) {
    let bytes: [u8; 32] = rand::rng().random();
    let secret = URL_SAFE_NO_PAD.encode(bytes);
    let digest = digest(&secret);
    (secret, digest)
}

/// The digest under which a secret is kept.
#[must_use]
pub fn digest(secret: &str) -> Vec<u8> {
    Sha256::digest(secret.as_bytes()).to_vec()
}

/// What every key for scripts begins with, so that scanners for leaked secrets find it.
pub const KEY_PREFIX: &str = "cslk_";

/// A new key for scripts: prefix, 256 bits, checksum. With its digest and the part that may be shown again.
#[must_use]
pub fn new_key() -> (String, Vec<u8>, String) {
    let (secret, _) = new_secret();
    let key = format!("{KEY_PREFIX}{secret}_{}", checksum(&secret));
    let digest = digest(&key);
    let shown = key.chars().take(KEY_PREFIX.len() + 6).collect();
    (key, digest, shown)
}

/// Whether this has the form of a key, checksum included; a mistyped one needs no look into the database.
#[must_use]
pub fn is_key(text: &str) -> bool {
    let Some((secret, sum)) = text.strip_prefix(KEY_PREFIX).and_then(|rest| rest.rsplit_once('_')) else {
        return false;
    };
    secret.len() == 43 && checksum(secret).as_bytes().ct_eq(sum.as_bytes()).into()
}

fn checksum(secret: &str) -> String {
    let digest = Sha256::digest(format!("caselot key {secret}").as_bytes());
    hex(digest.get(..4).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn keys() -> SigningKeys {
        SigningKeys::new(vec![("one".to_owned(), vec![7_u8; 32].into())]).unwrap()
    }

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::from_timestamp(1_800_000_000 + seconds, 0).unwrap()
    }

    /// A token with this header and these claims, rightly signed with the first key.
    fn forged(header: &serde_json::Value, claims: &str) -> String {
        let head = URL_SAFE_NO_PAD.encode(header.to_string());
        let body = URL_SAFE_NO_PAD.encode(claims);
        let message = format!("{head}.{body}");
        let key = EncodingKey::from_secret(&[7_u8; 32]);
        let signature = jsonwebtoken::crypto::sign(message.as_bytes(), &key, Algorithm::HS256).unwrap();
        format!("{message}.{signature}")
    }

    fn good_header() -> serde_json::Value {
        serde_json::json!({"alg": "HS256", "typ": "at+jwt", "kid": "one"})
    }

    fn claims(change: impl FnOnce(&mut serde_json::Map<String, serde_json::Value>)) -> String {
        let id = "0198c0de-0000-7000-8000-000000000000";
        let mut claims = serde_json::json!({"iss": "caselot", "aud": "caselot-api", "sub": id, "sid": id, "jti": id,
            "iat": 1_800_000_000, "nbf": 1_800_000_000, "exp": 1_800_000_600});
        change(claims.as_object_mut().unwrap());
        claims.to_string()
    }

    #[test]
    fn a_token_lives_ten_minutes_and_five_seconds() {
        let token = keys().issue(AccountId::new(), SessionId::new(), at(0)).unwrap();
        assert!(keys().check(&token, at(0)).is_some());
        assert!(keys().check(&token, at(-5)).is_some());
        assert!(keys().check(&token, at(-6)).is_none());
        assert!(keys().check(&token, at(604)).is_some());
        assert!(keys().check(&token, at(605)).is_none());
        let other = SigningKeys::new(vec![("one".to_owned(), vec![8_u8; 32].into())]).unwrap();
        assert!(other.check(&token, at(0)).is_none());
    }

    #[test]
    fn hostile_headers_are_refused() {
        let body = claims(|_| {});
        assert!(keys().check(&forged(&good_header(), &body), at(1)).is_some(), "the sample itself is good");
        for (name, value) in [
            ("alg", "none".into()),
            ("alg", "HS384".into()),
            ("alg", "RS256".into()),
            ("typ", "JWT".into()),
            ("typ", "rt+jwt".into()),
            ("kid", "two".into()),
            ("kid", 1.into()),
            ("crit", serde_json::json!(["exp"])),
            ("jku", "https://keys.example.org".into()),
            ("jwk", serde_json::json!({})),
            ("x5u", "https://keys.example.org".into()),
        ] {
            let mut header = good_header();
            header[name] = value;
            assert!(keys().check(&forged(&header, &body), at(1)).is_none(), "{header}");
        }
        for missing in ["typ", "kid"] {
            let mut header = good_header();
            header.as_object_mut().unwrap().remove(missing);
            assert!(keys().check(&forged(&header, &body), at(1)).is_none(), "without {missing}");
        }
    }

    #[test]
    fn hostile_claims_are_refused() {
        for name in ["iss", "aud", "sub", "sid", "jti", "iat", "nbf", "exp"] {
            let body = claims(|claims| drop(claims.remove(name)));
            assert!(keys().check(&forged(&good_header(), &body), at(1)).is_none(), "without {name}");
        }
        for (name, value) in [
            ("iss", 1.into()),
            ("iss", "other".into()),
            ("aud", serde_json::json!({})),
            ("aud", serde_json::json!(["caselot-api"])),
            ("exp", "1800000600".into()),
            ("exp", 253_402_300_799_i64.into()),
            ("exp", 1_800_000_601.into()),
            ("exp", 1.5.into()),
            ("nbf", 1_800_000_100.into()),
            ("iat", 1_800_000_100.into()),
            ("iat", (-1_i64).into()),
            ("role", "unit_manager".into()),
        ] {
            let body = claims(|claims| drop(claims.insert(name.to_owned(), value.clone())));
            assert!(keys().check(&forged(&good_header(), &body), at(1)).is_none(), "{name} = {value}");
        }
        let doubled = claims(|_| {}).replacen('{', r#"{"sub":"0198c0de-0000-7000-8000-000000000001","#, 1);
        assert!(keys().check(&forged(&good_header(), &doubled), at(1)).is_none(), "doubled claim");
        for rubbish in ["", ".", "..", "a.b.c", &"x".repeat(5_000)] {
            assert!(keys().check(rubbish, at(1)).is_none());
        }
    }

    #[test]
    fn rfc_7515_example_a1_has_the_published_signature_and_is_refused_as_expired() {
        // RFC 7515 appendix A.1 (check-values.md 10.3).
        let key = URL_SAFE_NO_PAD
            .decode("AyM1SysPpbyDfgZld3umj1qzKObwVMkoqQ-EstJQLr_T-1qS0gZH75aKtMN3Yj0iPS4hcgUuTwjAzZr1Z9CAow")
            .unwrap();
        let message = "eyJ0eXAiOiJKV1QiLA0KICJhbGciOiJIUzI1NiJ9.eyJpc3MiOiJqb2UiLA0KICJleHAiOjEzMDA4MTkzODAsDQogImh0dHA6Ly9leGFtcGxlLmNvbS9pc19yb290Ijp0cnVlfQ";
        let signed =
            jsonwebtoken::crypto::sign(message.as_bytes(), &EncodingKey::from_secret(&key), Algorithm::HS256).unwrap();
        assert_eq!(signed, "dBjftJeZ4CVP-mB92K27uhbUJU1p1r_wW1gFWFOEjXk");
        let ours = SigningKeys::new(vec![("one".to_owned(), key.into())]).unwrap();
        assert!(ours.check(&format!("{message}.{signed}"), at(0)).is_none());
    }

    #[test]
    fn weak_keys_are_refused_and_keys_never_show() {
        assert!(SigningKeys::new(vec![]).is_err());
        assert!(SigningKeys::new(vec![("one".to_owned(), vec![7_u8; 31].into())]).is_err());
        assert_eq!(format!("{:?}", keys()), r#"["one"]"#);
    }

    #[test]
    fn bodies_are_digested_by_every_key_and_differ_by_key() {
        let old = ("old".to_owned(), vec![8_u8; 32].into());
        let both = SigningKeys::new(vec![("one".to_owned(), vec![7_u8; 32].into()), old]).unwrap();
        let (alone, of_both) = (keys().digests_of_body(b"{}"), both.digests_of_body(b"{}"));
        assert_eq!((alone.len(), of_both.len(), &of_both[0]), (1, 2, &alone[0]));
        assert_ne!(of_both[0], of_both[1]);
        assert_ne!(keys().digests_of_body(b"{ }"), alone);
        assert_ne!(alone[0], Sha256::digest(b"{}").to_vec(), "nobody can guess a body without the key");
    }

    #[test]
    fn script_keys_carry_a_checksum() {
        let (key, kept, shown) = new_key();
        assert!(is_key(&key) && key.starts_with(&shown) && shown.len() == 11 && kept.len() == 32);
        let mut mistyped = key.into_bytes();
        mistyped[10] = if mistyped[10] == b'a' { b'b' } else { b'a' };
        assert!(!is_key(&String::from_utf8(mistyped).unwrap()));
        assert!(!is_key("cslk_") && !is_key("") && !is_key("cslk_x_00000000"));
    }
}
