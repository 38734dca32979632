"""How schemathesis signs in: SPEC_SIGN_IN is a body of sign_in, SPEC_TOKEN a key for scripts; neither is nobody. .ci/spec"""

import http.client
import json
import os
import time
from typing import Any
from urllib.parse import urlsplit

import schemathesis

API = urlsplit(os.environ["SPEC_API"])
SIGN_IN = os.environ.get("SPEC_SIGN_IN", "")
TOKEN = os.environ.get("SPEC_TOKEN", "")
UNIT = os.environ["UNIT"]


def ask(method: str, path: str, token: str = "", body: str | None = None) -> tuple[http.client.HTTPResponse, bytes]:
    """Asks from an address of its own: sign-in waits after failures of an address, and what is sent to sign_in are failures."""
    server = http.client.HTTPConnection(API.hostname or "", API.port, timeout=60, source_address=("127.0.0.2", 0))
    fields = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {token}"} if token else {})
    server.request(method, path, body, fields)
    answer = server.getresponse()
    return answer, answer.read()


def sign_in() -> str:
    """The token of a new session."""
    while True:
        answer, body = ask("POST", "/v1/sessions", body=SIGN_IN)
        if answer.status == 201:
            return str(json.loads(body)["access_token"])
        if answer.status != 429:
            raise RuntimeError(f"sign_in: {answer.status} {body!r}")
        time.sleep(int(answer.getheader("Retry-After", "1")))


def token_of_role() -> str:
    """A key as it is, a new session, or nothing."""
    return TOKEN or (sign_in() if SIGN_IN else "")


if SIGN_IN or TOKEN:
    # An access token lasts ten minutes, and so does the proof that operations with x-stepup ask for. After an answer of 401, as
    # it comes once sign_out, end_session or end_all_sessions had their effect, schemathesis asks for another token by itself.
    @schemathesis.auth(refresh_interval=240)
    class SignedIn:
        def get(self, _case: Any, _context: Any) -> str:
            return token_of_role()

        def set(self, case: Any, token: str, _context: Any) -> None:
            case.headers = case.headers or {}
            case.headers["Authorization"] = f"Bearer {token}"


@schemathesis.hook
def filter_failure(_context: Any, failure: Any, case: Any, response: Any) -> bool:
    """What was sent against the schema and was not refused for it (ST201) may still be right, in two cases and no other.

    A file is bytes, whatever they were made from: `true` in the place of its text is sent as four letters, and is no wrong type.
    And who sends a key for safe retries that another request of theirs is being worked on under, as it is the case with one that was
    put off on a busy machine, is refused before what they send is looked at.
    """
    if failure.code != "ST201":
        return True
    if response.status_code == 409 and response.json()["code"] == "already_running":
        return False
    wrong = [place.value for place, part in case.meta.components.items() if part.mode.is_negative]
    return not (case.media_type in ("text/csv", "application/octet-stream") and wrong == ["body"])


if __name__ == "__main__":
    # What the role gets when it asks for the troops: .ci/spec asks before and afterwards.
    print(ask("GET", f"/v1/units/{UNIT}/troops?limit=1", token_of_role())[0].status)
