"""Writes the dirty lists of this folder byte by byte. The lists are written from what people really send, never from
what a parser gives back; the expectations (.json) were typed by hand from these texts.

    python3 -m venv /tmp/v && /tmp/v/bin/pip install openpyxl XlsxWriter && /tmp/v/bin/python tests/lists/write_lists.py
"""
import datetime
import pathlib

import openpyxl
import xlsxwriter

HERE = pathlib.Path(__file__).parent


def text(kind, name, content, encoding="utf-8", newline="\r\n"):
    body = content.replace("\n", newline)
    (HERE / kind / f"{name}.csv").write_bytes(body.encode(encoding))


def book(kind, name, fill):
    workbook = openpyxl.Workbook()
    fill(workbook)
    workbook.properties.created = workbook.properties.modified = datetime.datetime(2026, 1, 1)
    workbook.save(HERE / kind / f"{name}.xlsx")


# ---------------------------------------------------------------- role lists
text("role_list", "01_spaces_and_zeros", """\
Troop,First name,Last name,E-mail,Phone,Membership number,Membership valid until,Screening,Screening valid until
0101, Adèle ,Osei,adele.osei@example.org ,555-0101,0004711,2026-09-30,yes,2028-03-01
 0102,Bjørn,Ek,BJORN@EXAMPLE.ORG,(555) 0102,4712,2026-09-30,YES,2028-03-01
103,Mary  Ann,O’Brien,,555 0103,4713,2025-09-30,No,
""")
text("role_list", "02_windows_semicolon_title_footer", """\
Juniper Ridge: coordinators;;;;
;;;;
as of 12.01.2026;;;;
TROOP NO.;Surname;Forename;E-Mail Address;Membership expires
101;Núñez;María José;mj@example.org;30.9.2026
102;Müller;Jürgen;none;13.10.2026
;;;;
103;D'Angelo;Lucia;lucia@example.org;1.2.2027
Total: 3;;;;
""", encoding="cp1252")
text("role_list", "03_tabs_bom_page_break", """\
Group number\tCoordinator\tE-mail\tMember ID\tMembership expiration date\tBackground check\tBackground check expires
101\tRaman, Priya\tpriya@example.org\tM-882\t09/30/2026\tCleared\t1/15/2028
102\tvan Dyk, Piet\tpiet@example.org\tM-883\t09/30/2026\tin progress\t
Page 1 of 2
Group number\tCoordinator\tE-mail\tMember ID\tMembership expiration date\tBackground check\tBackground check expires
103\tAna de la Cruz\tana@example.org\tM-884\t10/01/2026\tMaybe\t2/3/2028
Page 2 of 2
""", encoding="utf-8-sig")
text("role_list", "04_quotes_and_lines", """\
sep=,
"Troop #","First Name","Last Name","Email","Phone"
"101","Ann ""Nan"" Mo","Lee","ann@example.org, nan@example.org","555-0111"
"102","Chidi
Emeka","Okafor","Chidi Okafor <chidi@example.org>","555-0112
555-0113"

"Troop 0103","Sam","St. John","mailto:sam@example.org","'+1 555 0114"
""", newline="\n")
text("role_list", "05_days_nobody_can_order", """\
Troop,First,Last,Membership until,Notes
101,Ida,Holm,03/04/2026,moved
102,Bo,Lind,05/06/2026,
103,Eva,Berg,n/a,new
""")
text("role_list", "06_days_ordered_by_a_person", """\
Troop,First,Last,Membership until,Notes
101,Ida,Holm,03/04/2026,moved
102,Bo,Lind,05/06/2026,
103,Eva,Berg,31/12/2026,new
104,Finn,Dahl,12/31/2026,
""")
text("role_list", "07_spreadsheet_damage", """\
Troop,First name,Last name,E-mail,Membership number,Membership valid until,Screening
101,Tomás,Herrera,tomas@example.org,1.23457E+11,46295,on file,,
102,Mei,Lin,#REF!,000882,46295,-,,
1.02E+02,Olu,Ade,olu@example,17,not yet,#N/A,,
""")
text("role_list", "08_no_headings", """\
101,Adèle,Osei,adele.osei@example.org
102,Bjørn,Ek,bjorn@example.org
""")
text("role_list", "09_zero_byte", "Troop,First name,Last name\n101,Ad\0le,Osei\n")


