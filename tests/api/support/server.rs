//! The program in this process: the real server on a free port, on a thread of its own.

use std::num::NonZeroU32;
use std::thread::JoinHandle;

use actix_web::dev::ServerHandle;
use caselot::auth::seal::Seal;
use caselot::auth::token::SigningKeys;
use caselot::server::run::{self, Options};

use super::cluster::{Copy, Role};

/// A server that answers.
pub struct Server {
    /// Its address, as in `http://127.0.0.1:1234`.
    pub base: String,
    handle: ServerHandle,
    thread: JoinHandle<()>,
}

/// The keys with which this harness signs people in.
pub fn signing_keys() -> SigningKeys {
    SigningKeys::new(vec![("test".to_owned(), vec![b't'; 32].into())]).expect("a key that is long enough")
}

/// The options of a test's server; change what the test is about.
pub fn options(copy: &Copy) -> Options {
    Options {
        database: copy.options(Role::Runtime),
        listen: ([127, 0, 0, 1], 0).into(),
        workers: 1,
        connections: 8,
        keys: signing_keys(),
        seal: Seal::new(&"s".repeat(32).into()),
        // Nobody of the fixture has a phone; tests/api/second_factor.rs is about who must have one.
        second_factor_required: false,
        requests_per_minute: NonZeroU32::MAX,
        trusted_proxies: Vec::new(),
        public_url: "https://sale.example.org".to_owned(),
        mail: caselot::mail::Transports::default(),
        parser: caselot::parser_door::ParserDoor::of_program(env!("CARGO_BIN_EXE_caselot").into()),
        // A test's receiver is on this machine.
        webhooks: caselot::webhooks::AddressRules { ports: Vec::new(), loopback: true },
        ticker: false,
    }
}

impl Server {
    /// Starts it and waits until it listens.
    pub fn start(options: Options) -> Self {
        let (tell, told) = std::sync::mpsc::channel();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let running = run::start(&options).expect("the server starts");
                tell.send((running.address, running.server.handle())).expect("the test waits");
                running.server.await.expect("the server serves");
            });
        });
        let (address, handle) = told.recv().expect("the server starts");
        Self { base: format!("http://{address}"), handle, thread }
    }

    /// Stops it.
    pub async fn stop(self) {
        self.handle.stop(false).await;
        self.thread.join().expect("the server's thread ends");
    }
}
