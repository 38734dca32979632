"""The dirty troop lists, each with what it must read as, typed by hand from what stands in the list. Written before the
program could read this kind of list at all.

    python3 -m venv /tmp/v && /tmp/v/bin/pip install openpyxl XlsxWriter && /tmp/v/bin/python tests/lists/write_troop_lists.py
"""
import datetime
import pathlib

import xlsxwriter
from write_tools import DAY, LATIN, UTF8, book, expect, expect_fault, expect_sheets, ods, sheet, text

T = "troop_list"
ALL = "troop_number=A troop_name=B age_band=C meeting_place=D selling_youths=E first_season=F"
HEAD = "Troop number,Name,Age band,Meeting place,Selling youths,First season\n"


def troop(number, name=None, band=None, place=None, youths=None, first=None):
    named = {"troop_number": number, "troop_name": name, "age_band": band, "meeting_place": place,
             "selling_youths": youths, "first_season": first}
    return {key: value for key, value in named.items() if value is not None}


text(T, "01_spaces_and_zeros", HEAD + """\
0101, Otters ,juniors,"Community hall, back room",12,no
 0102,Night  Herons,cadettes,Library,9 ,NO
103,,juniors,,7,yes
""")
expect(T, "01_spaces_and_zeros", "zeros in front, spaces around and inside, a comma inside a cell, a troop without a name or a place",
       [UTF8, "comma", None], ALL, [
           (2, troop("0101", "Otters", "juniors", "Community hall, back room", 12, False)),
           (3, troop("0102", "Night Herons", "cadettes", "Library", 9, False)),
           (4, troop("103", None, "juniors", None, 7, True))])

text(T, "02_windows_semicolon_title_totals", """\
Juniper Ridge: troops of the season;;;;;
as of 12.01.2026;;;;;
;;;;;
TROOP NO.;Troop name;LEVEL;Meets at;Girls selling;New troop
101;Fjällfüchse;Juniors;Gemeindehaus Süd;12;nein
102;Les Étoiles;Cadettes;École nº 2;8;ja
;;;;;
Total;2;;;20;1
""", encoding="cp1252")
expect(T, "02_windows_semicolon_title_totals", "Windows letters, two lines of title, a totals row with three figures, yes and no in another language",
       [LATIN, "semicolon", None], ALL, [
           (5, troop("101", "Fjällfüchse", "Juniors", "Gemeindehaus Süd", 12, False)),
           (6, troop("102", "Les Étoiles", "Cadettes", "École nº 2", 8, True))],
       header_row=4, skipped=[[1, "above_the_headings"], [2, "above_the_headings"], [8, "footer"]])

text(T, "03_youths_in_every_writing", """\
Troop,Number of youths
101,12 girls
102,12.0
103,twelve
104,
105,"12,0"
106,12.5
107,10-12
108,~12
109,501
110,Thirty-one
111,9 Youths
112,0
113,-3
114,n/a
115,012
116,12 (2 new)
117,many
""")
expect(T, "03_youths_in_every_writing", "a number with a word, with a fraction of nothing, in letters, as a range, about, too large, below nothing, none",
       [UTF8, "comma", None], "troop_number=A selling_youths=B", [
           (2, troop("101", youths=12)), (3, troop("102", youths=12)), (4, troop("103", youths=12)), (5, troop("104")),
           (6, troop("105", youths=12)), (7, troop("106")), (8, troop("107")), (9, troop("108")), (10, troop("109")),
           (11, troop("110", youths=31)), (12, troop("111", youths=9)), (13, troop("112", youths=0)), (14, troop("113")),
           (15, troop("114")), (16, troop("115", youths=12)), (17, troop("116")), (18, troop("117"))],
       problems=[[7, "B", "not_a_count", "12.5"], [8, "B", "not_a_count", "10-12"], [9, "B", "not_a_count", "~12"],
                 [10, "B", "not_a_count", "501"], [14, "B", "not_a_count", "-3"], [17, "B", "not_a_count", "12 (2 new)"],
                 [18, "B", "not_a_count", "many"]])

