//! The worker that sends mail, every two seconds.

use std::time::Duration;

use tokio::sync::watch;
use tokio::task::JoinHandle;

use crate::accounts;
use crate::mail::worker::{self, LeftAlone, Post};

/// The worker at work.
#[derive(Debug)]
pub struct Sending {
    stop: watch::Sender<bool>,
    work: JoinHandle<()>,
}

impl Sending {
    /// Starts it.
    #[must_use]
    pub fn start(post: Post) -> Self {
        let (stop, stopped) = watch::channel(false);
        Self { stop, work: tokio::spawn(run(post, stopped)) }
    }

    /// Lets it finish the message in hand, as requests are finished: what was handed over and not noted would go twice.
    pub async fn finish(self) {
        self.stop.send_replace(true);
        if tokio::time::timeout(Duration::from_secs(20), self.work).await.is_err() {
            tracing::warn!("a message was still being handed over; it is tried again after a quarter of an hour");
        }
    }
}

/// Runs until it is told to stop: then it finishes the message in hand.
async fn run(post: Post, mut stop: watch::Receiver<bool>) {
    if post.transports.is_none() {
        return;
    }
    let mut pause = tokio::time::interval(Duration::from_secs(2));
    pause.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Delay);
    let mut alone = LeftAlone::default();
    loop {
        tokio::select! {
            _ = pause.tick() => {}
            _ = stop.changed() => return,
        }
        let done = async {
            accounts::answer_link_requests(&post.system, &post.seal, &post.own_address).await?;
            let units = super::units(&post.system).await?;
            worker::round(&post, &units, &mut alone, &stop).await
        };
        if let Err(error) = done.await {
            tracing::warn!(%error, "a round of mail was not finished; the next one tries again");
        }
        if *stop.borrow() {
            return;
        }
    }
}
