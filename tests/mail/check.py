"""The letters of a demo, read by Python's own mail parser (email.policy.default): check.py FOLDER HOW_MANY

Every letter is what `find_message` says it is, goes to one recipient, and has each header once.
"""

import datetime
import email
import email.policy
import html.parser
import json
import os
import pathlib
import re
import sys
import time
import urllib.request

folder, how_many = pathlib.Path(sys.argv[1]), int(sys.argv[2])
API, UNIT = os.environ["API"], os.environ["UNIT"]


def ask(path, body=None, token=None):
    headers = {"Content-Type": "application/json"}
    if token:
        headers["Authorization"] = f"Bearer {token}"
    sent = json.dumps(body).encode() if body is not None else None
    with urllib.request.urlopen(urllib.request.Request(API + path, sent, headers)) as answer:
        return json.load(answer)


class Words(html.parser.HTMLParser):
    """The text of a page, its links, and everything that it would load from elsewhere."""

    def __init__(self):
        super().__init__()
        self.words, self.links, self.loads = [], [], []

    def handle_starttag(self, tag, attributes):
        for name, value in attributes:
            if name == "href":
                self.links.append(value)
            elif name in ("src", "background", "action") or tag in ("link", "script", "img", "form"):
                self.loads.append((tag, name, value))

    def handle_data(self, text):
        self.words.append(text)


def plain(text):
    return re.sub(r"\s+", " ", text).strip()


token = ask("/v1/sessions", json.loads(os.environ["MANAGER"]))["access_token"]
for _ in range(60):
    messages = ask(f"/v1/units/{UNIT}/messages?limit=200&state=sent", token=token)["items"]
    if len(messages) >= how_many:
        break
    time.sleep(0.5)
messages = {message["message_id"]: message for message in messages if not message["sent_by_hand"]}
assert len(messages) == how_many, f"{len(messages)} messages were sent, {how_many} were expected"
letters = sorted(folder.glob("*.eml"))
assert len(letters) == how_many, f"{len(letters)} letters for {how_many} messages"

seen, accents = set(), 0
for path in letters:
    letter = email.message_from_bytes(path.read_bytes(), policy=email.policy.default)
    assert not letter.defects, (path, letter.defects)
    for name in ("From", "To", "Subject", "Date", "Message-ID", "MIME-Version", "Content-Type", "Reply-To", "Auto-Submitted"):
        assert len(letter.get_all(name)) == 1, (path, name, letter.get_all(name))
    for name in ("Cc", "Bcc", "Sender", "Resent-To"):
        assert letter[name] is None, (path, name)
    identity = letter["Message-ID"].strip("<>")
    message_id, domain = identity.split("@")
    assert domain == "juniper-ridge.example.org" and message_id in messages and message_id not in seen, identity
    seen.add(message_id)
    told = ask(f"/v1/units/{UNIT}/messages/{message_id}", token=token)
    assert [address.addr_spec for address in letter["To"].addresses] == [told["message"]["to_address"]], path
    assert [address.addr_spec for address in letter["From"].addresses] == ["sale@juniper-ridge.example.org"]
    assert letter["From"].addresses[0].display_name == "Juniper Ridge"
    assert letter["Subject"] == told["message"]["subject"], path
    assert abs(letter["Date"].datetime - datetime.datetime.now(datetime.timezone.utc)) < datetime.timedelta(hours=1), path
    text, page = letter.get_body(("plain",)), letter.get_body(("html",))
    assert text.get_content_charset() == page.get_content_charset() == "utf-8"
    assert text.get_content().replace("\r\n", "\n") == told["text"], path
    shown = Words()
    shown.feed(page.get_content())
    assert shown.loads == [], shown.loads
    # The page begins with its title, which is the subject; then it says what the text says, without the dashes of lists.
    assert plain(" ".join(shown.words)) == plain(told["message"]["subject"] + " " + re.sub(r"(?m)^- ", "", told["text"])), path
    assert max(len(line) for line in path.read_bytes().splitlines()) <= 998, "RFC 5322 section 2.1.1"
    accents += not told["text"].isascii()
assert len(seen) == how_many
print(f"{len(seen)} letters ({accents} of them with letters beyond ASCII): each as its message says")
