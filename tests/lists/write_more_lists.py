"""The dirty lists from the twelfth role list, the eleventh bank details and the tenth certificates on, each with what it
must read as, typed by hand from what stands in the list. Written before the reader was tried on any of them.

    python3 -m venv /tmp/v && /tmp/v/bin/pip install openpyxl && /tmp/v/bin/python tests/lists/write_more_lists.py
"""
import datetime

from write_tools import DAY, LATIN, UTF8, book, expect, expect_fault, expect_sheets, ods, sheet, text

# ---------------------------------------------------------------- role lists
R = "role_list"
text(R, "12_utf16be_short_rows", """\
Troop;First name;Last name;E-mail;Phone
0101;Søren;Quist;soren@example.org;555 0101
0102;Ama;Boateng
103;Zoë;Lindqvist;;555 0103""", encoding="utf-16-be")
(lambda path: path.write_bytes(b"\xfe\xff" + path.read_bytes()))(__import__("pathlib").Path(__file__).parent / R / "12_utf16be_short_rows.csv")
expect(R, "12_utf16be_short_rows", "UTF-16 with the high byte first, rows that end early, no end of line at the end",
       ["UTF-16BE", "semicolon", None], "troop_number=A first_name=B last_name=C email=D phone=E", [
           (2, {"troop_number": "0101", "first_name": "Søren", "last_name": "Quist", "email": "soren@example.org", "phone": "555 0101"}),
           (3, {"troop_number": "0102", "first_name": "Ama", "last_name": "Boateng"}),
           (4, {"troop_number": "103", "first_name": "Zoë", "last_name": "Lindqvist", "phone": "555 0103"})])

text(R, "13_names_in_one_cell", """\
Troop,Coordinator name,Email
101,"Osei, Adèle",adele@example.org
102,Bjørn Ek,bjorn@example.org
103,"van der Berg, Anna Maria",anna@example.org
104,Cher,cher@example.org
105,Lucia de la Torre,lucia@example.org
""")
expect(R, "13_names_in_one_cell", "both names in one cell: last first with a comma, first first, small words, one name only",
       [UTF8, "comma", None], "troop_number=A full_name=B email=C", [
           (2, {"troop_number": "101", "first_name": "Adèle", "last_name": "Osei", "email": "adele@example.org"}),
           (3, {"troop_number": "102", "first_name": "Bjørn", "last_name": "Ek", "email": "bjorn@example.org"}),
           (4, {"troop_number": "103", "first_name": "Anna Maria", "last_name": "van der Berg", "email": "anna@example.org"}),
           (5, {"troop_number": "104", "last_name": "Cher", "email": "cher@example.org"}),
           (6, {"troop_number": "105", "first_name": "Lucia", "last_name": "de la Torre", "email": "lucia@example.org"})],
       problems=[[5, "B", "name_incomplete", "Cher"]])

text(R, "14_headings_in_row_nine", """\
Tanager Youth League

Unit: Juniper Ridge
Season: 2026

Prepared for the unit manager
Do not forward

Troop,First name,Last name,Membership No
101,Ida,Holm,77
Total coordinators: 1
""")
expect(R, "14_headings_in_row_nine", "eight rows of title and blank rows above the headings",
       [UTF8, "comma", None], "troop_number=A first_name=B last_name=C membership_number=D",
       [(10, {"troop_number": "101", "first_name": "Ida", "last_name": "Holm", "membership_number": "77"})],
       header_row=9,
       skipped=[[1, "above_the_headings"], [3, "above_the_headings"], [4, "above_the_headings"], [6, "above_the_headings"],
                [7, "above_the_headings"], [11, "footer"]])

text(R, "15_two_lines_of_headings", """\
,Person,,Contact,
Troop,First name,Last name,E-mail,Telephone
0101,Noor,Haddad,noor@example.org,555 0111
0102,Grace,Mwangi,grace@example.org,555 0112
""")
expect(R, "15_two_lines_of_headings", "a line of groups above the line of headings",
       [UTF8, "comma", None], "troop_number=A first_name=B last_name=C email=D phone=E", [
           (3, {"troop_number": "0101", "first_name": "Noor", "last_name": "Haddad", "email": "noor@example.org", "phone": "555 0111"}),
           (4, {"troop_number": "0102", "first_name": "Grace", "last_name": "Mwangi", "email": "grace@example.org", "phone": "555 0112"})],
       header_row=2, skipped=[[1, "above_the_headings"]])

