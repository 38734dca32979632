//! The worker that sends mail, every two seconds.

use std::time::Duration;

use tokio::sync::watch;

use crate::accounts;
use crate::mail::worker::{self, LeftAlone, Post};

/// Runs until it is told to stop: then it finishes the message in hand.
pub async fn run(post: Post, mut stop: watch::Receiver<bool>) {
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
            worker::round(&post, &mut alone, &stop).await
        };
        if let Err(error) = done.await {
            tracing::warn!(%error, "a round of mail was not finished; the next one tries again");
        }
        if *stop.borrow() {
            return;
        }
    }
}
