//! Meters on the network, played by small listeners here: pages of JSON, an instrument, one that falls silent.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use meters::{News, try_it, watch};
use std::future::Future;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};
use support::{next, next_loss, next_reading, socket};
use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};

/// Serves every connection in the same way; gives the port.
async fn listener<F: Future<Output = ()> + Send + 'static>(
    serve: impl Fn(TcpStream) -> F + Send + 'static,
) -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    tokio::spawn(async move {
        while let Ok((stream, _)) = listener.accept().await {
            tokio::spawn(serve(stream));
        }
    });
    port
}

/// Answers each request with this, and closes.
async fn page(answer: &'static str) -> u16 {
    listener(move |mut stream| async move {
        let mut request = [0; 2000];
        let read = stream.read(&mut request).await.unwrap();
        let request = String::from_utf8_lossy(&request[..read]).into_owned();
        let good = request.starts_with("GET /status?full=1 HTTP/1.1\r\n") && request.contains("x-key: open");
        let answer = if good { answer } else { "HTTP/1.1 404 Not Found\r\ncontent-length: 0\r\n\r\n" };
        // The client may have left already.
        let _ = stream.write_all(answer.as_bytes()).await;
    })
    .await
}

fn http(port: u16) -> meters::SocketConfig {
    socket(&format!(
        "kind = \"http-json\"\nurl = \"http://127.0.0.1:{port}/status?full=1\"\nheader = \"x-key\"\n\
         header-value = \"open\"\nevery = \"0.1 s\"\n[socket.power]\npointer = \"/meters/0/power\"\n[socket.current]\n\
         pointer = \"/meters/0/ma\"\nunit = \"mA\"\n[socket.time]\npointer = \"/now\"\n"
    ))
}

#[tokio::test]
async fn a_page_of_json_is_fetched_again_and_again() {
    let body = r#"{"meters": [{"power": "2105.5", "ma": 9150}], "now": 1709208000}"#;
    let answer = format!("HTTP/1.1 200 OK\r\ncontent-length: {}\r\n\r\n{body}", body.len());
    let port = page(answer.leak()).await;
    let mut news = watch(http(port));
    for _ in 0..5 {
        let News::Reading(r) = next(&mut news).await else { panic!("no reading") };
        assert_eq!((r.watts, r.amps, r.volts), (Some(2105.5), Some(9.15), None));
        assert_eq!(r.stamped.unwrap().as_second(), 1_709_208_000);
    }
    let tried = try_it(&http(port), Duration::from_secs(5)).await.unwrap();
    assert_eq!(tried[0].raw, body);
    assert!(tried[0].reading.is_ok());
}

#[tokio::test]
async fn pages_that_are_none_are_refused_with_the_reason() {
    for (answer, words) in [
        ("HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\nhi", "no JSON"),
        ("HTTP/1.1 200 OK\r\ncontent-length: 2\r\n\r\n{}", "nothing at /meters/0/power"),
        ("HTTP/1.1 503 Service Unavailable\r\ncontent-length: 0\r\n\r\n", "503"),
        (
            "HTTP/1.1 200 OK\r\ncontent-length: 37\r\n\r\n{\"meters\":[{\"power\":1e9,\"ma\":1}]}   \n",
            "cannot be",
        ),
    ] {
        let tried = try_it(&http(page(answer).await), Duration::from_secs(5)).await.unwrap();
        let why = tried[0].reading.as_ref().unwrap_err().to_string();
        assert!(why.contains(words), "{why}");
    }
    // Larger than any page of readings, and an answer that is no HTTP.
    let large = format!("HTTP/1.1 200 OK\r\ncontent-length: 90000\r\n\r\n{}", " ".repeat(90_000));
    for (answer, words) in [(&*large.leak(), "cannot be read to its end"), ("230 V\r\n\r\n", "broke off")] {
        let why = try_it(&http(page(answer).await), Duration::from_secs(5)).await.unwrap_err().to_string();
        assert!(why.contains(words), "{why}");
    }
}

fn scpi(port: u16) -> meters::SocketConfig {
    socket(&format!(
        "kind = \"scpi-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\nevery = \"0.1 s\"\nsetup = \"CONF:CH1\"\n\
         [socket.power]\nquery = \"MEAS:ALL?\"\nfield = 2\n[socket.voltage]\nquery = \"MEAS:ALL?\"\n\
         [socket.frequency]\nquery = \"MEAS:FREQ?\"\n"
    ))
}

/// An instrument that answers so many queries and then says nothing more, on whichever connection.
async fn instrument(answers: usize) -> u16 {
    let left = Arc::new(AtomicUsize::new(answers));
    listener(move |stream| {
        let left = Arc::clone(&left);
        async move {
            let (read, mut write) = stream.into_split();
            let mut lines = BufReader::new(read).lines();
            assert_eq!(lines.next_line().await.unwrap().unwrap(), "CONF:CH1");
            while let Ok(Some(query)) = lines.next_line().await {
                let answer = match query.as_str() {
                    "MEAS:ALL?" => "+2.3010E+02,+2.1055E+03\r\n",
                    "MEAS:FREQ?" => "9.91E37\r\n",
                    other => panic!("{other}"),
                };
                if left.fetch_update(Ordering::SeqCst, Ordering::SeqCst, |n| n.checked_sub(1)).is_ok() {
                    write.write_all(answer.as_bytes()).await.unwrap();
                }
            }
        }
    })
    .await
}

