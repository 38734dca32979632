"""What the scripts of this folder write lists and expectations with. Nothing here reads a list: the expectations are typed
by hand beside each list, and this program has never seen the reader."""
import datetime
import json
import pathlib
import zipfile
from xml.sax.saxutils import escape, quoteattr

import openpyxl

HERE = pathlib.Path(__file__).parent


def text(kind, name, content, encoding="utf-8", newline="\r\n"):
    (HERE / kind).mkdir(exist_ok=True)
    (HERE / kind / f"{name}.csv").write_bytes(content.replace("\n", newline).encode(encoding))


def book(kind, name, fill):
    (HERE / kind).mkdir(exist_ok=True)
    workbook = openpyxl.Workbook()
    fill(workbook)
    workbook.properties.created = workbook.properties.modified = datetime.datetime(2026, 1, 1)
    workbook.save(HERE / kind / f"{name}.xlsx")


def cell(value):
    """One cell of an OpenDocument sheet, as office programs write it (OpenDocument 1.3, part 3, section 9.1.4)."""
    if value is None:
        return "<table:table-cell/>"
    if isinstance(value, bool):
        word = "true" if value else "false"
        return f'<table:table-cell office:value-type="boolean" office:boolean-value="{word}"><text:p>{word.upper()}</text:p></table:table-cell>'
    if isinstance(value, datetime.datetime):
        day = value.strftime("%Y-%m-%dT%H:%M:%S")
        return f'<table:table-cell office:value-type="date" office:date-value="{day}"><text:p>{value:%d/%m/%y}</text:p></table:table-cell>'
    if isinstance(value, datetime.date):
        return f'<table:table-cell office:value-type="date" office:date-value="{value}"><text:p>{value:%d/%m/%y}</text:p></table:table-cell>'
    if isinstance(value, tuple):  # a kind of value, its number, its look
        kind, number, look = value
        return f'<table:table-cell office:value-type="{kind}" office:value="{number}"><text:p>{look}</text:p></table:table-cell>'
    if isinstance(value, (int, float)):
        return f'<table:table-cell office:value-type="float" office:value="{value}"><text:p>{value}</text:p></table:table-cell>'
    lines = "".join(f"<text:p>{escape(line)}</text:p>" for line in value.split("\n"))
    return f'<table:table-cell office:value-type="string">{lines}</table:table-cell>'


def sheet(name, rows, blank_after=1_048_500):
    """A sheet whose rows end in one long run of blank rows, as office programs write them."""
    written = "".join(f"<table:table-row>{''.join(cell(value) for value in row)}</table:table-row>" for row in rows)
    blank = f'<table:table-row table:number-rows-repeated="{blank_after}"><table:table-cell table:number-columns-repeated="1024"/></table:table-row>'
    return f"<table:table table:name={quoteattr(name)}>{written}{blank if blank_after else ''}</table:table>"


def ods(kind, name, sheets):
    """A whole OpenDocument file: the mimetype first and unpacked, as section 3.3 of part 2 asks."""
    (HERE / kind).mkdir(exist_ok=True)
    content = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<office:document-content xmlns:office="urn:oasis:names:tc:opendocument:xmlns:office:1.0" '
        'xmlns:table="urn:oasis:names:tc:opendocument:xmlns:table:1.0" '
        'xmlns:text="urn:oasis:names:tc:opendocument:xmlns:text:1.0" office:version="1.3">'
        f"<office:body><office:spreadsheet>{''.join(sheets)}</office:spreadsheet></office:body></office:document-content>"
    )
    manifest = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<manifest:manifest xmlns:manifest="urn:oasis:names:tc:opendocument:xmlns:manifest:1.0" manifest:version="1.3">'
        '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.oasis.opendocument.spreadsheet"/>'
        '<manifest:file-entry manifest:full-path="content.xml" manifest:media-type="text/xml"/></manifest:manifest>'
    )
    with zipfile.ZipFile(HERE / kind / f"{name}.ods", "w") as packed:
        for part, body, how in [
            ("mimetype", "application/vnd.oasis.opendocument.spreadsheet", zipfile.ZIP_STORED),
            ("content.xml", content, zipfile.ZIP_DEFLATED),
            ("META-INF/manifest.xml", manifest, zipfile.ZIP_DEFLATED),
        ]:
            entry = zipfile.ZipInfo(part, (2026, 1, 1, 0, 0, 0))
            entry.compress_type = how
            packed.writestr(entry, body)


def expect(kind, name, dirt, read_as, columns, rows, **more):
    """Writes an expectation. `columns` reads `troop_number=A email=C`; `rows` begin with their number."""
    out = {"dirt": dirt, "read_as": read_as, "columns": dict(pair.split("=") for pair in columns.split())}
    out.update(more)
    out["rows"] = [{"row_number": number, **fields} for number, fields in rows]
    write(kind, name, out)


def expect_fault(kind, name, dirt, code, row=None, column=None):
    write(kind, name, {"dirt": dirt, "fault": {"code": code, "row": row, "column": column}})


def expect_sheets(kind, name, dirt, sheets):
    write(kind, name, {"dirt": dirt, "sheets": sheets})


def write(kind, name, out):
    (HERE / kind / f"{name}.json").write_text(json.dumps(out, ensure_ascii=False, indent=1) + "\n")


UTF8, LATIN = "UTF-8", "windows-1252"
DAY = datetime.date
