//! What stands on the wire, byte by byte (R26, R36): nothing that two servers could read differently gets through.

use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

use crate::support::scenario;
use crate::support::world::World;

async fn dial(world: &World) -> TcpStream {
    TcpStream::connect(world.base().trim_start_matches("http://")).await.expect("the server listens")
}

/// Sends these bytes and reads until the server closes, or has been silent for a moment. Gives what came and whether it
/// closed.
async fn exchange(world: &World, bytes: &[u8]) -> (String, bool) {
    let mut socket = dial(world).await;
    socket.write_all(bytes).await.expect("sent");
    let mut came = Vec::new();
    let mut closed = false;
    let mut buffer = [0_u8; 4096];
    while let Ok(read) = tokio::time::timeout(Duration::from_millis(700), socket.read(&mut buffer)).await {
        match read {
            Ok(0) | Err(_) => {
                closed = true;
                break;
            }
            Ok(count) => came.extend_from_slice(&buffer[..count]),
        }
    }
    (String::from_utf8_lossy(&came).into_owned(), closed)
}

fn statuses(text: &str) -> Vec<&str> {
    text.split("HTTP/1.1 ").skip(1).map(|part| &part[..3]).collect()
}

#[test]
fn a_request_that_could_be_read_in_two_ways_is_refused_and_the_line_is_closed() {
    let smuggled = "GET /livez HTTP/1.1\r\nHost: x\r\n\r\n";
    let post = "POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\n";
    let get = "GET /livez HTTP/1.1\r\n";
    let table = [
        (
            "length and chunks",
            format!("{post}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n{smuggled}"),
        ),
        ("two lengths", format!("{post}Content-Length: 0\r\nContent-Length: {}\r\n\r\n{smuggled}", smuggled.len())),
        ("a signed length", format!("{post}Content-Length: +2\r\n\r\n{{}}{smuggled}")),
        ("a length that is none", format!("{post}Content-Length: 2x\r\n\r\n{{}}{smuggled}")),
        ("chunks not last", format!("{post}Transfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n{smuggled}")),
        ("an odd coding", format!("{post}Transfer-Encoding: xchunked\r\n\r\n0\r\n\r\n{smuggled}")),
        ("a chunk's size that is none", format!("{post}Transfer-Encoding: chunked\r\n\r\nzz\r\n\r\n{smuggled}")),
        ("a folded line", format!("{get}Host: x\r\nX-Test: a\r\n b\r\n\r\n{smuggled}")),
        ("a space before the colon", format!("{get}Host : x\r\n\r\n{smuggled}")),
        ("a bare line feed inside a value", format!("{get}Host: x\r\nX-Test: a\nb\r\n\r\n{smuggled}")),
        ("a NUL in a value", format!("{get}Host: x\r\nX-Test: a\0b\r\n\r\n{smuggled}")),
        ("no version", format!("GET /livez\r\n\r\n{smuggled}")),
        ("not HTTP", "\x16\x03\x01\x02\x00\x01\x00\x01\u{7f}\r\n\r\n".to_owned()),
        ("a header without a name", format!("{get}: x\r\nHost: x\r\n\r\n{smuggled}")),
    ];
    scenario(async |world| {
        for (what, bytes) in table {
            let (answer, closed) = exchange(world, bytes.as_bytes()).await;
            let seen = statuses(&answer);
            assert!(seen.iter().all(|status| *status == "400"), "{what}: {answer}");
            assert!(seen.len() <= 1 && closed, "{what}: closed {closed}, {answer}");
        }
        // The server is well, and a plain request on the same kind of line is answered.
        let (answer, _) = exchange(world, smuggled.as_bytes()).await;
        assert_eq!(statuses(&answer), ["200"]);
    });
}

