//! What several test files need.
#![allow(dead_code, reason = "not every test file needs all of it")]

use meters::{Config, News, Reading, SocketConfig};
use std::path::Path;
use std::time::Duration;
use tokio::sync::mpsc::Receiver;
use tokio::time::timeout;

/// The folder of the workspace.
pub(crate) const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");

/// A socket with these keys; paths are taken from the workspace.
pub(crate) fn socket(keys: &str) -> SocketConfig {
    let text = format!("format = 1\n[[socket]]\nname = \"bench\"\n{keys}\n");
    match Config::read(&text) {
        Ok(config) => config.in_folder(Path::new(ROOT)).sockets[0].clone(),
        Err(found) => panic!("{text}\n{found:?}"),
    }
}

/// The next piece of news; fails where none comes for ten seconds.
pub(crate) async fn next(news: &mut Receiver<News>) -> News {
    let next = timeout(Duration::from_secs(10), news.recv()).await;
    next.expect("news within 10 s").expect("a watch that does not end by itself")
}

/// The next reading, with whatever came before it passed over.
pub(crate) async fn next_reading(news: &mut Receiver<News>) -> Reading {
    loop {
        if let News::Reading(reading) = next(news).await {
            return reading;
        }
    }
}

/// Passes over readings and refusals up to the meter's loss; gives its reason.
pub(crate) async fn next_loss(news: &mut Receiver<News>) -> String {
    loop {
        if let News::Lost { why } = next(news).await {
            return why;
        }
    }
}
