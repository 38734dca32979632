//! The reader as a process: over a socket, and what it may not do.

use caselot::intake::kinds::ListKind;
use caselot::intake::parse::{FaultCode, ParseFault, ParsedTable, parse, parse_over};
use caselot::parser_door::Starter;
use std::os::unix::net::UnixStream;

/// Hands a list to a reader of its own, as the server does.
pub async fn read(bytes: &[u8], kind: ListKind) -> Result<ParsedTable, ParseFault> {
    let (ours, theirs) = UnixStream::pair().unwrap();
    Starter::new(env!("CARGO_BIN_EXE_caselot").into(), None).start(theirs).unwrap();
    parse_over(ours, bytes, kind).await.expect("a reader was started")
}

const LIST: &[u8] = b"Troop,First name,Last name\n0101,Ad\xC3\xA8le,Osei\n";

#[tokio::test]
async fn the_child_reads_what_the_parser_reads() {
    let table = read(LIST, ListKind::RoleList).await.unwrap();
    assert_eq!(table, parse(LIST, ListKind::RoleList).unwrap());
    assert_eq!(table.rows[0].cells[0].text, "0101");
    let fault = read(b"1,2,3\n", ListKind::RoleList).await.unwrap_err();
    assert_eq!(fault.code, FaultCode::NoHeadings);
}

/// Both halves of the one socket are busy at once: the file is larger than what a socket holds, and so is the answer.
#[tokio::test]
async fn one_socket_serves_as_input_and_output() {
    let _fills_memory = crate::MEMORY.read().await;
    let rows = std::iter::repeat_n(&b"0102,Bo,Ek\n"[..], 15_000);
    let long: Vec<u8> = std::iter::once(LIST).chain(rows).flatten().copied().collect();
    assert_eq!(read(&long, ListKind::RoleList).await.unwrap().rows.len(), 15_001);
}

#[tokio::test]
async fn a_door_without_a_reader_is_told_apart_from_a_reader_that_died() {
    let (ours, theirs) = UnixStream::pair().unwrap();
    drop(theirs);
    assert!(parse_over(ours, LIST, ListKind::RoleList).await.is_none(), "nobody was there: try again");
    let (ours, mut theirs) = UnixStream::pair().unwrap();
    std::io::Write::write_all(&mut theirs, b"\n").unwrap();
    drop(theirs);
    let fault = parse_over(ours, LIST, ListKind::RoleList).await.unwrap().unwrap_err();
    assert_eq!(fault.code, FaultCode::TooMuchMemory);
    let (ours, mut theirs) = UnixStream::pair().unwrap();
    std::io::Write::write_all(&mut theirs, b"\nrubbish").unwrap();
    drop(theirs);
    let fault = parse_over(ours, LIST, ListKind::RoleList).await.unwrap().unwrap_err();
    assert_eq!(fault.code, FaultCode::ReaderFailed);
}

#[tokio::test]
async fn a_file_over_the_limit_is_refused_before_it_is_sent() {
    let (ours, _theirs) = UnixStream::pair().unwrap();
    let bytes = vec![b'x'; 5 * 1024 * 1024 + 1];
    let fault = parse_over(ours, &bytes, ListKind::RoleList).await.unwrap().unwrap_err();
    assert_eq!(fault.code, FaultCode::FileTooLarge);
}

/// Asks the child itself which limits it stands under, while it waits for its file.
#[test]
fn the_child_limits_itself_before_it_reads() {
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_caselot"))
        .arg("parse-list")
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::piped())
        .spawn()
        .unwrap();
    let path = format!("/proc/{}/limits", child.id());
    let deadline = std::time::Instant::now() + std::time::Duration::from_secs(10);
    let limits = loop {
        let limits = std::fs::read_to_string(&path).unwrap();
        if limits.contains("Max open files            3 ") || std::time::Instant::now() > deadline {
            break limits;
        }
        std::thread::yield_now();
    };
    let soft_and_hard = |name: &str| -> Vec<String> {
        let line = limits.lines().find(|line| line.starts_with(name)).unwrap();
        line[name.len()..].split_whitespace().take(2).map(str::to_owned).collect()
    };
    assert_eq!(soft_and_hard("Max address space"), ["536870912", "536870912"]); // R22: 512 MiB
    assert_eq!(soft_and_hard("Max cpu time"), ["10", "10"]); // R22: 10 s
    assert_eq!(soft_and_hard("Max file size"), ["0", "0"]);
    assert_eq!(soft_and_hard("Max open files"), ["3", "3"]);
    let status = std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap();
    assert!(status.contains("NoNewPrivs:\t1") || !landlock_is_there(), "{status}");
    child.kill().unwrap();
    child.wait().unwrap();
}

/// Landlock needs a kernel of 2021 or later that was built with it; without it the limits alone hold.
fn landlock_is_there() -> bool {
    std::process::Command::new("dmesg")
        .output()
        .is_ok_and(|out| String::from_utf8_lossy(&out.stdout).contains("landlock: Up and running"))
}
