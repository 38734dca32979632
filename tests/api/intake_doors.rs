//! What is no list, whose lists are whose, and uploads that are repeated or that nobody finishes.

use serde_json::json;

use crate::intake::{BANK_LIST, ROLE_LIST, address, apply, read, until_read, upload};
use crate::support::{fixture, scenario};

#[test]
fn an_upload_that_is_repeated_is_one_upload() {
    scenario(async |world| {
        let path = "/intakes?kind=bank_details&file_name=forms.csv&listed_on=2040-01-09";
        let send =
            || world.manager.ask(reqwest::Method::POST, path).bytes("text/csv", BANK_LIST).key("once-and-no-more");
        let first = send().await.expect(202);
        let again = send().await.expect(202);
        assert_eq!((again.header("idempotency-replayed"), again.at("/intake_id")), ("true", first.at("/intake_id")));
        let lists = world.manager.get("/intakes").await.expect(200);
        assert_eq!(lists.at("/items").as_array().expect("lists").len(), 1);
    });
}

/// The reader is ended with its server; the ticker gives the list up by the real clock, so that nobody waits for ever.
#[test]
fn a_list_whose_reader_vanished_is_given_up() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", ROLE_LIST).await;
        let mut owner = world.owner().await;
        sqlx::query("update intake set state = 'reading', reading_since = reading_since - interval '3 minutes'")
            .execute(&mut owner)
            .await
            .expect("a list in the reader's hands");
        world.tick().await;
        let given_up = world.manager.get(&address(&intake)).await.expect(200);
        assert_eq!((given_up.at("/state"), given_up.at("/fault/code")), (json!("unreadable"), json!("reader_failed")));
    });
}

#[test]
fn a_file_that_cannot_be_read_says_why_and_is_never_applied() {
    scenario(async |world| {
        let intake = read(&world.manager, "role_list", "2040-01-09", "101,Clara,x@example.org\n").await;
        assert_eq!((intake.at("/state"), intake.at("/fault/code")), (json!("unreadable"), json!("no_headings")));
        apply(&world.manager, &intake).await.expect_problem(409, "wrong_state");
        let away = world.manager.post(&format!("{}/discard", address(&intake)), json!({})).await.expect(200);
        assert_eq!(away.at("/state"), "discarded");
        world
            .manager
            .post(&format!("{}/discard", address(&intake)), json!({}))
            .await
            .expect_problem(409, "wrong_state");
    });
}

#[test]
fn what_is_no_list_is_refused_at_the_door() {
    scenario(async |world| {
        let to = |kind: &str, day: &str| format!("/intakes?kind={kind}&file_name=a.csv&listed_on={day}");
        let post = |path: String, content: &str, body: &str| {
            world.manager.ask(reqwest::Method::POST, &path).bytes(content, body)
        };
        post(to("role_list", "2040-01-11"), "text/csv", ROLE_LIST).await.expect_problem(422, "invalid");
        post(to("role_list", "2039-08-31"), "text/csv", ROLE_LIST).await.expect_problem(422, "invalid");
        post(to("role_list", "2040-01-09"), "text/csv", "").await.expect_problem(422, "invalid");
        post(to("role_list", "2040-01-09"), "image/png", "x").await.expect_problem(415, "wrong_content_type");
        post(to("shopping_list", "2040-01-09"), "text/csv", "x").await.expect_problem(400, "bad_parameter");
        let too_large = "x".repeat(5 * 1024 * 1024 + 1);
        post(to("role_list", "2040-01-09"), "text/csv", &too_large).await.expect_problem(413, "too_large");
        let zero = "/intakes?kind=role_list&file_name=a%00b.csv&listed_on=2040-01-09".to_owned();
        post(zero, "text/csv", ROLE_LIST).await.expect_problem(422, "invalid");
        world.manager.get(&format!("/intakes/{}", fixture::NOTHING)).await.expect_problem(404, "not_found");
    });
}

#[test]
fn lists_are_the_managers_and_the_overseer_reads_them() {
    scenario(async |world| {
        let intake = read(&world.manager, "bank_details", "2040-01-09", "Troop,Received on\n0101,2040-01-03\n").await;
        assert_eq!(world.overseer.get(&address(&intake)).await.expect(200).at("/state"), "ready");
        world.overseer.get(&format!("{}/rows", address(&intake))).await.expect(200);
        assert_eq!(world.overseer.get("/intakes").await.expect(200).at("/items/0/intake_id"), intake.at("/intake_id"));
        apply(&world.overseer, &intake).await.expect_problem(403, "forbidden");
        for other in [&world.materials, &world.distributor, &world.viewer, &world.clara] {
            other.get(&address(&intake)).await.expect_problem(403, "forbidden");
            upload(other, "bank_details", "2040-01-09", BANK_LIST).await.expect_problem(403, "forbidden");
        }
        let theirs = world.stranger.in_unit(fixture::AWAY_UNIT);
        theirs.get(&address(&intake)).await.expect_problem(404, "not_found");
    });
}

