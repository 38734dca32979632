//! The plain pages behind links: they are there, ask nobody else, and stay small.

use caselot::error::Code;
use caselot::server::document::OPERATIONS;

use crate::support::scenario;

#[test]
fn the_links_that_people_are_sent_lead_to_pages_that_ask_nobody_else() {
    scenario(async |world| {
        let mut bytes = 0;
        for (path, content_type) in [
            ("/invitation", "text/html; charset=utf-8"),
            ("/reset", "text/html; charset=utf-8"),
            ("/email", "text/html; charset=utf-8"),
            ("/sign-in", "text/html; charset=utf-8"),
            ("/pages/plain.css", "text/css; charset=utf-8"),
            ("/pages/plain.js", "text/javascript; charset=utf-8"),
        ] {
            let answer = world.nobody.get(path).await.expect(200);
            assert_eq!(answer.header("content-type"), content_type);
            let text = String::from_utf8(answer.body.clone()).expect("text");
            assert!(!text.contains("http://") && !text.contains("https://"), "{path} names another address");
            bytes += text.len();
            if content_type.starts_with("text/html") {
                let policy = answer.header("content-security-policy");
                assert!(policy.starts_with("default-src 'none';") && !policy.contains("unsafe"), "{policy}");
                assert!(policy.contains("frame-ancestors 'none'") && policy.contains("form-action 'none'"), "{policy}");
                // Nothing in the page itself that this policy would stop.
                assert!(!text.contains("style=") && !text.contains("onclick") && !text.contains("<script>"), "{path}");
            }
        }
        assert!(bytes < 60_000, "{bytes} bytes");
    });
}

/// What the forms send is what the document asks for: a renamed operation or field must not leave a page behind.
#[test]
fn the_forms_send_operations_and_fields_of_the_document() {
    for page in [
        include_str!("../../api/pages/invitation.html"),
        include_str!("../../api/pages/reset.html"),
        include_str!("../../api/pages/email.html"),
        include_str!("../../api/pages/sign-in.html"),
    ] {
        let sent: Vec<&str> = page.split("data-send=\"").skip(1).filter_map(|rest| rest.split('"').next()).collect();
        assert!(!sent.is_empty());
        for path in sent {
            assert!(OPERATIONS.find(path, &actix_web::http::Method::POST).is_some(), "{path}");
        }
    }
}

/// What a volunteer finds behind the `type` of a problem.
#[test]
fn every_kind_of_problem_has_a_page_that_says_what_to_do_and_whose_matter_it_is() {
    scenario(async |world| {
        for code in Code::ALL {
            let page = world.nobody.get(&format!("/problems/{}", code.name())).await.expect(200);
            assert_eq!(page.header("content-type"), "text/plain; charset=utf-8");
            let text = String::from_utf8(page.body.clone()).expect("text");
            assert!(text.starts_with(code.title()) && text.contains(code.detail()), "{text}");
            assert!(text.contains("\"request_id\""), "{text}");
        }
        let of_a_program = "This is about how an app or a script asked, not about anything that you did";
        for (code, program) in
            [("version_missing", true), ("bad_json", true), ("bad_credentials", false), ("gate_closed", false)]
        {
            let page = world.nobody.get(&format!("/problems/{code}")).await.expect(200);
            assert_eq!(String::from_utf8_lossy(&page.body).contains(of_a_program), program, "{code}");
        }
        world.nobody.get("/problems/no_such_problem").await.expect_problem(404, "not_found");
    });
}
