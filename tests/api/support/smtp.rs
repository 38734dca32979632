//! A mail server for tests (RFC 5321), which can be told to misbehave. It keeps every letter that it was given whole.

use std::io::{BufRead as _, BufReader, Write as _};
use std::net::{TcpListener, TcpStream};
use std::sync::{Arc, Condvar, Mutex};

/// What it does with the next letter; afterwards it takes every one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Act {
    /// Takes it.
    Take,
    /// Answers this to the recipient.
    Refuse(&'static str),
    /// Answers this after the whole letter, which it does not keep.
    RefuseData(&'static str),
    /// Keeps it, and the connection breaks before anything is answered.
    TakeAndBreak,
    /// Keeps it, and says nothing more until the sender goes.
    TakeInSilence,
    /// Keeps it, and answers once the test says so ([`Sink::answer`]).
    TakeWhenTold,
}

/// A letter as it was handed over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Letter {
    /// To whom, each as it was named.
    pub to: Vec<String>,
    /// Headers and body.
    pub text: String,
}

impl Letter {
    /// The value of a header.
    pub fn header(&self, name: &str) -> Option<String> {
        let head = self.text.split("\r\n\r\n").next().unwrap_or_default().replace("\r\n ", " ");
        let start = format!("{}:", name.to_lowercase());
        let lines: Vec<String> = head.lines().map(str::to_owned).collect();
        let found: Vec<&String> = lines.iter().filter(|line| line.to_lowercase().starts_with(&start)).collect();
        assert!(found.len() < 2, "{name} twice in {head}");
        found.first().map(|line| line[start.len()..].trim().to_owned())
    }

    /// The text with what quoted-printable (RFC 2045 section 6.7) did to it undone.
    pub fn plain(&self) -> String {
        let joined = self.text.replace("=\r\n", "");
        let mut bytes = Vec::new();
        let mut rest = joined.as_bytes();
        while let [first, tail @ ..] = rest {
            let hex = tail.get(..2).and_then(|two| std::str::from_utf8(two).ok());
            if let Some(byte) = hex.and_then(|two| u8::from_str_radix(two, 16).ok()).filter(|_| *first == b'=') {
                bytes.push(byte);
                rest = &tail[2..];
            } else {
                bytes.push(*first);
                rest = tail;
            }
        }
        String::from_utf8(bytes).expect("UTF-8")
    }
}

#[derive(Debug, Default)]
struct Kept {
    letters: Vec<Letter>,
    acts: Vec<Act>,
    connections: usize,
}

/// The mail server.
#[derive(Clone, Debug)]
pub struct Sink {
    /// Where it listens, on 127.0.0.1.
    pub port: u16,
    kept: Arc<Mutex<Kept>>,
    told: Arc<(Mutex<bool>, Condvar)>,
}

impl Sink {
    /// Starts it; it ends with the test's process.
    pub fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = listener.local_addr().expect("an address").port();
        let sink = Self { port, kept: Arc::default(), told: Arc::default() };
        let own = sink.clone();
        std::thread::spawn(move || {
            for stream in listener.incoming().flatten() {
                own.kept.lock().expect("kept").connections += 1;
                let own = own.clone();
                std::thread::spawn(move || own.talk(&stream));
            }
        });
        sink
    }

    /// What it does with the next letters.
    pub fn then(&self, acts: &[Act]) {
        self.kept.lock().expect("kept").acts = acts.iter().rev().copied().collect();
    }

    /// Every letter so far.
    pub fn letters(&self) -> Vec<Letter> {
        self.kept.lock().expect("kept").letters.clone()
    }

    /// How many connections there were.
    pub fn connections(&self) -> usize {
        self.kept.lock().expect("kept").connections
    }

    /// Lets it answer what it took.
    pub fn answer(&self) {
        *self.told.0.lock().expect("told") = true;
        self.told.1.notify_all();
    }

    fn keep(&self, letter: Letter) {
        self.kept.lock().expect("kept").letters.push(letter);
    }

    /// A conversation; it ends when either side has had enough.
    fn talk(&self, stream: &TcpStream) -> Option<()> {
        let mut reader = BufReader::new(stream.try_clone().ok()?);
        let mut writer = stream.try_clone().ok()?;
        let mut say = |text: &str| writer.write_all(format!("{text}\r\n").as_bytes()).ok();
        say("220 sink.example.org")?;
        let (mut to, mut act) = (Vec::new(), Act::Take);
        loop {
            let line = line_of(&mut reader)?;
            let word = line.split_whitespace().next().unwrap_or_default().to_uppercase();
            match word.as_str() {
                "EHLO" => {
                    say("250-sink.example.org")?;
                    say("250 8BITMIME")?;
                }
                "MAIL" => {
                    to.clear();
                    act = self.kept.lock().ok()?.acts.pop().unwrap_or(Act::Take);
                    say("250 so far so good")?;
                }
                "RCPT" => {
                    if let Act::Refuse(answer) = act {
                        say(answer)?;
                    } else {
                        to.push(line["RCPT TO:".len()..].trim().trim_matches(['<', '>']).to_owned());
                        say("250 known")?;
                    }
                }
                "DATA" => {
                    say("354 go on")?;
                    let text = letter_of(&mut reader)?;
                    if let Act::RefuseData(answer) = act {
                        say(answer)?;
                        continue;
                    }
                    self.keep(Letter { to: to.clone(), text });
                    match act {
                        Act::TakeAndBreak => return stream.shutdown(std::net::Shutdown::Both).ok(),
                        Act::TakeInSilence => return line_of(&mut reader).map(|_| ()),
                        Act::TakeWhenTold => {
                            let (told, changed) = &*self.told;
                            drop(changed.wait_while(told.lock().ok()?, |told| !*told).ok()?);
                        }
                        _ => {}
                    }
                    say("250 taken")?;
                }
                "QUIT" => return say("221 goodbye"),
                _ => say("250 as you like")?,
            }
        }
    }
}

fn line_of(reader: &mut BufReader<TcpStream>) -> Option<String> {
    let mut line = String::new();
    let read = reader.read_line(&mut line).ok()?;
    (read > 0).then(|| line.trim_end().to_owned())
}

/// Up to the dot that stands alone; dots in front were doubled (RFC 5321 section 4.5.2).
fn letter_of(reader: &mut BufReader<TcpStream>) -> Option<String> {
    let mut text = String::new();
    loop {
        let line = line_of(reader)?;
        if line == "." {
            return Some(text);
        }
        text.push_str(line.strip_prefix('.').unwrap_or(&line));
        text.push_str("\r\n");
    }
}
