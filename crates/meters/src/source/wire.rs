//! Streams of bytes to a meter: a TCP connection, or a serial line.

use crate::MeterError;
use crate::config::{Parity, SerialLine, Wire};
use serial2_tokio::SerialPort;
use std::fmt::Debug;
use std::io::{self, ErrorKind};
use std::path::Path;
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncReadExt, AsyncWrite};
use tokio::net::TcpStream;
use tokio::time::timeout;

/// A peer that has not taken up a connection by then is not there.
pub(crate) const CONNECT_WITHIN: Duration = Duration::from_millis(2500);

/// A peer that has not answered by then does not answer. With this a silent meter is found lost in time.
pub(crate) const ANSWER_WITHIN: Duration = Duration::from_millis(1500);

/// Longest line that is read, bytes.
pub(crate) const LONGEST_LINE: usize = 4096;

/// Bytes both ways.
pub(crate) trait Stream: AsyncRead + AsyncWrite + Debug + Send + Unpin {}

impl<T: AsyncRead + AsyncWrite + Debug + Send + Unpin> Stream for T {}

/// Connects.
pub(crate) async fn connect(wire: &Wire) -> Result<Box<dyn Stream>, MeterError> {
    match wire {
        Wire::Tcp { host, port } => Ok(Box::new(tcp(host, *port).await?)),
        Wire::Serial(line) => Ok(Box::new(serial(line)?)),
    }
}

/// A TCP connection without delay.
pub(crate) async fn tcp(host: &str, port: u16) -> Result<TcpStream, MeterError> {
    let stream = match timeout(CONNECT_WITHIN, TcpStream::connect((host, port))).await {
        Ok(Ok(stream)) => stream,
        Ok(Err(error)) => return Err(unreached(host, port, &error)),
        Err(_) => return Err(unreached(host, port, &ErrorKind::TimedOut.into())),
    };
    // Where it cannot be set, answers come a little later.
    let _ = stream.set_nodelay(true);
    Ok(stream)
}

/// Why a host was not reached.
pub(crate) fn unreached(host: &str, port: u16, error: &io::Error) -> MeterError {
    let at = format!("{host} port {port}");
    match error.kind() {
        ErrorKind::ConnectionRefused => MeterError::new(
            format!("nothing listens at {at}"),
            "check the port, and that the meter's interface is switched on",
        ),
        ErrorKind::TimedOut | ErrorKind::HostUnreachable | ErrorKind::NetworkUnreachable => MeterError::new(
            format!("{at} does not answer"),
            "check that the meter has power and is in this network",
        ),
        _ => MeterError::new(format!("{at} cannot be reached: {error}"), "check its name or address"),
    }
}

/// A serial line, set as it is to be.
pub(crate) fn serial(line: &SerialLine) -> Result<SerialPort, MeterError> {
    use serial2_tokio::{Parity as P, Settings, StopBits};
    let set = |mut settings: Settings| {
        settings.set_raw();
        settings.set_baud_rate(line.baud)?;
        settings.set_parity(match line.parity {
            Parity::None => P::None,
            Parity::Even => P::Even,
            Parity::Odd => P::Odd,
        });
        settings.set_stop_bits(if line.two_stop_bits { StopBits::Two } else { StopBits::One });
        Ok(settings)
    };
    SerialPort::open(&line.device, set).map_err(|e| not_opened(&line.device, &e))
}

fn not_opened(device: &Path, error: &io::Error) -> MeterError {
    let shown = device.display();
    match error.kind() {
        ErrorKind::NotFound => MeterError::new(
            format!("there is no serial port {shown}"),
            "plug its adapter in; `ls /dev/serial/by-id` names those that are there",
        ),
        ErrorKind::PermissionDenied => MeterError::new(
            format!("the serial port {shown} may not be opened by this user"),
            "join the group that owns it (`ls -l` names it, often dialout), and log in again",
        ),
        ErrorKind::ResourceBusy => {
            MeterError::new(format!("another program has {shown} open"), "close that program")
        }
        _ => MeterError::new(
            format!("{shown} cannot be used as a serial port: {error}"),
            "check the device and its baud, parity and stop bits",
        ),
    }
}

