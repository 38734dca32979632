"""Prepares a loaded demo for schemathesis: makes what the demo lacks, and writes the ids of its things below the settings.

    prepare.py ROLE SETTINGS.toml    the demo's file of sign-ins in the environment; prints the shell variables of the role

Random ids name nothing, and then every answer is 404. So most ids that are sent are real ones.
"""

import datetime
import json
import os
import sys
import time
import urllib.request
import uuid
from collections.abc import Iterator
from typing import Any

API, UNIT, LISTS, TODAY = (os.environ[name] for name in ("API", "UNIT", "LISTS", "TODAY"))

# How often a real thing is named, where a random one could be.
MOSTLY = 0.8

# What the manager reads to find things; {season} is the season of the standings.
READ = (
    "standings seasons troops people assignments grants intakes waivers overrides evidence returns decisions outside-steps regroupings webhooks"
    " seasons/{season}/milestones"
)

# A key for scripts with every permission that changes something, and the reads that go with them.
KEY = (
    "assignments.change assignments.read contacts.change contacts.read evidence.read evidence.record intakes.apply intakes.read"
    " intakes.upload needs.read people.change people.read policy.read returns.read seasons.read standings.read troops.change"
    " troops.read units.read waivers.read"
)


class Caller:
    """Somebody who is signed in."""

    def __init__(self, sign_in: str) -> None:
        self.token = ""
        self.token = self.ask("POST", "/v1/sessions", json.loads(sign_in))["access_token"]

    def ask(self, method: str, path: str, body: Any = None) -> Any:
        fields = {"Content-Type": "application/json", "Idempotency-Key": str(uuid.uuid4())}
        if self.token:
            fields["Authorization"] = f"Bearer {self.token}"
        data = body if isinstance(body, bytes) or body is None else json.dumps(body).encode()
        if isinstance(body, bytes):
            fields["Content-Type"] = "text/csv"
        with urllib.request.urlopen(urllib.request.Request(API + path, data, fields, method=method)) as answer:
            return json.load(answer)

    def of_unit(self, method: str, path: str, body: Any = None) -> Any:
        return self.ask(method, f"/v1/units/{UNIT}/{path}", body)


def ids_in(value: Any) -> Iterator[tuple[str, str]]:
    """Every id in an answer, with the name of its place."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if name.endswith("_id") and isinstance(inner, str):
                yield name, inner
            else:
                yield from ids_in(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from ids_in(inner)


def make(manager: Caller) -> None:
    """What the demo has none of: a filed return that was sent, and a list that waits to be applied."""
    stamp = manager.of_unit("GET", "return-preview")["stamp"]
    filed = manager.of_unit("POST", "returns", {"stamp": stamp})
    manager.of_unit("POST", f"returns/{filed['return_id']}/sendings", {"sent_to": "Head office", "way": "mail"})
    manager.of_unit("POST", "webhooks", {"address": "https://hooks.example.org/from-caselot"})
    name = "5-newer-role-list.csv"
    with open(f"{LISTS}/{name}", "rb") as file:
        intake = manager.of_unit("POST", f"intakes?kind=role_list&file_name={name}&listed_on={TODAY}", file.read())
    while manager.of_unit("GET", f"intakes/{intake['intake_id']}")["state"] == "reading":
        time.sleep(0.2)


def found(manager: Caller, who: Caller | None) -> dict[str, list[str]]:
    """The things by the names of their places, the newest of a kind last in its list."""
    things: dict[str, dict[str, None]] = {}
    season = manager.of_unit("GET", "standings?limit=1")["season_id"]
    answers = [manager.of_unit("GET", path.format(season=season)) for path in READ.split()]
    if who is not None:
        answers.append(who.ask("GET", "/v1/me/sessions"))
        made = who.ask("POST", "/v1/keys", {"name": "to be revoked", "unit_id": UNIT, "permissions": ["units.read"], "lasts_days": 1})
        answers.append(made["key"])
    policy = manager.of_unit("GET", f"seasons/{season}/policy")["policy"]
    things["requirement"] = {one["code"]: None for one in policy["requirements"]}
    for name, thing in (pair for answer in answers for pair in ids_in(answer)):
        if name != "unit_id":
            things.setdefault(name, {})[thing] = None
    return {name: list(of)[-24:] for name, of in things.items()}


def settings(things: dict[str, list[str]]) -> str:
    """The settings below the committed ones."""
    day = datetime.date.fromisoformat(TODAY)
    values: dict[str, list[str] | list[int]] = {
        **things,
        "code": ["not_found", "requirements_open", "version_stale"],
        "row_number": list(range(1, 22)),
        "version": ['"v1"', '"v2"', '"v3"'],
        "day": [str(day + datetime.timedelta(days=days)) for days in (-3, 0, 3, 20, 60)],
    }
    places = [f"{part}.{name}" for name in things for part in ("path", "query", "body")]
    names = {place: place.split(".")[1] for place in places}
    names |= {"path.code": "code", "path.row_number": "row_number", "header.If-Match": "version", "query.listed_on": "day"}
    names |= {f"body.{name}": "day" for name in ("on_day", "until_on", "observed_on", "done_on")}
    lines = ["", "# Added by prepare.py.", "[parameters]", f'"path.unit_id" = "{UNIT}"']
    # A stream of events is asked for what is there, so that its answer ends.
    lines.append('"query.wait_seconds" = 0')
    lines += [f'"{place}" = {{ dictionary = "{name}", probability = {MOSTLY} }}' for place, name in names.items()]
    lines.append("[dictionaries]")
    lines += [f"{name} = {{ values = {json.dumps(of)} }}" for name, of in values.items()]
    return "\n".join(lines) + "\n"


def main() -> None:
    role, path = sys.argv[1:]
    manager = Caller(os.environ["MANAGER"])
    make(manager)
    token, sign_in, who = "", "", None
    if role == "KEY":
        new = {"name": "schemathesis", "unit_id": UNIT, "permissions": KEY.split(), "lasts_days": 1}
        token = manager.ask("POST", "/v1/keys", new)["secret"]
    elif role != "NOBODY":
        sign_in = os.environ[role]
        # Who is not in the unit makes no keys of it.
        who = None if role in ("ADMINISTRATOR", "STRANGER") else Caller(sign_in)
    with open(path, "a", encoding="utf-8") as file:
        file.write(settings(found(manager, who)))
    print(f"SPEC_TOKEN='{token}' SPEC_SIGN_IN='{sign_in}'")


main()
