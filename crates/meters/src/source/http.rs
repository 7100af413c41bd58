//! A page of JSON, fetched again and again by plain HTTP.

use super::text::{self, LARGEST_MESSAGE};
use super::wire::{ANSWER_WITHIN, tcp};
use super::{Ear, Taken, hand_on, polled, unheard};
use crate::MeterError;
use crate::config::{HttpJson, SocketConfig};
use crate::measured::Gathered;
use http_body_util::{BodyExt as _, Empty, Limited};
use hyper::body::Bytes;
use hyper::client::conn::http1;
use hyper::header::{ACCEPT, CONNECTION, HOST};
use hyper::{Request, StatusCode};
use hyper_util::rt::TokioIo;
use tokio::time::timeout;

pub(crate) async fn session(socket: &SocketConfig, page: &HttpJson, ear: &Ear) -> MeterError {
    let mut pace = polled::pace(socket.every);
    loop {
        pace.tick().await;
        let (status, body) = match timeout(ANSWER_WITHIN * 2, fetch(page)).await {
            Ok(Ok(answer)) => answer,
            Ok(Err(error)) => return error,
            Err(_) => return not_answered(page),
        };
        let read = if status == StatusCode::OK { read(page, &body) } else { Err(refused(page, status)) };
        if !hand_on(ear, text::shown(&body), read).await {
            return unheard();
        }
    }
}

/// One connection for each page: small meters often close it after the answer.
async fn fetch(page: &HttpJson) -> Result<(StatusCode, Vec<u8>), MeterError> {
    let stream = tcp(&page.host, page.port).await?;
    let broke = |error: hyper::Error| {
        MeterError::new(
            format!("{} broke off: {error}", page.authority),
            "check that the address is that of the meter, and that it speaks plain HTTP",
        )
    };
    let (mut sender, connection) = http1::handshake(TokioIo::new(stream)).await.map_err(broke)?;
    let mut request = Request::get(&page.path)
        .header(HOST, &page.authority)
        .header(ACCEPT, "application/json")
        .header(CONNECTION, "close");
    if let Some((name, value)) = &page.header {
        request = request.header(name, value.reveal());
    }
    let request = request
        .body(Empty::<Bytes>::new())
        .map_err(|_| MeterError::new("the request cannot be put together", "check the URL and the header"))?;
    let asked = async {
        let answer = sender.send_request(request).await.map_err(broke)?;
        let status = answer.status();
        let body = Limited::new(answer.into_body(), LARGEST_MESSAGE).collect().await.map_err(|error| {
            MeterError::new(
                format!("the page cannot be read to its end: {error}"),
                format!("name a page of at most {LARGEST_MESSAGE} bytes"),
            )
        })?;
        Ok((status, body.to_bytes().to_vec()))
    };
    tokio::pin!(asked);
    tokio::select! {
        biased;
        answer = &mut asked => answer,
        // The connection's end leaves what it read to be collected, or makes the request fail.
        _ = connection => asked.await,
    }
}

fn not_answered(page: &HttpJson) -> MeterError {
    MeterError::new(
        format!("{} took up the connection but does not answer", page.authority),
        "check that it speaks plain HTTP on this port",
    )
}

fn refused(page: &HttpJson, status: StatusCode) -> MeterError {
    let remedy = match status {
        StatusCode::NOT_FOUND => "check the path in `url`",
        StatusCode::UNAUTHORIZED | StatusCode::FORBIDDEN => {
            "send what it asks for with `header` and `header-value`"
        }
        _ => "open the page in a browser and see what the meter says",
    };
    MeterError::new(format!("{} answers {status}", page.authority), remedy)
}

fn read(page: &HttpJson, body: &[u8]) -> Result<Taken, MeterError> {
    let message = text::json(body)
        .map_err(|why| MeterError::new(why, "check that `url` names the page with the readings"))?;
    let mut gathered = Gathered::new();
    for taking in &page.values {
        gathered.take(taking.measured, taking.factor, text::number_at(&message, &taking.place));
    }
    if let Some(pointer) = &page.time {
        gathered.stamp(text::time_at(&message, pointer));
    }
    gathered.end()
}