/// A hostile file ends its own reader, and nothing else: the server goes on answering.
#[test]
fn a_workbook_with_macros_and_one_that_unpacks_too_large_are_refused() {
    scenario(async |world| {
        let blanks = vec![b' '; 8 * 1024 * 1024];
        for (part, content, code) in
            [("xl/vbaProject.bin", &b"x"[..], "macros"), ("xl/theme.xml", &blanks, "unpacks_too_large")]
        {
            let mut zip = zip::ZipWriter::new(std::io::Cursor::new(Vec::new()));
            for (name, bytes) in [("xl/workbook.xml", &b"<workbook/>"[..]), (part, content)] {
                zip.start_file(name, zip::write::SimpleFileOptions::default()).expect("a part");
                std::io::Write::write_all(&mut zip, bytes).expect("a part");
            }
            let book = zip.finish().expect("a workbook").into_inner();
            let path = "/intakes?kind=role_list&file_name=a.xlsx&listed_on=2040-01-09";
            let taken = world
                .manager
                .ask(reqwest::Method::POST, path)
                .bytes("application/octet-stream", book)
                .await
                .expect(202);
            let intake = until_read(&world.manager, taken.header("location")).await;
            assert_eq!((intake.at("/state"), intake.at("/fault/code")), (json!("unreadable"), json!(code)));
        }
    });
}

/// A workbook with two sheets that could each be the list is asked about, and read again from the one that was named.
#[test]
fn which_of_several_sheets_is_meant_is_asked_and_can_be_said_anew() {
    scenario(async |world| {
        let book = include_bytes!("../lists/role_list/20_two_sheets_of_one_kind.xlsx");
        let path = "/intakes?kind=role_list&file_name=both.xlsx&listed_on=2040-01-09";
        let send = world.manager.ask(reqwest::Method::POST, path).bytes("application/octet-stream", book.to_vec());
        let taken = send.await.expect(202);
        let intake = until_read(&world.manager, taken.header("location")).await;
        assert_eq!(
            (intake.at("/state"), intake.at("/sheets")),
            (json!("needs_sheet"), json!(["North", "South"])),
            "{intake}"
        );
        assert_eq!(intake.text("/next_step"), "Several sheets could be the list: say which is meant (choose_sheet).");
        let queue = world.manager.get("/needs").await.expect(200).at("/items");
        let queue = queue.as_array().expect("items").clone();
        let item = queue.iter().find(|item| item["kind"] == "choose_sheet").expect("the item");
        assert_eq!(item["settle"][0]["fill_in"], json!(["/sheet"]));
        apply(&world.manager, &intake).await.expect_problem(409, "wrong_state");
        world
            .manager
            .post(&format!("{}/columns", address(&intake)), json!({}))
            .await
            .expect_problem(409, "wrong_state");
        let choose = format!("{}/sheet", address(&intake));
        world.overseer.post(&choose, json!({"sheet": "South"})).await.expect_problem(403, "forbidden");
        let refused = world.manager.post(&choose, json!({"sheet": "East"})).await.expect_problem(422, "invalid");
        assert_eq!(refused.text("/errors/0/detail"), "one of: North, South");
        for (sheet, row) in [("South", "Tomás Herrera"), ("North", "Olu Ade")] {
            let taken = world.manager.post(&choose, json!({"sheet": sheet})).await.expect(202);
            let intake = until_read(&world.manager, taken.header("location")).await;
            assert_eq!((intake.at("/state"), intake.at("/source/sheet")), (json!("ready"), json!(sheet)), "{intake}");
            let rows = crate::intake::rows(&world.manager, &intake).await;
            assert_eq!(rows[0]["name"], row);
        }
        let csv = read(&world.manager, "bank_details", "2040-01-09", BANK_LIST).await;
        let refused = world.manager.post(&format!("{}/sheet", address(&csv)), json!({"sheet": "North"})).await;
        refused.expect_problem(409, "wrong_state");
    });
}

#[test]
fn an_open_document_list_is_read_like_any_other() {
    scenario(async |world| {
        let book = include_bytes!("../lists/bank_details/11_open_document_days.ods");
        // The list of the sample speaks of 2026; the season here is that of 2040, so its days are named as problems.
        let path = "/intakes?kind=bank_details&file_name=forms.ods&listed_on=2040-01-09";
        let taken = world
            .manager
            .ask(reqwest::Method::POST, path)
            .bytes("application/vnd.oasis.opendocument.spreadsheet", book.to_vec())
            .await
            .expect(202);
        let intake = until_read(&world.manager, taken.header("location")).await;
        assert_eq!(
            (intake.at("/source/format"), intake.at("/source/sheet")),
            (json!("ods"), json!("Forms")),
            "{intake}"
        );
        assert_eq!(intake.at("/counts/rows"), 3);
    });
}
