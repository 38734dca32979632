//! The signature of what is told, by the Standard Webhooks specification: HMAC-SHA256 over id, time and body.

use base64::Engine as _;
use base64::engine::general_purpose::STANDARD;
use hmac::{Hmac, KeyInit as _, Mac as _};
use sha2::Sha256;

/// What a secret begins with, as its holder gets it.
const PREFIX: &str = "whsec_";

/// A secret as its holder gets it.
pub(super) fn shown(secret: &[u8]) -> String {
    format!("{PREFIX}{}", STANDARD.encode(secret))
}

/// The value of `webhook-signature`: one for each secret, the present one first.
pub(super) fn signatures<'a>(
    secrets: impl IntoIterator<Item = &'a [u8]>,
    (id, timestamp): (&str, i64),
    body: &[u8],
) -> Option<String> {
    let one = |secret: &[u8]| {
        let mut mac = Hmac::<Sha256>::new_from_slice(secret).ok()?;
        mac.update(format!("{id}.{timestamp}.").as_bytes());
        mac.update(body);
        Some(format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes())))
    };
    let all: Option<Vec<String>> = secrets.into_iter().map(one).collect();
    all.map(|all| all.join(" "))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The specification's own example.
    #[test]
    fn the_published_example_comes_out() {
        let secret = STANDARD.decode("MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw").unwrap();
        let of = ("msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330);
        let signed = signatures([&*secret], of, b"{\"test\": 2432232314}");
        assert_eq!(signed.as_deref(), Some("v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="));
        assert_eq!(shown(&secret), "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw");
    }

    #[test]
    fn two_secrets_give_two_signatures_apart_by_a_space() {
        let two = signatures([&[1; 32][..], &[2; 32][..]], ("a", 1), b"{}").unwrap();
        let parts: Vec<&str> = two.split(' ').collect();
        assert_eq!(parts.len(), 2);
        assert_eq!(signatures([&[1; 32][..]], ("a", 1), b"{}").as_deref(), Some(parts[0]));
        assert_eq!(signatures([&[2; 32][..]], ("a", 1), b"{}").as_deref(), Some(parts[1]));
    }
}