def merged(workbook):
    sheet = workbook.active
    sheet.title = "Coordinators"
    sheet["A1"] = "Coordinators of Juniper Ridge"
    sheet.merge_cells("A1:F1")
    for place, heading in enumerate(["Troop", "First name", "Last name", "Member no.", "Membership valid until", "Screening on file"]):
        sheet.cell(row=3, column=place + 1, value=heading)
    sheet["A4"] = "0104"
    sheet.merge_cells("A4:A5")
    sheet["B4"], sheet["C4"], sheet["D4"] = "Ruth", "Adeyemi", 4001
    sheet["E4"], sheet["F4"] = datetime.date(2026, 9, 30), True
    sheet["B5"], sheet["C5"], sheet["D5"] = "Noor", "Haddad", "04002"
    sheet["E5"], sheet["F5"] = datetime.datetime(2026, 10, 1, 8, 30), False
    sheet["A6"], sheet["B6"], sheet["C6"], sheet["D6"] = 105, "Łukasz", "Żak", "=4000+3"
    sheet["E6"], sheet["F6"] = "30 Sept 2026", "x"
    sheet["A8"] = "End of list"


book("role_list", "10_merged_and_formula", merged)


def hidden(workbook):
    notes = workbook.active
    notes.title = "Read me"
    notes["A1"] = "The list is on the second sheet."
    old = workbook.create_sheet("Old list")
    old.sheet_state = "hidden"
    old.append(["Troop", "First name", "Last name", "E-mail", "Phone"])
    old.append([999, "Nobody", "Nowhere", "old@example.org", "5"])
    sheet = workbook.create_sheet("January")
    sheet.append(["Troop", "First name", "Last name", "E-mail"])
    sheet.append([101, "Grace", "Mwangi", "grace@example.org"])
    sheet.append([])
    sheet.append([102, "Hana", "Sato", "hana@example.org"])


book("role_list", "11_sheets_hidden_and_other", hidden)

# ---------------------------------------------------------------- bank details
text("bank_details", "01_plain", """\
Troop,Received on
0101,2026-01-05
102,2026-01-07
""")
text("bank_details", "02_day_first_semicolon_footer", """\
Troop number;Name of troop;Form received
101;Otters;13/01/2026
102;Herons;02/01/2026
;;
Total;2;
""", encoding="cp1252")
text("bank_details", "03_both_orders_in_one_column", """\
Troop,Date received
101,25/12/2025
102,12/25/2025
103,01/02/2026
""")
text("bank_details", "04_utf16_tabs", "Troop\tReceived\n101\t5 Jan 2026\n102\tJanuary 7, 2026\n", encoding="utf-16")
text("bank_details", "05_yes_instead_of_a_day", """\
Troop,Bank form received
101,yes
102,46027
103,2026-02-30
104,
Number of forms: 3,
""")
text("bank_details", "06_title_in_one_cell", """\
Bank details forms received as of 9 January 2026

"printed by the office"
Trp No,Date
101,1/9/26
102,01/13/26
(2 rows)
""", newline="\n")
text("bank_details", "07_open_quotation_mark", 'Troop,Received on\n101,"2026-01-05\n102,2026-01-06\n')
text("bank_details", "08_only_headings", "Troop,Received on\n,\n")


def computed(path):
    workbook = xlsxwriter.Workbook(str(path), {"default_date_format": "dd/mm/yyyy"})
    workbook.set_properties({"created": datetime.datetime(2026, 1, 1)})
    sheet = workbook.add_worksheet("Forms")
    day = workbook.add_format({"num_format": "yyyy-mm-dd"})
    sheet.write_row(0, 0, ["Troop", "Received on", "Days ago"])
    sheet.write_formula(1, 0, "=100+1", None, 101)
    sheet.write_formula(1, 1, "=DATE(2026,1,5)", day, 46027)
    sheet.write_formula(1, 2, "=TODAY()-B2", None, 4)
    sheet.write_number(2, 0, 102, workbook.add_format({"num_format": "0000"}))
    sheet.write_datetime(2, 1, datetime.datetime(2026, 1, 6))
    sheet.write_string(3, 0, "0103")
    sheet.write_formula(3, 1, "=1/0", None, "#DIV/0!")
    sheet.write_string(4, 0, "Total")
    sheet.write_formula(4, 1, "=COUNT(B2:B4)", None, 2)
    workbook.close()