text(R, "16_one_heading_twice", """\
Troop,First name,Last name,E-mail,E-mail,Shirt size
101,Hana,Sato,hana@example.org,hana.work@example.org,M
102,Piet,van Dyk,,piet.work@example.org,L
""")
expect(R, "16_one_heading_twice", "two columns with one heading: the left one counts, nothing is put together",
       [UTF8, "comma", None], "troop_number=A first_name=B last_name=C email=D", [
           (2, {"troop_number": "101", "first_name": "Hana", "last_name": "Sato", "email": "hana@example.org"}),
           (3, {"troop_number": "102", "first_name": "Piet", "last_name": "van Dyk"})])

text(R, "17_signs_nobody_sees", "\ufeffTroop\u00a0No.,First\u200b name,Last\u00adname,E-mail\u00a0\n"
     "\u00a00101\u200b,Mei\u00a0\u00a0Ling,Lin\u200e,\u202amei@example.org\u202c\n", newline="\n")
expect(R, "17_signs_nobody_sees", "spaces that do not break, signs without width, soft hyphens, marks of direction",
       [UTF8, "comma", None], "troop_number=A first_name=B last_name=C email=D",
       [(2, {"troop_number": "0101", "first_name": "Mei Ling", "last_name": "Lin", "email": "mei@example.org"})])

ods(R, "18_open_document", [sheet("Coordinators", [
    ["Coordinators of Juniper Ridge"],
    [],
    ["Troop", "First name", "Last name", "Membership number", "Membership valid until", "Screening"],
    ["0101", "Łukasz", "Żak", 4003, DAY(2026, 9, 30), True],
    [102, "Ruth", "Adeyemi", "0004001", datetime.datetime(2026, 10, 1, 8, 30), "pending"],
    [],
    ["End of list"],
])])
expect(R, "18_open_document", "an OpenDocument sheet: numbers, days, a day with a time, a truth value, a million blank rows",
       [None, None, "Coordinators"],
       "troop_number=A first_name=B last_name=C membership_number=D membership_valid_until=E screening_outcome=F", [
           (4, {"troop_number": "0101", "first_name": "Łukasz", "last_name": "Żak", "membership_number": "4003",
                "membership_valid_until": "2026-09-30", "screening": "met"}),
           (5, {"troop_number": "102", "first_name": "Ruth", "last_name": "Adeyemi", "membership_number": "0004001",
                "membership_valid_until": "2026-10-01"  # and pending, which states nothing but is read
                , "screening": "pending"})],
       header_row=3, skipped=[[1, "above_the_headings"], [7, "footer"]])

text(R, "19_thousand_accents", "Troop,First name,Last name,E-mail\n101,Ana" + "\u0301" * 1000 + ",Lee,ana@example.org\n102,Bo,Ek,bo@example.org\n")
expect(R, "19_thousand_accents", "a name with a thousand accents on one letter",
       [UTF8, "comma", None], "troop_number=A first_name=B last_name=C email=D", [
           (2, {"troop_number": "101", "last_name": "Lee", "email": "ana@example.org"}),
           (3, {"troop_number": "102", "first_name": "Bo", "last_name": "Ek", "email": "bo@example.org"})],
       problems=[[2, "B", "not_a_name", "Ana" + "\u0301" * 117]])


def several(workbook):
    first = workbook.active
    first.title = "North"
    first.append(["Troop", "First name", "Last name", "E-mail"])
    first.append(["0101", "Olu", "Ade", "olu@example.org"])
    second = workbook.create_sheet("South")
    second.append(["Troop", "First name", "Last name", "E-mail"])
    second.append(["0201", "Tomás", "Herrera", "tomas@example.org"])
    workbook.create_sheet("Notes")["A1"] = "Two parts of the unit."


