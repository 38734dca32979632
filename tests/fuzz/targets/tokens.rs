//! What stands behind `Bearer`. No text is a token but those that were signed here, none that was signed here is taken with
//! one sign changed, and one that is rightly signed is taken only if it says exactly what tokens of this server say.
#![no_main]

use base64::Engine as _;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use caselot::auth::token::{SigningKeys, is_key, new_key};
use caselot::common::ids::{AccountId, SessionId};
use chrono::{DateTime, Utc};
use jsonwebtoken::{Algorithm, EncodingKey};
use libfuzzer_sys::fuzz_target;
use serde_json::Value;
use std::sync::LazyLock;

const SECRET: &[u8] = b"a key of this target alone, of more than thirty-two bytes";
const NOW: i64 = 1_795_000_000;

/// The keys, a token and a key for scripts that they made.
static OURS: LazyLock<(SigningKeys, String, String)> = LazyLock::new(|| {
    let keys = SigningKeys::new(vec![("k1".to_owned(), SECRET.to_vec().into())]).expect("a key that is long enough");
    let token = keys.issue(AccountId::new(), SessionId::new(), now()).expect("a token");
    assert!(keys.check(&token, now()).is_some(), "our own token is taken");
    let (key, _, _) = new_key();
    assert!(is_key(&key), "our own key has its form");
    (keys, token, key)
});

fuzz_target!(|text: &str| {
    let (keys, token, key) = &*OURS;
    assert!(keys.check(text, now()).is_none(), "{text:?} is no token of this server");
    let is_token = |text: &str| keys.check(text, now()).is_some();
    let takers: [(&String, &dyn Fn(&str) -> bool); 2] = [(token, &is_token), (key, &is_key)];
    for (ours, taken) in takers {
        let changed = changed(ours, text);
        assert!(changed == *ours || !taken(&changed), "{changed:?} is not {ours:?}");
    }
    if is_key(text) {
        assert!(text.len() == 57 && text.starts_with("cslk_"), "{text:?}");
    }
    let (header, claims) = text.split_once('\n').unwrap_or(("", text));
    let message = format!("{}.{}", URL_SAFE_NO_PAD.encode(header), URL_SAFE_NO_PAD.encode(claims));
    let signed = jsonwebtoken::crypto::sign(message.as_bytes(), &EncodingKey::from_secret(SECRET), Algorithm::HS256);
    if keys.check(&format!("{message}.{}", signed.expect("a signature")), now()).is_some() {
        assert!(may_be_taken(header, claims), "{text:?}");
    }
    assert_eq!(keys.digests_of_body(text.as_bytes()).len(), 1);
});

fn now() -> DateTime<Utc> {
    DateTime::from_timestamp(NOW, 0).expect("a moment")
}

/// The first sign of the input says where, the rest what stands there instead of one sign.
fn changed(ours: &str, text: &str) -> String {
    let mut signs = text.chars();
    let at = signs.next().map_or(0, |sign| usize::try_from(u32::from(sign)).unwrap_or(0)) % ours.len();
    format!("{}{}{}", &ours[..at], signs.as_str(), &ours[at + 1..])
}

/// What a token has to say, told once more from the description of the API: header, issuer, audience, ten minutes.
fn may_be_taken(header: &str, claims: &str) -> bool {
    let object = |text: &str| match serde_json::from_str(text) {
        Ok(Value::Object(object)) => object,
        _ => serde_json::Map::new(),
    };
    let (header, claims) = (object(header), object(claims));
    let time = |name: &str| claims.get(name).and_then(Value::as_i64);
    let (Some(made), Some(from), Some(until)) = (time("iat"), time("nbf"), time("exp")) else { return false };
    header.len() == 3
        && header["alg"] == "HS256"
        && header["typ"] == "at+jwt"
        && header["kid"] == "k1"
        && claims.len() == 8
        && claims["iss"] == "caselot"
        && claims["aud"] == "caselot-api"
        && ["sub", "sid", "jti"].iter().all(|name| claims[*name].is_string())
        && (made..=made.saturating_add(600)).contains(&until)
        && made <= NOW + 5
        && from <= NOW + 5
        && until > NOW - 5
}
