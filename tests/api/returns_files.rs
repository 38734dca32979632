//! A filed return as a file: table, workbook, paper, JSON; over HTTP.

use calamine::{Reader as _, Xlsx};

use crate::returns::file;
use crate::support::{fixture, scenario};

#[test]
fn the_file_is_a_table_that_computes_nothing_or_the_same_json() {
    scenario(async |world| {
        sqlx::query("update troop set name = '=HYPERLINK(1)' where troop_id = $1")
            .bind(fixture::VACANT_TROOP)
            .execute(&mut world.owner().await)
            .await
            .expect("a nasty name");
        let filed = file(world).await;
        let id = filed.text("/return_id");
        let table = world.manager.get(&format!("/returns/{id}/file?format=csv")).await.expect(200);
        assert_eq!(table.header("content-type"), "text/csv; charset=utf-8");
        assert_eq!(table.header("content-disposition"), "attachment; filename=\"season-return-1.csv\"");
        let text = String::from_utf8(table.body.clone()).expect("UTF-8");
        assert!(
            text.starts_with("\u{feff}troop_number,"),
            "the mark by which a spreadsheet program knows UTF-8: {text}"
        );
        let mut rows = csv::Reader::from_reader(text.as_bytes());
        let rows: Vec<csv::StringRecord> = rows.records().map(|row| row.expect("a row")).collect();
        assert_eq!(rows.len(), 3);
        assert_eq!(
            (&rows[0][0], &rows[0][2], &rows[0][5], &rows[0][6]),
            ("0101", "under way", "Clara Fontaine-Diallo", "Piotr Wanjiru")
        );
        assert_eq!((&rows[2][1], &rows[2][2], &rows[2][5]), ("'=HYPERLINK(1)", "no coordinator", ""));
        let same = world.manager.get(&format!("/returns/{id}/file?format=json")).await.expect(200);
        assert_eq!(same.header("content-type"), "application/json");
        assert_eq!(same.header("content-disposition"), "attachment; filename=\"season-return-1.json\"");
        assert_eq!(same.json(), filed.json());
        for (query, names) in [("format=docx", "csv"), ("format=pdf&paper=a0", "letter"), ("size=a4", "size")] {
            let path = format!("/returns/{id}/file?{query}");
            let refused = world.manager.get(&path).await.expect_problem(400, "bad_parameter");
            let told = refused.at("/errors/0").to_string();
            assert!(told.contains(names), "it says what would be right: {refused}");
        }
    });
}

#[test]
fn the_workbook_is_text_and_the_paper_is_a_pdf_of_the_size_asked_for() {
    scenario(async |world| {
        sqlx::query("update troop set name = '=HYPERLINK(1)' where troop_id = $1")
            .bind(fixture::VACANT_TROOP)
            .execute(&mut world.owner().await)
            .await
            .expect("a nasty name");
        let id = file(world).await.text("/return_id");
        let book = world.manager.get(&format!("/returns/{id}/file?format=xlsx")).await.expect(200);
        let sheet_type = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet";
        assert_eq!(book.header("content-type"), sheet_type);
        assert_eq!(book.header("content-disposition"), "attachment; filename=\"season-return-1.xlsx\"");
        let mut book: Xlsx<_> = calamine::open_workbook_from_rs(std::io::Cursor::new(book.body)).expect("a workbook");
        let table = book.worksheet_range("Table").expect("a sheet");
        let cell = |row: u32, column: u32| table.get_value((row, column)).map(ToString::to_string).unwrap_or_default();
        assert_eq!(table.get_value((1, 0)), Some(&calamine::Data::String("0101".to_owned())), "text, with its zero");
        assert_eq!(
            (cell(0, 0), cell(1, 2), cell(3, 2)),
            ("Troop number".into(), "under way".into(), "no coordinator".into())
        );
        assert_eq!((cell(1, 4), cell(1, 5)), ("Clara Fontaine-Diallo".into(), "Piotr Wanjiru".into()));
        assert_eq!(cell(3, 1), "=HYPERLINK(1)");
        assert!(book.worksheet_formula("Table").expect("a sheet").is_empty(), "nothing in it is computed");
        assert_eq!(table.height(), 4, "a heading and three troops");
        for (paper, box_of_it) in [("a4", "/MediaBox[0 0 841.89 595.276]"), ("letter", "/MediaBox[0 0 792 612]")] {
            let path = format!("/returns/{id}/file?format=pdf&paper={paper}");
            let pdf = world.overseer.get(&path).await.expect(200);
            assert_eq!(pdf.header("content-type"), "application/pdf");
            assert_eq!(pdf.header("content-disposition"), "attachment; filename=\"season-return-1.pdf\"");
            assert!(pdf.body.starts_with(b"%PDF-1."));
            assert!(String::from_utf8_lossy(&pdf.body).contains(box_of_it), "{paper}");
            assert_eq!(world.overseer.get(&path).await.expect(200).body, pdf.body, "the same paper twice");
        }
    });
}
