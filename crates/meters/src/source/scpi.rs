//! An instrument that answers queries with numbers (IEEE 488.2, SCPI-1999).

use super::wire::{ANSWER_WITHIN, Line, Lines, Stream, broke, connect};
use super::{Ear, Taken, hand_on, polled, unheard};
use crate::MeterError;
use crate::config::{Scpi, SocketConfig};
use crate::measured::Gathered;
use crate::source::text;
use tokio::io::AsyncWriteExt as _;
use tokio::time::timeout;

/// SCPI-1999, 7.2.1.4 and 7.2.1.5: infinity and not-a-number are answered as 9.9E37 and 9.91E37.
const NO_NUMBER_FROM: f64 = 9.9e37;

pub(crate) async fn session(socket: &SocketConfig, scpi: &Scpi, ear: &Ear) -> MeterError {
    match polls(socket, scpi, ear).await {
        Ok(never) => match never {},
        Err(error) => error,
    }
}

async fn polls(
    socket: &SocketConfig,
    scpi: &Scpi,
    ear: &Ear,
) -> Result<std::convert::Infallible, MeterError> {
    let mut peer = Peer { stream: connect(&scpi.wire).await?, lines: Lines::default() };
    for command in &scpi.setup {
        peer.send(command).await?;
    }
    let mut queries: Vec<&str> = scpi.values.iter().map(|t| t.place.text.as_str()).collect();
    queries.sort_unstable();
    queries.dedup();
    let mut pace = polled::pace(socket.every);
    loop {
        pace.tick().await;
        let mut answers = Vec::with_capacity(queries.len());
        for query in &queries {
            answers.push((*query, peer.ask(query).await?));
        }
        let raw: Vec<String> = answers.iter().map(|(query, answer)| format!("{query} → {answer}")).collect();
        if !hand_on(ear, raw.join("\n"), read(scpi, &answers)).await {
            return Err(unheard());
        }
    }
}

struct Peer {
    stream: Box<dyn Stream>,
    lines: Lines,
}

impl Peer {
    async fn send(&mut self, command: &str) -> Result<(), MeterError> {
        let line = format!("{command}\n");
        self.stream.write_all(line.as_bytes()).await.map_err(|e| broke(&e))?;
        self.stream.flush().await.map_err(|e| broke(&e))
    }

    async fn ask(&mut self, query: &str) -> Result<String, MeterError> {
        self.send(query).await?;
        match timeout(ANSWER_WITHIN, self.lines.next(&mut self.stream)).await {
            Ok(Ok(Line::Whole(line))) => Ok(String::from_utf8_lossy(&line).into_owned()),
            Ok(Ok(Line::TooLong)) => Err(MeterError::new(
                format!("the answer to {query} has no end"),
                "check that the query is answered with numbers",
            )),
            Ok(Err(error)) => Err(error),
            // An answer that comes late would be taken for that to the next query: the session ends.
            Err(_) => Err(MeterError::new(
                format!("no answer to {query}"),
                "check the query against the instrument's manual, and its baud and end of line",
            )),
        }
    }
}

fn read(scpi: &Scpi, answers: &[(&str, String)]) -> Result<Taken, MeterError> {
    let mut gathered = Gathered::new();
    for taking in &scpi.values {
        let answer = answers.iter().find(|(query, _)| *query == taking.place.text);
        let answer = answer.map_or("", |(_, answer)| answer);
        gathered.take(taking.measured, taking.factor, number(answer, taking.place.field));
    }
    gathered.end()
}

/// One of the numbers of an answer. Commas stand between the values of one query, semicolons between the answers to several
/// queries of one message (IEEE 488.2, response data separator and response message unit separator; from memory).
pub(crate) fn number(answer: &str, field: usize) -> Result<f64, String> {
    let Some(text) = answer.split([',', ';']).nth(field) else {
        return Err(format!("`{}` has no value {}", text::shortened(answer, 60), field + 1));
    };
    let number = text::number(text)?;
    if number.abs() >= NO_NUMBER_FROM {
        return Err(format!("the instrument says over-range or no value ({})", text.trim()));
    }
    Ok(number)
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn numbers_of_answers() {
        assert_eq!(number("+2.1054E+03", 0), Ok(2105.4));
        assert_eq!(number("231.2, 9.1,2105", 2), Ok(2105.0));
        assert_eq!(number("+2.312E+02;+9.1E+00;+2.105E+03", 2), Ok(2105.0));
        assert_eq!(number("231.2,50.01;2105", 2), Ok(2105.0));
        for (answer, field) in [("9.91E37", 0), ("-9.9E+37", 0), ("1,2", 2), ("", 0), ("ON", 0)] {
            assert!(number(answer, field).is_err(), "{answer}");
        }
    }
}
