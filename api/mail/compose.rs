//! A message in the form in which it travels (RFC 5322, RFC 2045 to 2049): text, and the same as plain HTML.

use std::time::SystemTime;

use chrono::{DateTime, Utc};
use lettre::address::Envelope;
use lettre::message::header::{ContentTransferEncoding, ContentType, HeaderName, HeaderValue};
use lettre::message::{Mailbox, Message, MultiPart, SinglePart};

use super::write::one_line;

/// Everything that a letter says on its outside and inside.
#[derive(Clone, Debug)]
pub(super) struct Letter<'a> {
    /// Its name for good: the same in every try.
    pub id: uuid::Uuid,
    /// Who writes, as people read it.
    pub from_name: &'a str,
    /// The address that sends.
    pub from: &'a str,
    /// Where answers go.
    pub reply_to: Option<&'a str>,
    /// To whom.
    pub to: &'a str,
    /// The subject.
    pub subject: &'a str,
    /// The text, in plain lines.
    pub text: &'a str,
    /// What links of our own begin with: they alone become links in the HTML part.
    pub own_address: &'a str,
    /// Its language.
    pub language: &'a str,
    /// When it was given to be sent: the same in every try.
    pub at: DateTime<Utc>,
}

/// Why a letter cannot be written, in a word for whoever sent it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, thiserror::Error)]
pub(super) enum Unwritable {
    /// The address is none.
    #[error("the address cannot be read as one")]
    To,
    /// The server's own sender is none.
    #[error("the sender's address in the settings cannot be read as one")]
    From,
    /// Something else is amiss.
    #[error("the message cannot be put into the form of a mail")]
    Form,
}

/// The letter as bytes, with its envelope: one recipient, and the headers that are written here alone.
pub(super) fn compose(letter: &Letter<'_>) -> Result<(Envelope, Vec<u8>), Unwritable> {
    let to: lettre::Address = letter.to.parse().map_err(|_| Unwritable::To)?;
    let from: lettre::Address = letter.from.parse().map_err(|_| Unwritable::From)?;
    let domain = from.domain().to_owned();
    let from_name = one_line(letter.from_name);
    let name = (!from_name.is_empty()).then_some(from_name);
    let envelope = Envelope::new(Some(from.clone()), vec![to.clone()]).map_err(|_| Unwritable::To)?;
    let mut message = Message::builder()
        .from(Mailbox::new(name, from))
        .to(Mailbox::new(None, to))
        .subject(one_line(letter.subject))
        .date(SystemTime::from(letter.at))
        .message_id(Some(format!("<{}@{domain}>", letter.id)));
    if let Some(reply_to) = letter.reply_to.and_then(|address| address.parse().ok()) {
        message = message.reply_to(Mailbox::new(None, reply_to));
    }
    // RFC 3834: a holiday's automatic answer is not sent to what says this.
    let own = HeaderName::new_from_ascii_str("Auto-Submitted");
    let message = message.raw_header(HeaderValue::new(own, "auto-generated".to_owned()));
    let html = html(letter.subject, letter.text, letter.own_address, letter.language);
    let part = |kind: ContentType, text: String| {
        SinglePart::builder().header(kind).header(ContentTransferEncoding::QuotedPrintable).body(text)
    };
    // Of its own name, so that a second try is the same to the byte.
    let parts = MultiPart::alternative()
        .boundary(format!("caselot-{}", letter.id.simple()))
        .singlepart(part(ContentType::TEXT_PLAIN, letter.text.to_owned()))
        .singlepart(part(ContentType::TEXT_HTML, html));
    let message = message.multipart(parts).map_err(|_| Unwritable::Form)?;
    Ok((envelope, message.formatted()))
}

/// The text as HTML that reads well in a plain mail program and on a phone: paragraphs, lists, and our own links.
///
/// Everything is escaped after it was rendered, so that neither a name nor a wording can be a tag.
#[must_use]
pub(super) fn html(subject: &str, text: &str, own_address: &str, language: &str) -> String {
    let mut body = String::new();
    for block in text.split("\n\n").filter(|block| !block.trim().is_empty()) {
        let mut list = false;
        let mut paragraph: Vec<String> = Vec::new();
        for line in block.lines() {
            if let Some(item) = line.strip_prefix("- ") {
                flush(&mut body, &mut paragraph);
                if !list {
                    body.push_str("<ul style=\"margin:0 0 1em;padding-left:1.4em\">\n");
                    list = true;
                }
                body.extend(["<li style=\"margin:0 0 .4em\">", &escaped(item), "</li>\n"]);
            } else {
                if list {
                    body.push_str("</ul>\n");
                    list = false;
                }
                paragraph.push(linked(line, own_address));
            }
        }
        if list {
            body.push_str("</ul>\n");
        }
        flush(&mut body, &mut paragraph);
    }
    format!(
        "<!doctype html>\n<html lang=\"{language}\">\n<head>\n<meta charset=\"utf-8\">\n<meta name=\"viewport\" content=\"width=device-width\">\n<title>{}</title>\n</head>\n<body style=\"margin:0;padding:16px;background:#fff;color:#111;font:16px/1.5 sans-serif\">\n<div style=\"max-width:36em\">\n{body}</div>\n</body>\n</html>\n",
        escaped(subject)
    )
}