computed(HERE / "bank_details" / "09_formulas_with_results.xlsx")


def wide(workbook):
    sheet = workbook.active
    sheet.title = "Forms"
    sheet["C5"], sheet["E5"] = "TROOP", "Received"
    sheet["C6"], sheet["E6"] = "Troop 101", "2026-01-05T10:00:00"
    sheet["C7"], sheet["E7"] = "Troop 0102", 46028
    sheet["C8"], sheet["E8"] = 103.5, "06.01.2026"


book("bank_details", "10_list_in_the_middle", wide)

# ---------------------------------------------------------------- certificates
text("certificates", "01_scores_in_every_writing", """\
Name,E-mail,Course,Completed on,Score
Adèle Osei,adele@example.org,YEARLY,2026-01-10,92
"Ek, Bjørn",bjorn@example.org,YEARLY,2026-01-10,92.5 %
Mary Ann O'Brien,mary@example.org,YEARLY,2026-01-11,18/20
Piet van Dyk,piet@example.org,YEARLY,2026-01-11,
Ida Holm,ida@example.org,YEARLY,2026-01-12,120
Bo Lind,bo@example.org,YEARLY,2026-01-12,pass
""")
text("certificates", "02_semicolon_decimal_comma", """\
Vorname;Nachname;Mitgliedsnummer;Kurs;Date;Result
Jürgen;Müller;0042;first_season;14.1.2026;79,99
Zoë;Weiß;0043;first_season;3.1.2026;80,0
""", encoding="cp1252")
text("certificates", "03_names_and_troops_only", """\
Course results
Participant,Troop,Course code,Date completed
Grace Mwangi,101,yearly,1/31/2026
Hana Sato,0102,yearly,2/1/2026
Cher,103,yearly,2/1/2026
""")
text("certificates", "04_twice_the_same_row", """\
First name,Last name,Member number,Course,Completed,Grade
Noor,Haddad,4002,yearly,2026-01-10,85
Noor,Haddad,4002,yearly,2026-01-10,85
Noor,Haddad,4002,first_season,2026-01-17,
""")
text("certificates", "05_no_course_column", """\
First name,Last name,E-mail,Completed on
Ruth,Adeyemi,ruth@example.org,2026-01-10
""")
text("certificates", "06_web_page", "<html><body><table><tr><td>Name</td></tr></table></body></html>\n")
text("certificates", "07_tabs_and_times", "First name\tLast name\tE-mail\tTraining\tTraining date\tScore\n"
     "Sam\tSt. John\tsam@example.org\tyearly\t2026-01-10 18:30\t0.88\nOlu\tAde\tolu@example.org\tyearly\t10 Jan 2026 18:30\t1\n"
     "Records: 2\t\t\t\t\t\n", encoding="utf-8-sig", newline="\n")


def percents(workbook):
    sheet = workbook.active
    sheet.title = "Quiz"
    sheet.append(["First name", "Last name", "E-mail", "Course", "Completed on", "Quiz score"])
    sheet.append(["Tomás", "Herrera", "tomas@example.org", "yearly", datetime.datetime(2026, 1, 9, 19, 5), 0.925])
    sheet.append(["Mei", "Lin", "mei@example.org", "yearly", datetime.date(2026, 1, 9), 1])
    for row in (2, 3):
        sheet.cell(row=row, column=6).number_format = "0.0%"


book("certificates", "08_per_cent_format", percents)


def numbers(workbook):
    sheet = workbook.active
    sheet.title = "Courses"
    sheet.append(["Member ID", "Course", "Completed on", "Score"])
    sheet.append([4002, "yearly", "2026-01-10", 85])
    sheet.append(["0004003", "yearly", "2026-01-10", 79.5])
    sheet.append([1234567890123456789, "yearly", "2026-01-10", 90])


book("certificates", "09_numbers_only", numbers)
