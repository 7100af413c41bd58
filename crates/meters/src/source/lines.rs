//! A meter that writes lines of text by itself.

use super::wire::{Line, Lines, serial};
use super::{Ear, Taken, hand_on, unheard};
use crate::MeterError;
use crate::config::SerialLines;
use crate::measured::Gathered;
use crate::source::text;

pub(crate) async fn session(config: &SerialLines, ear: &Ear) -> MeterError {
    let mut port = match serial(&config.line) {
        Ok(port) => port,
        Err(error) => return error,
    };
    let mut lines = Lines::default();
    // The first line may have begun before we listened: `5 W` may be the rest of `1215 W`.
    if let Err(error) = lines.next(&mut port).await {
        return error;
    }
    loop {
        let (raw, read) = match lines.next(&mut port).await {
            Ok(Line::Whole(line)) => {
                let line = String::from_utf8_lossy(&line).into_owned();
                let read = read(config, &line);
                (line, read)
            }
            Ok(Line::TooLong) => (
                String::new(),
                Err(MeterError::new("a line without end came", "check baud, parity and stop bits")),
            ),
            Err(error) => return error,
        };
        if !hand_on(ear, raw, read).await {
            return unheard();
        }
    }
}

/// What a line says.
fn read(config: &SerialLines, line: &str) -> Result<Taken, MeterError> {
    let Some(groups) = config.pattern.captures(line) else {
        let shown = text::shortened(line, 60);
        return Err(MeterError::new(
            format!("the pattern does not match the line `{shown}`"),
            "compare it with the pattern; strange letters mean a wrong baud or parity",
        ));
    };
    let mut gathered = Gathered::new();
    for taking in &config.values {
        if let Some(found) = groups.name(&taking.place) {
            gathered.take(taking.measured, taking.factor, text::number(found.as_str()));
        }
    }
    if let Some(stamp) = groups.name("time").filter(|_| config.time) {
        gathered.stamp(text::time(stamp.as_str()));
    }
    gathered.end()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Source;
    use crate::config::Config;

    fn config(pattern: &str) -> SerialLines {
        let text = format!(
            "format = 1\n[[socket]]\nname = \"b\"\nkind = \"serial-lines\"\ndevice = \"x\"\npattern = '{pattern}'\n\
             power.unit = \"kW\"\n"
        );
        match Config::read(&text).unwrap().sockets.remove(0).source {
            Source::SerialLines(lines) => lines,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn a_line_is_read_by_its_groups() {
        let config =
            config("^(?<time>[^ ]+) P=(?<power>[-0-9.,]+)(?: U=(?<voltage>[0-9.]+))? ?(?<power_factor>.*)$");
        let taken = read(&config, "2024-02-29T12:00:00 P=2,105 U=230.1 0.99").unwrap();
        let r = taken.reading;
        assert_eq!((r.watts, r.volts, r.power_factor), (Some(2105.0), Some(230.1), Some(0.99)));
        assert_eq!(r.stamped.unwrap().as_second(), 1_709_208_000);
        let taken = read(&config, "later P=0.5 nan").unwrap();
        assert_eq!((taken.reading.watts, taken.reading.volts, taken.left_out.len()), (Some(500.0), None, 2));
        assert!(read(&config, "hello").unwrap_err().message.contains("hello"));
        assert!(read(&config, "t P=5000 ").unwrap_err().message.contains("cannot be"));
    }
}