book(R, "20_two_sheets_of_one_kind", several)
expect_sheets(R, "20_two_sheets_of_one_kind", "two sheets could each be the list: a person is asked", ["North", "South"])

# ---------------------------------------------------------------- bank details
B = "bank_details"
ods(B, "11_open_document_days", [sheet("Forms", [
    ["Troop", "Received on"],
    ["0101", DAY(2026, 1, 5)],
    [102, "2026-01-06"],
    ["0103", None],
    ["Total", 2],
]), sheet("Help", [["Write one troop a row."]])])
expect(B, "11_open_document_days", "an OpenDocument file with days as days and as text, an empty cell, a count, a second sheet",
       [None, None, "Forms"], "troop_number=A received_on=B", [
           (2, {"troop_number": "0101", "received_on": "2026-01-05"}),
           (3, {"troop_number": "102", "received_on": "2026-01-06"}),
           (4, {"troop_number": "0103"})],
       skipped=[[5, "footer"]], other_sheets=["Help"])

text(B, "12_returns_only", "Troop\tDate received\n0101\t2026-01-05\n0102\t2026-01-06\n", newline="\r")
expect(B, "12_returns_only", "lines that end in a carriage return alone, as very old programs write them",
       [UTF8, "tab", None], "troop_number=A received_on=B",
       [(2, {"troop_number": "0101", "received_on": "2026-01-05"}), (3, {"troop_number": "0102", "received_on": "2026-01-06"})])

text(B, "13_troop_in_every_writing", """\
Troop,Received on
Troop 101,2026-01-05
troop-0102,2026-01-05
#103,2026-01-05
TROOP #0104,2026-01-06
 Troop. 105 ,2026-01-06
A07,2026-01-06
""")
expect(B, "13_troop_in_every_writing", "the word troop and a number sign before the number, letters in a number",
       [UTF8, "comma", None], "troop_number=A received_on=B", [
           (2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "0102", "received_on": "2026-01-05"}),
           (4, {"troop_number": "103", "received_on": "2026-01-05"}), (5, {"troop_number": "0104", "received_on": "2026-01-06"}),
           (6, {"troop_number": "105", "received_on": "2026-01-06"}), (7, {"troop_number": "A07", "received_on": "2026-01-06"})])

text(B, "14_months_by_name", """\
Troop,Form received
101,Mon 5 January 2026
102,6-Jan-26
103,"Jan. 7, 2026"
104,8th January 2026
105,the ninth of January
""")
expect(B, "14_months_by_name", "months by name in four writings, and a day in words",
       [UTF8, "comma", None], "troop_number=A received_on=B", [
           (2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "102", "received_on": "2026-01-06"}),
           (4, {"troop_number": "103", "received_on": "2026-01-07"}), (5, {"troop_number": "104", "received_on": "2026-01-08"}),
           (6, {"troop_number": "105"})],
       problems=[[6, "B", "not_a_day", "the ninth of January"]])

text(B, "15_one_cell_decides", """\
Troop;Eingegangen am
101;3.1.26
102;05.01.26
103;13.01.26
""", encoding="cp1252")
expect(B, "15_one_cell_decides", "two-digit years; one cell alone says that days come first",
       [UTF8, "semicolon", None], "troop_number=A received_on=B", [
           (2, {"troop_number": "101", "received_on": "2026-01-03"}), (3, {"troop_number": "102", "received_on": "2026-01-05"}),
           (4, {"troop_number": "103", "received_on": "2026-01-13"})])

text(B, "16_instants", """\
Troop,Received at
101,2026-01-05T18:30:00Z
102,2026-01-05 23:59:59
103,2026-01-05T10:00:00+02:00
104,2026/01/06 7:05 AM
""")
expect(B, "16_instants", "instants with zones where a day is wanted: the day as written counts",
       [UTF8, "comma", None], "troop_number=A received_on=B", [
           (2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "102", "received_on": "2026-01-05"}),
           (4, {"troop_number": "103", "received_on": "2026-01-05"}), (5, {"troop_number": "104", "received_on": "2026-01-06"})])

