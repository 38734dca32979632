//! The load: so many clients, each with one connection, each asking again as soon as it is answered.

use std::rc::Rc;
use std::time::{Duration, Instant};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

/// What the clients did.
#[derive(Debug, Default)]
pub struct Told {
    /// Answers of the expected status.
    pub answered: u64,
    /// Each answer's time in microseconds, sorted.
    pub micros: Vec<u64>,
    /// How long it took.
    pub lasted: Duration,
}

impl Told {
    /// Answers a second.
    pub fn per_second(&self) -> f64 {
        self.answered as f64 / self.lasted.as_secs_f64()
    }

    /// The time within which this share of the answers came.
    pub fn within(&self, share: f64) -> u64 {
        let place = (self.micros.len() as f64 * share) as usize;
        self.micros.get(place.min(self.micros.len().saturating_sub(1))).copied().unwrap_or(0)
    }
}

/// Lets `clients` ask for `lasting`; `request` makes the next request's bytes. Any other status than `expected` ends it all.
pub async fn run(
    address: &str,
    clients: usize,
    lasting: Duration,
    expected: u16,
    request: Rc<dyn Fn() -> Vec<u8>>,
) -> Told {
    let began = Instant::now();
    let set = tokio::task::LocalSet::new();
    let tasks: Vec<_> = (0..clients)
        .map(|_| {
            let (address, request) = (address.to_owned(), Rc::clone(&request));
            set.spawn_local(async move { client(&address, began + lasting, expected, &*request).await })
        })
        .collect();
    let mut told = Told::default();
    set.run_until(async {
        for task in tasks {
            told.micros.extend(task.await.expect("a client that ends"));
        }
    })
    .await;
    told.lasted = began.elapsed();
    told.answered = told.micros.len() as u64;
    told.micros.sort_unstable();
    told
}

async fn client(address: &str, until: Instant, expected: u16, request: &dyn Fn() -> Vec<u8>) -> Vec<u64> {
    let mut stream = TcpStream::connect(address).await.expect("a connection");
    stream.set_nodelay(true).expect("an option");
    let (mut micros, mut buffer) = (Vec::new(), Vec::with_capacity(64 * 1_024));
    while Instant::now() < until {
        let asked = Instant::now();
        stream.write_all(&request()).await.expect("a request that is taken");
        let (status, body) = answer(&mut stream, &mut buffer).await;
        assert_eq!(status, expected, "{}", String::from_utf8_lossy(&body));
        micros.push(asked.elapsed().as_micros() as u64);
    }
    micros
}

/// One answer: its status and body. Bodies come with their length; nobody asked for another encoding.
pub async fn answer(stream: &mut TcpStream, buffer: &mut Vec<u8>) -> (u16, Vec<u8>) {
    buffer.clear();
    loop {
        let read = stream.read_buf(buffer).await.expect("an answer");
        assert!(read > 0, "the server closed the connection");
        let Some(end) = buffer.windows(4).position(|four| four == b"\r\n\r\n") else { continue };
        let head = std::str::from_utf8(&buffer[..end]).expect("a plain head").to_ascii_lowercase();
        let status = head.split(' ').nth(1).and_then(|text| text.parse().ok()).expect("a status");
        let length = head.lines().find_map(|line| line.strip_prefix("content-length: "));
        let length: usize = length.and_then(|text| text.trim().parse().ok()).expect("a length");
        while buffer.len() < end + 4 + length {
            let read = stream.read_buf(buffer).await.expect("the rest");
            assert!(read > 0, "the server closed the connection");
        }
        return (status, buffer[end + 4..].to_vec());
    }
}