LONG_BAND = "juniors and cadettes and whoever else comes"
text(T, "04_age_bands_in_every_writing", f"""\
Troop;Age group;Youths
101; juniors ;1
102;JUNIORS;2
103;Juniors (grades 4-5);3
104;7;4
105;5-Apr;5
106;10–12;6
107;-;7
108;{LONG_BAND};8
109;4/5;9
110;Jun-08;10
111;K-1;11
""")
expect(T, "04_age_bands_in_every_writing", "bands with spaces, in capitals, with grades, as numbers, as ranges, turned into days by a spreadsheet, too long",
       [UTF8, "semicolon", None], "troop_number=A age_band=B selling_youths=C", [
           (2, troop("101", band="juniors", youths=1)), (3, troop("102", band="JUNIORS", youths=2)),
           (4, troop("103", band="Juniors (grades 4-5)", youths=3)), (5, troop("104", band="7", youths=4)),
           (6, troop("105", youths=5)), (7, troop("106", band="10–12", youths=6)), (8, troop("107", youths=7)),
           (9, troop("108", youths=8)), (10, troop("109", band="4/5", youths=9)), (11, troop("110", youths=10)),
           (12, troop("111", band="K-1", youths=11))],
       problems=[[6, "B", "not_an_age_band", "5-Apr"], [9, "B", "too_long", LONG_BAND], [11, "B", "not_an_age_band", "Jun-08"]])

text(T, "05_yes_and_no_in_every_writing", """\
Troop,First season?
101,yes
102,Y
103,x
104,✓
105,TRUE
106,1
107,new
108,NO
109,n
110,False
111,0
112,returning
113,
114,-
115,maybe
116,First season
117,✗
118,2
""")
expect(T, "05_yes_and_no_in_every_writing", "yes and no as words, letters, ticks, truth values, numbers, new and returning",
       [UTF8, "comma", None], "troop_number=A first_season=B",
       [(row, troop(str(99 + row), first=first)) for row, first in
        enumerate([True] * 7 + [False] * 5 + [None] * 3 + [True, False, None], start=2)],
       problems=[[16, "B", "not_yes_or_no", "maybe"], [19, "B", "not_yes_or_no", "2"]])

text(T, "06_numbers_damaged", """\
Number,Name,Grade level
101.0,Otters,4
0102,Herons,4
1.03E+02,Foxes,5
Troop 0104,Badgers,5
#105,Larks,6
106A,Wrens,6
107.5,Voles,6
 0108.00 ,Moles,6
,Nobody,6
Unknown,Somebody,6
""")
expect(T, "06_numbers_damaged", "numbers with a fraction of nothing, shortened, with the word troop, with a letter, with a real fraction, missing, a word",
       [UTF8, "comma", None], "troop_number=A troop_name=B age_band=C", [
           (2, troop("101", "Otters", "4")), (3, troop("0102", "Herons", "4")), (4, troop(None, "Foxes", "5")),
           (5, troop("0104", "Badgers", "5")), (6, troop("105", "Larks", "6")), (7, troop("106A", "Wrens", "6")),
           (8, troop(None, "Voles", "6")), (9, troop("0108", "Moles", "6")), (10, troop(None, "Nobody", "6")),
           (11, troop("Unknown", "Somebody", "6"))],
       problems=[[4, "A", "number_shortened", "1.03E+02"], [8, "A", "number_shortened", "107.5"]])

text(T, "07_tabs_bom_page_break", """\
Trp No\tGroup name\tAges\tYouth count
0101\tOtters\t8-9\t12
Page 1 of 2
Trp No\tGroup name\tAges\tYouth count
0102\tHerons\t10-11\t9
Page 2 of 2
""", encoding="utf-8-sig")
expect(T, "07_tabs_bom_page_break", "tabs, a byte order mark, the headings again on the second page, page numbers",
       [UTF8, "tab", None], "troop_number=A troop_name=B age_band=C selling_youths=D", [
           (2, troop("0101", "Otters", "8-9", None, 12)), (5, troop("0102", "Herons", "10-11", None, 9))],
       skipped=[[3, "footer"], [4, "headings_again"], [6, "footer"]])

text(T, "08_utf16_semicolons", "Troop;Name;Age band;Meeting location;Selling youths\n0101;Żubry;młodsi;Świetlica;12\n0102;Łosie;starsi;Biblioteka;8",
     encoding="utf-16-le")
(lambda path: path.write_bytes(b"\xff\xfe" + path.read_bytes()))(pathlib.Path(__file__).parent / T / "08_utf16_semicolons.csv")
expect(T, "08_utf16_semicolons", "UTF-16 with the low byte first, no end of line at the end",
       ["UTF-16LE", "semicolon", None], "troop_number=A troop_name=B age_band=C meeting_place=D selling_youths=E", [
           (2, troop("0101", "Żubry", "młodsi", "Świetlica", 12)), (3, troop("0102", "Łosie", "starsi", "Biblioteka", 8))])

text(T, "09_no_headings", """\
0101,Otters,juniors,Community hall,12,no
0102,Herons,cadettes,Library,9,no
""")
expect_fault(T, "09_no_headings", "a list whose first row is a troop already", "no_headings", 1)

text(T, "10_web_page", "<!DOCTYPE html>\n<html><body><table><tr><td>Troop</td><td>Name</td></tr></table></body></html>\n")
expect_fault(T, "10_web_page", "a web page that calls itself a list", "not_a_list")