text(B, "17_commas_inside", """\
Troop;Name of troop;Received on
101;"Otters, the first";2026-01-05
102;"Herons; and others";2026-01-06
103;Kites, Owls, Wrens;2026-01-07
""")
expect(B, "17_commas_inside", "commas and semicolons inside the cells of a semicolon list",
       [UTF8, "semicolon", None], "troop_number=A received_on=C", [
           (2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "102", "received_on": "2026-01-06"}),
           (4, {"troop_number": "103", "received_on": "2026-01-07"})])

text(B, "18_closing_lines", """\
Troop,Received on
101,2026-01-05
102,2026-01-06
------,
Grand total,2
3 forms,
Printed 9 January 2026 by the office,
Page 1 of 1,
""")
expect(B, "18_closing_lines", "five closing lines of different kinds",
       [UTF8, "comma", None], "troop_number=A received_on=B",
       [(2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "102", "received_on": "2026-01-06"})],
       skipped=[[4, "footer"], [5, "footer"], [6, "footer"], [7, "footer"], [8, "footer"]])


def cells(workbook):
    page = workbook.active
    page.title = "Forms"
    page.append(["Troop", "Received on", "Checked"])
    page.append([101, datetime.datetime(2026, 1, 5, 9, 15), True])
    page.append(["0102", "06.01.2026", False])
    page.append([103.0, "13.01.2026", None])
    page.append([104.25, DAY(2026, 1, 9), None])
    page.append(["0105", True, None])


book(B, "19_cells_of_every_kind", cells)
expect(B, "19_cells_of_every_kind", "troops as numbers and text, a number with a fraction, a truth value where a day is wanted",
       [None, None, "Forms"], "troop_number=A received_on=B", [
           (2, {"troop_number": "101", "received_on": "2026-01-05"}), (3, {"troop_number": "0102", "received_on": "2026-01-06"}),
           (4, {"troop_number": "103", "received_on": "2026-01-13"}), (5, {"received_on": "2026-01-09"}),
           (6, {"troop_number": "0105"})],
       problems=[[5, "A", "number_shortened", "104.25"], [6, "B", "not_a_day", "yes"]])

text(B, "20_days_out_of_time", """\
Troop,Received on
101,1900-01-00
102,2199-01-01
103,0
104,2026-00-10
105,2026-01-10
""")
expect(B, "20_days_out_of_time", "days that no calendar has, and years that no list of this trade can mean",
       [UTF8, "comma", None], "troop_number=A received_on=B", [
           (2, {"troop_number": "101"}), (3, {"troop_number": "102"}), (4, {"troop_number": "103"}), (5, {"troop_number": "104"}),
           (6, {"troop_number": "105", "received_on": "2026-01-10"})],
       problems=[[2, "B", "not_a_day", "1900-01-00"], [3, "B", "not_a_day", "2199-01-01"], [4, "B", "not_a_day", "0"],
                 [5, "B", "not_a_day", "2026-00-10"]])

# ---------------------------------------------------------------- certificates
C = "certificates"
NAMED = "first_name=A last_name=B email=C course_code=D completed_on=E score=F"


def person(first, last, course="yearly", on="2026-01-10", **more):
    address = f"{first.split(' ')[0].lower()}@example.org"
    return {"first_name": first, "last_name": last, "email": address, "course_code": course, "completed_on": on, **more}


ods(C, "10_open_document_scores", [sheet("Quiz", [
    ["First name", "Last name", "E-mail", "Course", "Completed on", "Score"],
    ["Sam", "Okoye", "sam@example.org", "yearly", DAY(2026, 1, 10), ("percentage", 0.925, "92.5%")],
    ["Ines", "Calloway", "ines@example.org", "yearly", DAY(2026, 1, 10), ("percentage", 1, "100%")],
    ["Records: 2"],
])])
expect(C, "10_open_document_scores", "an OpenDocument file that keeps per cents as fractions",
       [None, None, "Quiz"], NAMED, [(2, person("Sam", "Okoye", score=9250)), (3, person("Ines", "Calloway", score=10000))],
       skipped=[[4, "footer"]])

