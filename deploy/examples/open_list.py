"""Each troop with everything that is still open, a line each: number, state, what is open, separated by tabs.

Needs API, UNIT and KEY (deploy/examples/README.md) and Python 3, nothing else.
"""

import json
import os
import sys
import urllib.error
import urllib.request


def ask(path):
    """One read of the unit, as parsed JSON; ends with the server's own words if it refuses."""
    address = f"{os.environ['API']}/v1/units/{os.environ['UNIT']}{path}"
    request = urllib.request.Request(address, headers={"Authorization": f"Bearer {os.environ['KEY']}"})
    try:
        with urllib.request.urlopen(request, timeout=20) as answer:
            return json.load(answer)
    except urllib.error.HTTPError as refusal:
        sys.exit(json.load(refusal).get("detail", "The server did not answer."))


def standings():
    """Every line of the list, page by page."""
    cursor = ""
    while cursor is not None:
        page = ask(f"/standings?limit=200{cursor and '&cursor=' + cursor}")
        yield from page["items"]
        cursor = page["next_cursor"]


def still_open(troop_id):
    """The titles of what is open for a troop: its own requirements and those of its counted coordinators."""
    standing = ask(f"/standings/{troop_id}")["standing"]
    asked = standing["requirements"] + [row for one in standing["coordinators"] if one["counted"] for row in one["requirements"]]
    return [row["title"] for row in asked if not row["closed"]]


if __name__ == "__main__":
    for line in standings():
        print(line["number"], line["state"], ", ".join(still_open(line["troop_id"])) or "-", sep="\t")