text(T, "11_open_quotation_mark", 'Troop,Name,Age band\n0101,Otters,juniors\n0102,"Herons,cadettes\n0103,Foxes,juniors\n')
expect_fault(T, "11_open_quotation_mark", "a quotation mark that is never closed", "unclosed_quote", 3, "B")

text(T, "12_zero_byte", "Troop,Name,Age band\n0101,Otters,juniors\n0102,He\0rons,cadettes\n")
expect_fault(T, "12_zero_byte", "a zero byte inside a name", "zero_byte", 3, "B")

text(T, "13_one_heading_twice", """\
Troop,Name,Leader name,E-mail address,Youths,Youths registered,Name
0101,Otters,Ann Lee,ann@example.org,12,14,Lee
0102,Herons,Bo Ek,bo@example.org,9,9,Ek
""")
expect(T, "13_one_heading_twice", "two columns with one heading; a leader's name and address, which are no troop's name and no meeting place; two counts",
       [UTF8, "comma", None], "troop_number=A troop_name=B selling_youths=E", [
           (2, troop("0101", "Otters", youths=12)), (3, troop("0102", "Herons", youths=9))])

text(T, "14_two_lines_with_one_number", HEAD + """\
0101,Otters,juniors,Community hall,12,no
0102,Herons,cadettes,Library,9,no
101,Otters,juniors,Community hall,15,no
0102,Herons,cadettes,Library,9,no
""")
expect(T, "14_two_lines_with_one_number", "one number on two lines that differ, another on two that say the same: the reader reads them all",
       [UTF8, "comma", None], ALL, [
           (2, troop("0101", "Otters", "juniors", "Community hall", 12, False)),
           (3, troop("0102", "Herons", "cadettes", "Library", 9, False)),
           (4, troop("101", "Otters", "juniors", "Community hall", 15, False)),
           (5, troop("0102", "Herons", "cadettes", "Library", 9, False))])


def merged(workbook):
    page = workbook.active
    page.title = "Troops"
    page["A1"] = "Troops of Juniper Ridge"
    page.merge_cells("A1:F1")
    for place, heading in enumerate(["Age band", "Troop #", "Troop name", "Selling youths", "First season", "Meeting place"]):
        page.cell(row=3, column=place + 1, value=heading)
    page["A4"] = "juniors"
    page.merge_cells("A4:A5")
    page["B4"], page["C4"], page["D4"], page["E4"], page["F4"] = 101, "Otters", 12, True, "Community hall"
    page["B5"], page["C5"], page["D5"], page["E5"], page["F5"] = "0102", "Herons", 9.0, False, "Library"
    page["A6"], page["B6"], page["C6"], page["D6"], page["E6"] = "cadettes", 103.0, "Foxes", "=4+5", "x"
    page["A8"], page["D8"] = "Total", 21


book(T, "15_merged_and_formula", merged)
expect(T, "15_merged_and_formula", "a merged title, a band merged over two troops, a formula without its result, truth values, a total",
       [None, None, "Troops"],
       "age_band=A troop_number=B troop_name=C selling_youths=D first_season=E meeting_place=F", [
           (4, troop("101", "Otters", "juniors", "Community hall", 12, True)),
           (5, troop("0102", "Herons", "juniors", "Library", 9, False)),
           (6, troop("103", "Foxes", "cadettes", None, None, True))],
       header_row=3, skipped=[[1, "above_the_headings"], [8, "footer"]], problems=[[6, "D", "formula_without_value", "=4+5"]])


def districts(workbook):
    notes = workbook.active
    notes.title = "Read me"
    notes["A1"] = "One sheet for each half of the town."
    for name, number in [("North", "0101"), ("South", "0102")]:
        page = workbook.create_sheet(name)
        page.append(["Troop", "Name", "Age band", "Selling youths"])
        page.append([number, f"{name} troop", "juniors", 12])


book(T, "16_two_sheets_of_one_kind", districts)
expect_sheets(T, "16_two_sheets_of_one_kind", "two sheets that could each be the list, and a sheet of notes", ["North", "South"])


ods(T, "17_open_document", [sheet("Troops", [
    ["Troops of Juniper Ridge"],
    [],
    ["Troop", "Name", "Age band", "Meeting place", "Selling youths", "First season"],
    ["0101", "Otters", "juniors", "Community hall\nback room", 12, False],
    [102, "Herons", "cadettes", None, ("float", 9, "9.00"), True],
    [103.0, "Foxes", DAY(2026, 4, 5), "Library", DAY(2026, 1, 12), None],
    [],
    ["Number of troops", 3],
])])
expect(T, "17_open_document", "an OpenDocument sheet: two lines in a cell, whole numbers with a fraction, days where a band and a count are meant, a million blank rows",
       [None, None, "Troops"], ALL, [
           (4, troop("0101", "Otters", "juniors", "Community hall back room", 12, False)),
           (5, troop("102", "Herons", "cadettes", None, 9, True)),
           (6, troop("103", "Foxes", None, "Library"))],
       header_row=3, skipped=[[1, "above_the_headings"], [8, "footer"]],
       problems=[[6, "C", "not_an_age_band", "2026-04-05"], [6, "E", "not_a_count", "2026-01-12"]])