#[test]
fn trace_and_connect_are_not_done_and_a_request_names_its_host() {
    scenario(async |world| {
        for (what, bytes, wanted) in [
            ("trace", "TRACE /livez HTTP/1.1\r\nHost: x\r\nCookie: a\r\n\r\n", "405"),
            ("connect", "CONNECT example.org:443 HTTP/1.1\r\nHost: x\r\n\r\n", "404"),
            ("an invented method", "BREW /livez HTTP/1.1\r\nHost: x\r\n\r\n", "405"),
            ("no host", "GET /livez HTTP/1.1\r\n\r\n", "400"),
            ("two hosts", "GET /livez HTTP/1.1\r\nHost: x\r\nHost: y\r\n\r\n", "400"),
        ] {
            let (answer, _) = exchange(world, bytes.as_bytes()).await;
            assert_eq!(statuses(&answer), [wanted], "{what}: {answer}");
            assert!(!answer.contains("Cookie"), "{answer}");
        }
    });
}

#[test]
fn a_request_has_96_header_fields_at_most() {
    scenario(async |world| {
        let with = |count: usize| {
            let fields = (1..count).fold(String::new(), |text, number| format!("{text}X-{number}: y\r\n"));
            format!("GET /livez HTTP/1.1\r\nHost: x\r\n{fields}\r\n")
        };
        assert_eq!(statuses(&exchange(world, with(96).as_bytes()).await.0), ["200"]);
        let (refused, _) = exchange(world, with(97).as_bytes()).await;
        assert!(matches!(statuses(&refused).as_slice(), ["400" | "431"]), "{refused}");
    });
}

#[test]
fn a_body_in_chunks_is_counted_as_it_comes() {
    scenario(async |world| {
        let head = "POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n";
        let chunk = format!("{:x}\r\n{}\r\n", 64 * 1024, " ".repeat(64 * 1024));
        let (answer, _) = exchange(world, format!("{head}{}1\r\n \r\n0\r\n\r\n", chunk.repeat(4)).as_bytes()).await;
        assert_eq!(statuses(&answer).first(), Some(&"413"), "{answer}");
        let (answer, _) = exchange(world, format!("{head}{}0\r\n\r\n", chunk.repeat(4)).as_bytes()).await;
        assert_eq!(statuses(&answer).first(), Some(&"400"), "{answer}");
        // Who declares too much is told so before sending it.
        let declared =
            "POST /v1/sessions HTTP/1.1\r\nHost: x\r\nContent-Type: application/json\r\nContent-Length: 262145\r\n\r\n";
        assert_eq!(statuses(&exchange(world, declared.as_bytes()).await.0), ["413"]);
    });
}

/// Slow senders: the head has 5 seconds, the whole request 15, and meanwhile they hold no connection of the database, so
/// everybody else is served.
#[test]
fn slow_senders_are_cut_off_and_hold_nobody_up() {
    scenario(async |world| {
        let began = Instant::now();
        let mut slow_bodies = Vec::new();
        for _ in 0..20 {
            let mut socket = dial(world).await;
            let head = format!(
                "POST /v1/keys HTTP/1.1\r\nHost: x\r\nAuthorization: Bearer {}\r\nContent-Type: application/json\r\nContent-Length: 50\r\n\r\n{{",
                world.clara.token()
            );
            socket.write_all(head.as_bytes()).await.expect("sent");
            slow_bodies.push(socket);
        }
        let mut slow_head = dial(world).await;
        slow_head.write_all(b"GET /livez HTTP/1.1\r\nHost").await.expect("sent");
        let served = Instant::now();
        for _ in 0..20 {
            world.clara.get("/v1/me").await.expect(200);
        }
        assert!(served.elapsed() < Duration::from_secs(3), "twenty plain reads took {:?}", served.elapsed());

        let mut head = Vec::new();
        slow_head.read_to_end(&mut head).await.expect("an end");
        assert!(began.elapsed() < Duration::from_secs(7), "a slow head was cut after {:?}", began.elapsed());
        for mut socket in slow_bodies {
            let mut answer = [0_u8; 512];
            let count =
                tokio::time::timeout(Duration::from_secs(17).saturating_sub(began.elapsed()), socket.read(&mut answer));
            let count = count.await.expect("an answer within 15 seconds and a little").expect("an answer");
            let answer = String::from_utf8_lossy(&answer[..count]).into_owned();
            assert_eq!(statuses(&answer), ["408"], "{answer}");
        }
    });
}