/// A connection that broke.
pub(crate) fn broke(error: &io::Error) -> MeterError {
    MeterError::new(format!("the connection broke: {error}"), "check the cable and that the meter is on")
}

/// A connection that the other end closed.
pub(crate) fn closed() -> MeterError {
    MeterError::new("the meter closed the connection", "check that no other program uses it")
}

/// Bytes cut into lines, none longer than [`LONGEST_LINE`].
#[derive(Default)]
pub(crate) struct Lines {
    buffer: Vec<u8>,
    /// The line at hand is too long and is read over.
    too_long: bool,
}

/// A line without its end.
pub(crate) enum Line {
    Whole(Vec<u8>),
    /// Over [`LONGEST_LINE`]; left out.
    TooLong,
}

impl Lines {
    /// Takes what came.
    pub(crate) fn feed(&mut self, bytes: &[u8]) {
        self.buffer.extend_from_slice(bytes);
    }

    /// The next whole line; its end is LF, CR or both. Empty lines are passed over.
    pub(crate) fn cut(&mut self) -> Option<Line> {
        loop {
            let Some(end) = self.buffer.iter().position(|b| matches!(b, b'\n' | b'\r')) else {
                if self.buffer.len() > LONGEST_LINE {
                    self.buffer.clear();
                    self.too_long = true;
                }
                return None;
            };
            let mut line: Vec<u8> = self.buffer.drain(..=end).collect();
            line.pop();
            if std::mem::take(&mut self.too_long) || line.len() > LONGEST_LINE {
                return Some(Line::TooLong);
            }
            if !line.is_empty() {
                return Some(Line::Whole(line));
            }
        }
    }

    /// Reads on until there is a line.
    pub(crate) async fn next(&mut self, from: &mut (impl AsyncRead + Unpin)) -> Result<Line, MeterError> {
        loop {
            if let Some(line) = self.cut() {
                return Ok(line);
            }
            let mut bytes = [0; 1024];
            match from.read(&mut bytes).await {
                Ok(0) => return Err(closed()),
                Ok(read) => self.feed(&bytes[..read]),
                Err(error) => return Err(broke(&error)),
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn all(lines: &mut Lines) -> Vec<Option<Vec<u8>>> {
        std::iter::from_fn(|| lines.cut())
            .map(|line| match line {
                Line::Whole(line) => Some(line),
                Line::TooLong => None,
            })
            .collect()
    }

    #[test]
    fn an_endless_line_is_read_over_and_the_next_is_whole() {
        let mut lines = Lines::default();
        let mut got = Vec::new();
        for _ in 0..100 {
            lines.feed(&[b'x'; 1000]);
            got.extend(all(&mut lines));
            assert!(lines.buffer.len() <= LONGEST_LINE + 1000);
        }
        lines.feed(b"yz\r\nnext\n");
        got.extend(all(&mut lines));
        assert_eq!(got, [None, Some(b"next".to_vec())]);
    }

    proptest! {
        #[test]
        fn lines_do_not_depend_on_how_bytes_arrive(
            lines in proptest::collection::vec("[ -~]{1,20}", 0..8),
            size in 1usize..30,
        ) {
            let sent = lines.iter().flat_map(|l| [l.as_str(), "\r\n"]).collect::<String>();
            let mut cutter = Lines::default();
            let mut got = Vec::new();
            for piece in sent.as_bytes().chunks(size) {
                cutter.feed(piece);
                got.extend(all(&mut cutter));
            }
            let expected: Vec<_> = lines.into_iter().map(|l| Some(l.into_bytes())).collect();
            prop_assert_eq!(got, expected);
        }
    }
}
