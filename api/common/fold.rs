//! Text made comparable: how names, headings and addresses are written differs, what they say does not.
//!
//! NFKD, lower case, marks dropped (check-values.md 6.8), and the apostrophes and dashes that NFKD leaves apart mapped to
//! one. Letters that carry a stroke or are two in one (`ø`, `æ`) have no decomposition in Unicode; they are mapped here.

use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// The text in lower case, without accents, with one kind of apostrophe and one kind of dash.
#[must_use]
pub fn fold(text: &str) -> String {
    if text.is_ascii() {
        return text.to_ascii_lowercase().replace('`', "'");
    }
    let mapped = text.chars().map(|sign| match sign {
        '\u{2019}' | '\u{2018}' | '\u{02BC}' | '\u{02BB}' | '\u{00B4}' | '\u{0060}' | '\u{2032}' | '\u{FF07}' => '\'',
        '\u{2010}'..='\u{2015}' | '\u{2212}' | '\u{FE63}' | '\u{FF0D}' => '-',
        other => other,
    });
    let mut out = String::with_capacity(text.len());
    for sign in mapped.nfkd().filter(|sign| !is_combining_mark(*sign)) {
        for lower in sign.to_lowercase() {
            match lower {
                'ß' => out.push_str("ss"),
                'æ' => out.push_str("ae"),
                'œ' => out.push_str("oe"),
                'þ' => out.push_str("th"),
                'ø' => out.push('o'),
                'đ' | 'ð' => out.push('d'),
                'ł' => out.push('l'),
                'ħ' => out.push('h'),
                'ı' => out.push('i'),
                'ς' => out.push('σ'),
                _ if is_combining_mark(lower) => {}
                _ => out.push(lower),
            }
        }
    }
    out
}

/// The words of a text, folded: letters and digits only, apostrophes joined (`O'Brien` is `obrien`), the rest parted.
#[must_use]
pub fn words(text: &str) -> Vec<String> {
    let joined: String = fold(text).chars().filter(|sign| *sign != '\'').collect();
    joined.split(|sign: char| !sign.is_alphanumeric()).filter(|word| !word.is_empty()).map(str::to_owned).collect()
}

/// The words of a text with single spaces: the form in which names and headings are compared.
#[must_use]
pub fn key(text: &str) -> String {
    words(text).join(" ")
}

/// An e-mail address made comparable: no spaces, no `mailto:`, no angle brackets, lower case. None when it is none.
///
/// Dots and `+tags` are kept: what they mean is each mail server's own affair.
#[must_use]
pub fn email(text: &str) -> Option<String> {
    let bare = text.trim().trim_start_matches("mailto:");
    let inner = bare.rsplit_once('<').map_or(bare, |(_, address)| address.trim_end_matches('>'));
    let address: String = inner.trim().trim_matches([',', ';']).to_lowercase();
    let (local, domain) = address.split_once('@')?;
    let good = !local.is_empty()
        && domain.contains('.')
        && !domain.starts_with('.')
        && !domain.ends_with('.')
        && !address.contains(|sign: char| sign.is_whitespace() || matches!(sign, ',' | ';' | '<' | '>' | '"'))
        && !domain.contains('@');
    good.then_some(address)
}

/// A number that names something (membership, troop) made comparable: letters and digits, leading zeros dropped.
///
/// Spreadsheet programs drop leading zeros, so the zeros cannot be what tells two numbers apart.
#[must_use]
pub fn number(text: &str) -> String {
    let signs: String = fold(text).chars().filter(|sign| sign.is_alphanumeric()).collect();
    let bare = signs.trim_start_matches('0');
    if bare.is_empty() { signs.chars().take(1).collect() } else { bare.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn check_values_6_8_hold() {
        for (one, other) in [
            ("José", "Jose\u{301}"),
            ("Müller", "MULLER"),
            ("\u{FB01}nn", "finn"),
            ("İpek", "ipek"),
            ("O\u{2019}Brien", "O'Brien"),
        ] {
            assert_eq!(key(one), key(other), "{one} and {other}");
        }
    }

    #[test]
    fn names_fold_to_their_words() {
        for (name, want) in [
            ("O’Brien-Núñez", "obrien nunez"),
            ("  ØSTERGÅRD ", "ostergard"),
            ("Đặng", "dang"),
            ("Łukasz", "lukasz"),
            ("Weiß", "weiss"),
            ("D'Angelo, Lucia", "dangelo lucia"),
            ("St. John", "st john"),
            ("李 小龍", "李 小龍"),
            ("", ""),
        ] {
            assert_eq!(key(name), want);
        }
    }

    #[test]
    fn addresses_compare_whatever_is_around_them() {
        for text in [
            "Ada@Example.org",
            " ada@example.org ",
            "mailto:ada@example.org",
            "Ada Lee <ada@example.org>",
            "ada@example.org;",
        ] {
            assert_eq!(email(text).as_deref(), Some("ada@example.org"), "{text}");
        }
        for text in [
            "",
            "none",
            "n/a",
            "ada@",
            "@example.org",
            "ada@localhost",
            "ada@example.org, bo@example.org",
            "a b@example.org",
            "a@b@c.org",
        ] {
            assert_eq!(email(text), None, "{text}");
        }
        assert_ne!(email("a.da@example.org"), email("ada@example.org"));
    }

    #[test]
    fn leading_zeros_do_not_tell_numbers_apart() {
        for (one, other) in [("0042", "42"), ("M-00 7", "m007"), ("000", "0")] {
            assert_eq!(number(one), number(other));
        }
        assert_ne!(number("42"), number("420"));
        assert_eq!(number(""), "");
    }
}