text(C, "11_a_fraction_among_per_cents", """\
First name,Last name,E-mail,Course,Completed on,Score
Ida,Holm,ida@example.org,yearly,2026-01-10,0.92
Bo,Lind,bo@example.org,yearly,2026-01-10,92
Eva,Berg,eva@example.org,yearly,2026-01-10,100.00
""")
expect(C, "11_a_fraction_among_per_cents", "0.92 beside 92: the column holds per cents, so 0.92 is less than one per cent",
       [UTF8, "comma", None], NAMED,
       [(2, person("Ida", "Holm", score=92)), (3, person("Bo", "Lind", score=9200)), (4, person("Eva", "Berg", score=10000))])

text(C, "12_last_names_first", """\
Participant name;Member ID;Training;Date of completion
Holm, Ida Marie;0042;Yearly training;10.01.2026
de la Cruz, Ana;43;Yearly training;13.01.2026
Núñez, María José;0044;First season;14.01.2026
""", encoding="cp1252")
expect(C, "12_last_names_first", "last name first with a comma inside a semicolon list, Windows letters",
       [LATIN, "semicolon", None], "full_name=A membership_number=B course_code=C completed_on=D", [
           (2, {"first_name": "Ida Marie", "last_name": "Holm", "membership_number": "0042", "course_code": "Yearly training", "completed_on": "2026-01-10"}),
           (3, {"first_name": "Ana", "last_name": "de la Cruz", "membership_number": "43", "course_code": "Yearly training", "completed_on": "2026-01-13"}),
           (4, {"first_name": "María José", "last_name": "Núñez", "membership_number": "0044", "course_code": "First season", "completed_on": "2026-01-14"})])

text(C, "13_courses_as_people_write_them", """\
First name,Last name,E-mail,Course,Completed on
Tariq,Aziz,tariq@example.org,  YEARLY   Training ,2026-01-10
Wren,Sharp,wren@example.org,yearly_training,2026-01-11
Kofi,Mensah,kofi@example.org,,2026-01-12
Lena,Vogt,lena@example.org,Yearly training,
""")
expect(C, "13_courses_as_people_write_them", "a course in capitals with wide spaces, one missing, a day missing",
       [UTF8, "comma", None], "first_name=A last_name=B email=C course_code=D completed_on=E", [
           (2, person("Tariq", "Aziz", "YEARLY Training")), (3, person("Wren", "Sharp", "yearly_training", "2026-01-11")),
           (4, {"first_name": "Kofi", "last_name": "Mensah", "email": "kofi@example.org", "completed_on": "2026-01-12"}),
           (5, {"first_name": "Lena", "last_name": "Vogt", "email": "lena@example.org", "course_code": "Yearly training"})])

text(C, "14_months_first", """\
First name,Last name,E-mail,Course,Date completed
Ida,Holm,ida@example.org,yearly,01/02/2026
Bo,Lind,bo@example.org,yearly,01/31/2026
""")
expect(C, "14_months_first", "one cell alone says that months come first",
       [UTF8, "comma", None], "first_name=A last_name=B email=C course_code=D completed_on=E",
       [(2, person("Ida", "Holm", on="2026-01-02")), (3, person("Bo", "Lind", on="2026-01-31"))])

text(C, "15_utf16_semicolons", "Vorname;Nachname;Mitgliedsnummer;Kurs;Date\nJürgen;Müller;0042;first_season;14.1.2026\n", encoding="utf-16-le")
(lambda path: path.write_bytes(b"\xff\xfe" + path.read_bytes()))(__import__("pathlib").Path(__file__).parent / C / "15_utf16_semicolons.csv")
expect(C, "15_utf16_semicolons", "UTF-16 with the low byte first, headings in another language",
       ["UTF-16LE", "semicolon", None], "first_name=A last_name=B membership_number=C course_code=D completed_on=E",
       [(2, {"first_name": "Jürgen", "last_name": "Müller", "membership_number": "0042", "course_code": "first_season", "completed_on": "2026-01-14"})])

