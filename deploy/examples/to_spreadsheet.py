"""A table of all troops for a spreadsheet: python3 to_spreadsheet.py standings.csv

Needs API, UNIT and KEY (deploy/examples/README.md) and Python 3. The file is UTF-8 with a mark at its beginning, so that
spreadsheets read every name right; a text that a spreadsheet would take for a formula begins with an apostrophe.
"""

import csv
import sys

from open_list import standings, still_open


def plain(text):
    """The text as a spreadsheet shows it: never a formula (OWASP, "CSV Injection")."""
    return "'" + text if text[:1] in "=+-@\t\r" and text else text


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Say where the table goes: python3 to_spreadsheet.py standings.csv")
    with open(sys.argv[1], "w", encoding="utf-8-sig", newline="") as file:
        table = csv.writer(file)
        table.writerow(["Troop", "Name", "State", "Still open", "Next step", "By"])
        for line in standings():
            step = line["next_step"] or {}
            by = (step.get("by") or {}).get("at", "")
            open_now = ", ".join(still_open(line["troop_id"]))
            cells = [line["number"], line["name"], line["state"], open_now, step.get("sentence", ""), by]
            table.writerow([plain(cell) for cell in cells])
    print(f"Written: {sys.argv[1]}")