#[tokio::test]
async fn an_instrument_is_asked_each_query_once_and_over_range_is_no_value() {
    let port = instrument(usize::MAX).await;
    let mut news = watch(scpi(port));
    let News::Refused { why } = next(&mut news).await else { panic!("the frequency is over-range") };
    assert!(why.contains("over-range"), "{why}");
    for _ in 0..3 {
        let News::Reading(r) = next(&mut news).await else { panic!("said once") };
        assert_eq!((r.watts, r.volts, r.hertz), (Some(2105.5), Some(230.1), None));
    }
    let tried = try_it(&scpi(port), Duration::from_secs(5)).await.unwrap();
    assert!(tried[0].raw.contains("MEAS:ALL? → +2.3010E+02,+2.1055E+03"), "{}", tried[0].raw);
    assert_eq!(tried[0].left_out.len(), 1);
}

/// The query of the guide, whose answers have semicolons between them (IEEE 488.2, from memory).
#[tokio::test]
async fn an_instrument_that_is_asked_for_several_values_at_once_is_read() {
    let port = listener(|stream| async move {
        let (read, mut write) = stream.into_split();
        let mut lines = BufReader::new(read).lines();
        while let Ok(Some(query)) = lines.next_line().await {
            assert_eq!(query, "MEAS:VOLT?;CURR?;POW?");
            write.write_all(b"+2.3010E+02;+9.1500E+00;+2.1055E+03\n").await.unwrap();
        }
    })
    .await;
    let query = "query = \"MEAS:VOLT?;CURR?;POW?\"";
    let config = socket(&format!(
        "kind = \"scpi-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\n[socket.power]\n{query}\nfield = 3\n\
         [socket.voltage]\n{query}\nfield = 1\n"
    ));
    let tried = try_it(&config, Duration::from_secs(5)).await.unwrap();
    let r = tried[0].reading.as_ref().unwrap();
    assert_eq!((r.watts, r.volts), (Some(2105.5), Some(230.1)));
}

#[tokio::test]
async fn a_meter_that_falls_silent_is_lost_and_not_read_as_zero() {
    let mut news = watch(scpi(instrument(10).await));
    for _ in 0..5 {
        assert_eq!(next_reading(&mut news).await.watts, Some(2105.5));
    }
    let started = Instant::now();
    let why = next_loss(&mut news).await;
    // That three seconds are kept exactly is shown in made-up time; here a busy machine may come late.
    let after = started.elapsed();
    assert!((Duration::from_millis(2500)..Duration::from_secs(6)).contains(&after), "{after:?}: {why}");
}

#[tokio::test]
async fn a_meter_that_goes_away_is_lost_and_found_again() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let port = listener.local_addr().unwrap().port();
    let serve = |listener: TcpListener| async move {
        let (stream, _) = listener.accept().await.unwrap();
        let (read, mut write) = stream.into_split();
        let mut lines = BufReader::new(read).lines();
        for _ in 0..10 {
            let query = lines.next_line().await.unwrap().unwrap();
            if query.ends_with('?') {
                write.write_all(b"230,31\n").await.unwrap();
            }
        }
    };
    let mut news = watch(scpi(port));
    serve(listener).await;
    let started = Instant::now();
    let why = next_loss(&mut news).await;
    assert!(why.contains("nothing listens"), "{why}");
    assert!(started.elapsed() < Duration::from_secs(3), "{:?}", started.elapsed());
    let again = tokio::spawn(serve(TcpListener::bind(("127.0.0.1", port)).await.unwrap()));
    assert_eq!(next_reading(&mut news).await.watts, Some(31.0));
    again.await.unwrap();
}

#[tokio::test]
async fn a_host_that_is_not_there_says_what_to_do() {
    let why = try_it(&scpi(1), Duration::from_secs(5)).await.unwrap_err();
    assert!(why.message.contains("nothing listens at 127.0.0.1 port 1"), "{why}");
    assert!(!why.remedy.is_empty());
}

#[tokio::test]
async fn a_device_that_answers_with_other_registers_than_were_asked_for_is_not_believed() {
    // MBAP header (Modbus messaging on TCP/IP 1.0b, 3.1.3), then function 3: one register, where two make the value.
    let port = listener(|mut stream| async move {
        let mut asked = [0; 12];
        while stream.read_exact(&mut asked).await.is_ok() {
            let answer = [asked[0], asked[1], 0, 0, 0, 5, asked[6], 3, 2, 0x44, 0x9A];
            let _ = stream.write_all(&answer).await;
        }
    })
    .await;
    let config = socket(&format!(
        "kind = \"modbus-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\naddress = 7\nevery = \"0.1 s\"\n[socket.power]\n\
         register = 100\ntype = \"f32\"\n"
    ));
    let mut news = watch(config);
    match next(&mut news).await {
        News::Lost { why } => assert!(why.contains("1 registers instead of the 2 from 100 on"), "{why}"),
        other => panic!("{other:?}"),
    }
}