def computed():
    folder = pathlib.Path(__file__).parent / T
    workbook = xlsxwriter.Workbook(folder / "18_formulas_and_other_sheets.xlsx")
    workbook.set_properties({"created": datetime.datetime(2026, 1, 1)})
    page = workbook.add_worksheet("Season 2026")
    old = workbook.add_worksheet("2025")
    old.hide()
    old.write_row("A1", ["Troop", "Name", "Age band", "Selling youths"])
    old.write_row("A2", ["0999", "Nobody", "juniors", 5])
    page.write_row("A1", ["Troop", "Name", "Age band", "Selling youths", "First season"])
    page.write_formula("A2", "=100+1", None, 101)
    page.write("B2", "Otters")
    page.write_formula("C2", '=LOWER("JUNIORS")', None, "juniors")
    page.write_formula("D2", "=6*2", None, 12)
    page.write_formula("E2", "=1=2", None, False)
    page.write_row("A3", ["0102", "Herons", "cadettes", "9", "no"])
    page.write_row("A4", ["0103", "Foxes", "juniors"])
    page.write_formula("D4", "=1/0", None, "#DIV/0!")
    page.write_row("A5", [104.25, "Larks", "juniors", 6.5, "yes"])
    workbook.close()


computed()
expect(T, "18_formulas_and_other_sheets", "formulas with results and with an error, a hidden list of last year, numbers as text, numbers with a fraction",
       [None, None, "Season 2026"], "troop_number=A troop_name=B age_band=C selling_youths=D first_season=E", [
           (2, troop("101", "Otters", "juniors", None, 12, False)),
           (3, troop("0102", "Herons", "cadettes", None, 9, False)),
           (4, troop("0103", "Foxes", "juniors")),
           (5, troop(None, "Larks", "juniors", None, None, True))],
       other_sheets=["2025"],
       problems=[[4, "D", "formula_error", "#DIV/0!"], [5, "A", "number_shortened", "104.25"], [5, "D", "not_a_count", "6.5"]])

text(T, "19_groups_inside_the_list", "\ufeffTroop\u00a0no.,Name\u200b,Age\u00adband,Selling\u00a0youths\n"
     "North of the river,,,\n\u00a00101\u200b,Ot\u00adters,juniors\u00a0,12\n0102,Herons,cadettes,9\n"
     "South of the river,,,\n0103,Foxes,juniors,7\nSubtotal South,,,7\nEnd of list,,,\n", newline="\n")
expect(T, "19_groups_inside_the_list", "lines that name a part of the town, a subtotal, signs that nobody sees in headings and cells",
       [UTF8, "comma", None], "troop_number=A troop_name=B age_band=C selling_youths=D", [
           (2, troop("North of the river")), (3, troop("0101", "Otters", "juniors", None, 12)),
           (4, troop("0102", "Herons", "cadettes", None, 9)), (5, troop("South of the river")),
           (6, troop("0103", "Foxes", "juniors", None, 7))],
       skipped=[[7, "footer"], [8, "footer"]])

LONG_NAME, LONG_PLACE = "O" * 121, "H" * 201
text(T, "20_texts_that_bite", HEAD + f'''\
0101,'=1+1,juniors,"'@home",12,no
0102,"Herons, ""the loud ones""",cadettes,"Library
first floor",9,no
0103,{LONG_NAME},juniors,{LONG_PLACE},7,no
0104,none,juniors,tbd,5,no
0105,0105,juniors,0105,5,no
''', newline="\n")
expect(T, "20_texts_that_bite", "guarded formulas as an export writes them, quotation marks and lines inside cells, texts that are too long, words for nothing, a number as a name",
       [UTF8, "comma", None], ALL, [
           (2, troop("0101", "=1+1", "juniors", "@home", 12, False)),
           (3, troop("0102", 'Herons, "the loud ones"', "cadettes", "Library first floor", 9, False)),
           (4, troop("0103", None, "juniors", None, 7, False)),
           (5, troop("0104", None, "juniors", None, 5, False)),
           (6, troop("0105", "0105", "juniors", "0105", 5, False))],
       problems=[[4, "B", "too_long", LONG_NAME[:120]], [4, "D", "too_long", LONG_PLACE[:120]]])