fn flush(body: &mut String, paragraph: &mut Vec<String>) {
    if !paragraph.is_empty() {
        body.extend(["<p style=\"margin:0 0 1em\">", &paragraph.join("<br>\n"), "</p>\n"]);
        paragraph.clear();
    }
}

/// A line that is nothing but a link of our own becomes one.
fn linked(line: &str, own_address: &str) -> String {
    let own = !own_address.is_empty()
        && line.strip_prefix(own_address).is_some_and(|rest| rest.starts_with('/'))
        && !line.contains(char::is_whitespace);
    if own {
        format!("<a href=\"{0}\" style=\"color:#114a8b;word-break:break-all\">{0}</a>", escaped(line))
    } else {
        escaped(line)
    }
}

fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for char in text.chars() {
        match char {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            other => out.push(other),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn letter<'a>(to: &'a str, subject: &'a str, text: &'a str) -> Letter<'a> {
        Letter {
            id: uuid::Uuid::from_u128(7),
            from_name: "Juniper Ridge",
            from: "sale@juniper.example.org",
            reply_to: Some("imani@example.org"),
            to,
            subject,
            text,
            own_address: "https://sale.example.org",
            language: "en",
            at: DateTime::from_timestamp(1_800_000_000, 0).unwrap(),
        }
    }

    #[test]
    fn a_letter_has_the_headers_that_are_meant_and_is_the_same_in_every_try() {
        let made = || compose(&letter("clara@example.org", "Hello", "Hello Clara,\n\ngood day.\n")).unwrap();
        let (envelope, bytes) = made();
        assert_eq!(envelope.to().len(), 1);
        assert_eq!(envelope.to()[0].to_string(), "clara@example.org");
        assert_eq!(bytes, made().1);
        let text = String::from_utf8(bytes).unwrap();
        for line in [
            "From: \"Juniper Ridge\" <sale@juniper.example.org>\r\n",
            "Reply-To: imani@example.org\r\n",
            "To: clara@example.org\r\n",
            "Subject: Hello\r\n",
            "Message-ID: <00000000-0000-0000-0000-000000000007@juniper.example.org>\r\n",
            "Date: Fri, 15 Jan 2027 08:00:00 +0000\r\n",
            "Auto-Submitted: auto-generated\r\n",
        ] {
            assert!(text.contains(line), "{line} in {text}");
        }
    }

    #[test]
    fn line_ends_in_names_subjects_and_addresses_make_no_header_and_no_recipient() {
        for to in [
            "a@example.org\r\nBcc: b@example.org",
            "a@example.org, b@example.org",
            "a@example.org\0",
            "<a@example.org>",
            "",
        ] {
            assert_eq!(compose(&letter(to, "x", "y")).unwrap_err(), Unwritable::To, "{to:?}");
        }
        let mut evil = letter("a@example.org", "x\r\nBcc: b@example.org\r\n\r\nhello", "y");
        evil.from_name = "Ann\"\r\nX-Evil: 1";
        let text = String::from_utf8(compose(&evil).unwrap().1).unwrap();
        let head = text.split("\r\n\r\n").next().unwrap();
        assert!(!head.lines().any(|line| line.starts_with("Bcc:") || line.starts_with("X-Evil:")), "{head}");
    }

    #[test]
    fn the_html_says_what_the_text_says_and_nothing_in_it_is_a_tag() {
        let text = "Hello <b>Ann</b> & co,\n\nstill open:\n\n- one \"x\"\n- two\n\nhttps://sale.example.org/invitation#abc\nhttps://evil.example.org/invitation\n";
        let html = html("a <i>", text, "https://sale.example.org", "en");
        assert!(html.contains("<p style=\"margin:0 0 1em\">Hello &lt;b&gt;Ann&lt;/b&gt; &amp; co,</p>"), "{html}");
        assert!(html.contains("<li style=\"margin:0 0 .4em\">one &quot;x&quot;</li>"), "{html}");
        assert!(html.contains("<a href=\"https://sale.example.org/invitation#abc\""), "{html}");
        assert!(!html.contains("href=\"https://evil"), "{html}");
        assert!(html.contains("<title>a &lt;i&gt;</title>"), "{html}");
        assert_eq!(html.matches("<li").count(), 2);
        assert!(!html.contains("http-equiv") && !html.contains("<img"), "nothing is loaded from anywhere");
    }
}
