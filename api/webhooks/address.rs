//! Which addresses may be told: pure. A program outside must not make this server ask what lies beside it (R24).

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr};

use reqwest::Url;
use reqwest::header::HeaderValue;

/// The longest address, in characters.
pub(super) const LONGEST: usize = 500;

/// What the server's operator allows.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct AddressRules {
    /// Ports beside 443.
    pub ports: Vec<u16>,
    /// Whether programs on this machine may be told, without TLS: for demos and tests alone.
    pub loopback: bool,
}

impl AddressRules {
    /// Where to send, by an address as somebody typed it, if what its name stands for may be meant; otherwise what would be right.
    pub(super) fn target(&self, text: &str) -> Result<Url, &'static str> {
        const SHAPE: &str = "a whole address, such as https://example.org/from-caselot";
        if text.len() > LONGEST || text.chars().any(|one| one.is_whitespace() || one.is_control()) {
            return Err(SHAPE);
        }
        let url = Url::parse(text).map_err(|_| SHAPE)?;
        let host = url.host_str().ok_or(SHAPE)?.trim_start_matches('[').trim_end_matches(']').to_owned();
        if !url.username().is_empty() || url.password().is_some() {
            return Err("an address without name and password in it: what is sent is signed instead");
        }
        if url.fragment().is_some() || HeaderValue::from_str(&host).is_err() {
            return Err(SHAPE);
        }
        let number: Option<IpAddr> = host.parse().ok();
        let here = number.is_some_and(|number| number.is_loopback()) && self.loopback;
        if url.scheme() != "https" && !(url.scheme() == "http" && here) {
            return Err("an address that begins with https://");
        }
        let port = url.port_or_known_default().ok_or(SHAPE)?;
        if port != 443 && !self.ports.contains(&port) && !here {
            return Err(
                "an address without a port, or with one that the server's administrator allows (webhooks.ports)",
            );
        }
        if number.is_some_and(|number| !self.allows(number)) {
            return Err(
                "an address that can be reached from anywhere: this number belongs to a private or special network",
            );
        }
        Ok(url)
    }

    /// What a name stands for now, if all of it may be meant: one that stands for something private beside something public is
    /// refused whole.
    pub(super) fn all_allowed(&self, found: &[SocketAddr]) -> bool {
        !found.is_empty() && found.iter().all(|one| self.allows(one.ip()))
    }

    fn allows(&self, number: IpAddr) -> bool {
        match number {
            number if self.loopback && number.is_loopback() => true,
            IpAddr::V4(v4) => is_public_v4(v4),
            IpAddr::V6(v6) => is_public_v6(v6),
        }
    }
}

/// Networks of the world at large, by IANA's registry of special ones (RFC 6890 and what was added since).
fn is_public_v4(number: Ipv4Addr) -> bool {
    let [a, b, c, _] = number.octets();
    !matches!(
        (a, b, c),
        (0 | 10 | 127 | 224..=255, _, _)
            | (100, 64..=127, _)
            | (169, 254, _)
            | (172, 16..=31, _)
            | (192, 0, 0 | 2)
            | (192, 88, 99)
            | (192, 168, _)
            | (198, 18 | 19, _)
            | (198, 51, 100)
            | (203, 0, 113)
    )
}

/// Only `2000::/3` is given out to the world; in it, what holds an IPv4 number (6to4, Teredo), is for tests or for documents is
/// left out. IPv4 numbers in other clothes (`::ffff:0:0/96`, `64:ff9b::/96`) lie outside of it.
fn is_public_v6(number: Ipv6Addr) -> bool {
    let [a, b, ..] = number.segments();
    let given_out = (0x2000..=0x3fff).contains(&a);
    let special = matches!((a, b), (0x2001, 0x0000..=0x01ff | 0x0db8) | (0x2002, _) | (0x3fff, 0x0000..=0x0fff));
    given_out && !special
}

#[cfg(test)]
mod tests;