text(C, "16_addresses_in_every_writing", """\
First name,Last name,E-mail,Course,Completed on
Ruth,Adeyemi,mailto:ruth@example.org,yearly,2026-01-10
Noor,Haddad,Noor Haddad <NOOR@Example.org>,yearly,2026-01-10
Sam,Lee,sam@example.org;,yearly,2026-01-10
Eva,Berg,"eva@example.org, eva.berg@example.org",yearly,2026-01-10
Bo,Lind,bo at example.org,yearly,2026-01-10
""")
expect(C, "16_addresses_in_every_writing", "a link, an address in brackets, a stray semicolon, two addresses, one in words",
       [UTF8, "comma", None], "first_name=A last_name=B email=C course_code=D completed_on=E", [
           (2, person("Ruth", "Adeyemi")), (3, person("Noor", "Haddad")), (4, person("Sam", "Lee")),
           (5, {"first_name": "Eva", "last_name": "Berg", "course_code": "yearly", "completed_on": "2026-01-10"}),
           (6, {"first_name": "Bo", "last_name": "Lind", "course_code": "yearly", "completed_on": "2026-01-10"})],
       problems=[[5, "C", "not_an_email", "eva@example.org, eva.berg@example.org"], [6, "C", "not_an_email", "bo at example.org"]])

text(C, "17_blank_columns", """\
,First name,,Last name,Teacher,Course,Completed on,E-mail,
1,Hana,,Sato,M. Okafor,yearly,2026-01-10,hana@example.org,
2,Olu,,Ade,M. Okafor,yearly,2026-01-10,olu@example.org,
""")
expect(C, "17_blank_columns", "columns without headings, a running number, a column that is not wanted, a comma at the end",
       [UTF8, "comma", None], "first_name=B last_name=D course_code=F completed_on=G email=H",
       [(2, person("Hana", "Sato")), (3, person("Olu", "Ade"))])

text(C, "18_headings_on_every_page", """\
First name,Last name,E-mail,Course,Completed on
Grace,Mwangi,grace@example.org,yearly,2026-01-10
Page 1 of 2,,,,
First name,Last name,E-mail,Course,Completed on
Piet,Dyk,piet@example.org,yearly,2026-01-10
Page 2 of 2,,,,
""")
expect(C, "18_headings_on_every_page", "the headings again on every page, and page numbers",
       [UTF8, "comma", None], "first_name=A last_name=B email=C course_code=D completed_on=E",
       [(2, person("Grace", "Mwangi")), (5, person("Piet", "Dyk"))],
       skipped=[[3, "footer"], [4, "headings_again"], [6, "footer"]])

text(C, "19_scores_that_are_none", """\
First name,Last name,E-mail,Course,Completed on,Score
Ida,Holm,ida@example.org,yearly,2026-01-10,18 / 20
Bo,Lind,bo@example.org,yearly,2026-01-10,17.5/20
Eva,Berg,eva@example.org,yearly,2026-01-10,21/20
Finn,Dahl,finn@example.org,yearly,2026-01-10,-5
Wren,Sharp,wren@example.org,yearly,2026-01-10,n/a
""")
expect(C, "19_scores_that_are_none", "scores as a ratio, a half point, more than all, below nothing, none",
       [UTF8, "comma", None], NAMED, [
           (2, person("Ida", "Holm", score=9000)), (3, person("Bo", "Lind", score=8750)), (4, person("Eva", "Berg")),
           (5, person("Finn", "Dahl")), (6, person("Wren", "Sharp"))],
       problems=[[4, "F", "not_a_score", "21/20"], [5, "F", "not_a_score", "-5"]])

text(C, "20_open_quotation_mark", 'First name,Last name,E-mail,Course,Completed on\n'
     '"Mary\nAnn",Lee,mary@example.org,yearly,2026-01-10\nSam,Lee,"sam@example.org,yearly,2026-01-10\n')
expect_fault(C, "20_open_quotation_mark", "a name over two lines, then a quotation mark that is never closed", "unclosed_quote", 3, "C")
