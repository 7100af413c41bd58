//! New rows of a file, read in the dialect that its beginning shows.

use crate::MeterError;
use crate::config::GrowingFile;
use std::fs::{File, Metadata};
use std::io::{self, ErrorKind, Read as _, Seek as _, SeekFrom};
use trace::Sample;
use trace::read::{DateOrder, Encoding, Options, Packing, ReadError, Reader, TimeFormat};

/// So much of the beginning shows how a file is written, bytes.
const HEAD: usize = 64 * 1024;

/// So much of what was read stays beside what is new, bytes: it shows the dialect, and that the file is still the same.
const CONTEXT: usize = 4 * 1024;

/// So much is taken at one look, bytes; the rest at the next.
const PIECE: usize = 256 * 1024;

/// A row of the file.
pub(super) enum Row {
    /// A sample, and seconds from 1970 by the recorder's clock where the file states them.
    Sample { line: String, sample: Sample, unix_s: Option<f64> },
    /// No sample, and why.
    Refused { line: String, why: MeterError },
}

/// Follows a file while it grows, is cut off, or is replaced.
pub(super) struct Follower {
    config: GrowingFile,
    /// What was there before the first look is old. A look that could not see the file is none.
    first_look: bool,
    identity: Option<Identity>,
    /// Up to here it was read: the end of a line.
    read_to: u64,
    /// Its lines up to the names of the columns, once it is known how it is written.
    head: Option<Vec<u8>>,
    /// The last lines that were read.
    context: Vec<u8>,
    day_first: Option<bool>,
}

/// Tells a file from another of its name.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Identity(u64, u64);

impl Identity {
    #[cfg(unix)]
    fn of(metadata: &Metadata) -> Identity {
        use std::os::unix::fs::MetadataExt as _;
        Identity(metadata.dev(), metadata.ino())
    }

    /// Elsewhere a replaced file shows by its length and its last lines.
    #[cfg(not(unix))]
    fn of(_: &Metadata) -> Identity {
        Identity(0, 0)
    }
}

impl Follower {
    pub(super) fn new(config: &GrowingFile) -> Follower {
        Follower {
            day_first: config.day_first,
            config: config.clone(),
            first_look: true,
            identity: None,
            read_to: 0,
            head: None,
            context: Vec::new(),
        }
    }

    /// Rows that were added since the last look. May block.
    pub(super) fn look(mut self) -> (Follower, Vec<Row>) {
        let rows = self.new_rows();
        let rows = rows.unwrap_or_else(|why| vec![Row::Refused { line: String::new(), why }]);
        (self, rows)
    }

    fn new_rows(&mut self) -> Result<Vec<Row>, MeterError> {
        let mut file = match File::open(&self.config.file) {
            Ok(file) => file,
            Err(error) if error.kind() == ErrorKind::NotFound => {
                // Then all of it is new once it comes; what was read of it before is known should it come back.
                self.first_look = false;
                return Err(self.about("is not there yet", "start the program that writes it"));
            }
            Err(error) => return Err(self.unreadable(&error)),
        };
        self.recognise(&mut file).map_err(|e| self.unreadable(&e))?;
        self.first_look = false;
        let added = self.added(&mut file).map_err(|e| self.unreadable(&e))?;
        if added.is_empty() {
            return Ok(Vec::new());
        }
        if self.head.is_none() {
            self.learn_head(&mut file)?;
        }
        let rows = self.parsed(&added);
        // Lines that are no table may be the start of one; but no more than so many are looked at again and again.
        if rows.is_ok() || added.len() >= PIECE {
            self.took(&added);
        }
        rows
    }

    /// Starts from the beginning where it is another file than before; at the first look what is there is passed over.
    fn recognise(&mut self, file: &mut File) -> io::Result<()> {
        let metadata = file.metadata()?;
        let identity = Identity::of(&metadata);
        let same = self.identity == Some(identity)
            && metadata.len() >= self.read_to
            && self.before(file)? == self.context;
        if !same {
            self.start_again();
            self.identity = Some(identity);
        }
        if self.first_look && metadata.len() > 0 {
            // Only the end of it is read; a row that is being written counts as new.
            let from = metadata.len().saturating_sub(PIECE as u64);
            let tail = bytes(file, from, PIECE)?;
            let end = whole_lines(&tail).len();
            self.took_to(from + end as u64, &tail[..end]);
        }
        Ok(())
    }

    /// The bytes of the file that should be those of the context.
    fn before(&self, file: &mut File) -> io::Result<Vec<u8>> {
        bytes(file, self.read_to - self.context.len() as u64, self.context.len())
    }

    fn start_again(&mut self) {
        self.read_to = 0;
        self.head = None;
        self.context.clear();
        self.identity = None;
        self.day_first = self.config.day_first;
    }

    /// Whole lines after those that were read.
    fn added(&self, file: &mut File) -> io::Result<Vec<u8>> {
        let mut added = bytes(file, self.read_to, PIECE)?;
        let end = whole_lines(&added).len();
        if end > 0 || added.len() < PIECE {
            added.truncate(end);
        }
        // Else a line without end: it is taken piece by piece, and each is refused.
        Ok(added)
    }

    /// Finds out from its beginning how the file is written.
    fn learn_head(&mut self, file: &mut File) -> Result<(), MeterError> {
        let start = bytes(file, 0, HEAD).map_err(|e| self.unreadable(&e))?;
        let start = whole_lines(&start);
        let mut reader = Reader::new(start, &self.options()).map_err(|e| self.refused(&e))?;
        // A table shows only with its first row.
        if let Some(Err(error)) = reader.next() {
            return Err(self.refused(&error));
        }
        let dialect = reader.summary().dialect;
        if dialect.packing != Packing::None || dialect.encoding != Encoding::Bytes {
            return Err(self.about("is packed or in UTF-16", "have it written as plain text in UTF-8"));
        }
        if let TimeFormat::Date(order) = dialect.time {
            self.day_first = match order {
                DateOrder::DayFirst => Some(true),
                DateOrder::MonthFirst => Some(false),
                DateOrder::YearFirst => self.day_first,
            };
        }
        let lines = usize::try_from(dialect.header_line.unwrap_or(0)).unwrap_or(0);
        self.head = Some(start.split_inclusive(|b| *b == b'\n').take(lines).flatten().copied().collect());
        Ok(())
    }

    fn options(&self) -> Options {
        Options { day_first: self.day_first, ..Options::default() }
    }

    /// The rows of new lines, read behind the head and the lines before them.
    fn parsed(&self, added: &[u8]) -> Result<Vec<Row>, MeterError> {
        let head = self.head.as_deref().unwrap_or_default();
        let read_to = usize::try_from(self.read_to).unwrap_or(usize::MAX);
        let known = match head.get(..read_to) {
            // The head itself was not read to its end before.
            Some(part) => part.to_vec(),
            None => [head, self.context_after_head(head)].concat(),
        };
        let text = [known.as_slice(), added].concat();
        let known_lines = lines_in(&known);
        let lines: Vec<&[u8]> = text.split(|b| *b == b'\n').collect();
        let line = |number: u64| {
            let line = usize::try_from(number).ok().and_then(|n| lines.get(n.checked_sub(1)?));
            super::super::text::shown(line.map_or(&[][..], |l| l.trim_ascii()))
        };
        let mut reader = Reader::new(text.as_slice(), &self.options()).map_err(|e| self.refused(&e))?;
        let mut rows = Vec::new();
        while let Some(read) = reader.next() {
            let number = reader.summary().lines;
            // Where no row at all gave a reading, each is told of below.
            let Ok(sample) = read else { break };
            if number > known_lines {
                let unix_s = reader.summary().start_unix_s.map(|start| start + sample.time_s);
                rows.push(Row::Sample { line: line(number), sample, unix_s });
            }
        }
        let summary = reader.summary();
        let header = summary.dialect.header_line.unwrap_or(0);
        for remark in summary.skipped.first.iter().chain(&summary.backward.first) {
            if remark.line > known_lines.max(header) {
                let why =
                    self.about(&format!("has a row without a reading: {}", remark.why), "look at the row");
                rows.push(Row::Refused { line: line(remark.line), why });
            }
        }
        Ok(rows)
    }

    /// The context without lines of the head, which stand before it already.
    fn context_after_head(&self, head: &[u8]) -> &[u8] {
        let start = self.read_to - self.context.len() as u64;
        let in_head = (head.len() as u64).saturating_sub(start);
        usize::try_from(in_head).ok().and_then(|n| self.context.get(n..)).unwrap_or_default()
    }

    fn took(&mut self, added: &[u8]) {
        self.took_to(self.read_to + added.len() as u64, added);
    }

    fn took_to(&mut self, read_to: u64, last: &[u8]) {
        self.read_to = read_to;
        self.context.extend_from_slice(last);
        if self.context.len() > CONTEXT {
            let from = self.context.len() - CONTEXT;
            // From the start of a line; of a line longer than the context nothing is kept.
            let cut = self.context[from..]
                .iter()
                .position(|b| *b == b'\n')
                .map_or(self.context.len(), |n| from + n + 1);
            self.context.drain(..cut);
        }
    }

    fn about(&self, what: &str, remedy: &str) -> MeterError {
        MeterError::new(format!("{} {what}", self.config.file.display()), remedy)
    }

    fn unreadable(&self, error: &io::Error) -> MeterError {
        self.about(&format!("cannot be read: {error}"), "check that this user may read it")
    }

    fn refused(&self, error: &ReadError) -> MeterError {
        self.about(&format!("cannot be read as a recording: {}", error.what), &error.remedy)
    }
}

/// Up to so many bytes from a place on.
fn bytes(file: &mut File, from: u64, most: usize) -> io::Result<Vec<u8>> {
    file.seek(SeekFrom::Start(from))?;
    let mut bytes = Vec::new();
    file.take(most as u64).read_to_end(&mut bytes)?;
    Ok(bytes)
}

/// Without a last line that is still being written.
fn whole_lines(bytes: &[u8]) -> &[u8] {
    &bytes[..bytes.iter().rposition(|b| *b == b'\n').map_or(0, |end| end + 1)]
}

fn lines_in(bytes: &[u8]) -> u64 {
    bytes.split(|b| *b == b'\n').count() as u64 - 1
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::io::Write as _;
    use std::path::PathBuf;

    struct Bench {
        _folder: tempfile::TempDir,
        path: PathBuf,
        follower: Option<Follower>,
    }

    impl Bench {
        fn new(start: Option<&str>) -> Bench {
            let folder = tempfile::tempdir().unwrap();
            let path = folder.path().join("log.csv");
            if let Some(start) = start {
                std::fs::write(&path, start).unwrap();
            }
            let follower = Follower::new(&GrowingFile { file: path.clone(), day_first: None });
            Bench { _folder: folder, path, follower: Some(follower) }
        }

        fn add(&self, text: &str) {
            let mut file = File::options().append(true).create(true).open(&self.path).unwrap();
            file.write_all(text.as_bytes()).unwrap();
        }

        /// Watts of new rows, and the reasons of those refused.
        fn look(&mut self) -> (Vec<f64>, Vec<String>) {
            let (follower, rows) = self.follower.take().unwrap().look();
            self.follower = Some(follower);
            let (mut watts, mut whys) = (Vec::new(), Vec::new());
            for row in rows {
                match row {
                    Row::Sample { sample, .. } => watts.push(sample.power_w),
                    Row::Refused { why, .. } => whys.push(why.message),
                }
            }
            (watts, whys)
        }

        fn watts(&mut self) -> Vec<f64> {
            let (watts, whys) = self.look();
            assert!(whys.is_empty(), "{whys:?}");
            watts
        }
    }

    #[test]
    fn only_rows_added_later_are_read_and_only_when_they_are_whole() {
        let mut bench = Bench::new(Some("time s;power W\n0;10\n1;11\n2;1"));
        assert!(bench.watts().is_empty());
        bench.add("2");
        assert!(bench.watts().is_empty());
        bench.add("\n3;13\n");
        assert_eq!(bench.watts(), [12.0, 13.0]);
        for n in 4..2000 {
            bench.add(&format!("{n};{n}.5\r\n"));
        }
        let expected: Vec<f64> = (4..2000).map(|n| f64::from(n) + 0.5).collect();
        assert_eq!(bench.watts(), expected);
        bench.add("2000;7\n");
        assert_eq!(bench.watts(), [7.0]);
    }

    #[test]
    fn a_file_that_comes_later_is_read_from_its_start() {
        let mut bench = Bench::new(None);
        assert!(bench.look().1[0].contains("not there yet"));
        bench.add("Time,Volts,Power (kW)\n");
        let (watts, whys) = bench.look();
        assert!(watts.is_empty(), "{whys:?}");
        bench.add("2024-02-29 12:00:00,230.1,0.021\n2024-02-29 12:00:01,230.2,0.022\n");
        assert_eq!(bench.watts(), [21.0, 22.0]);
        bench.add("2024-02-29 12:00:02,230.2,0.5\n");
        assert_eq!(bench.watts(), [500.0]);
    }

    #[test]
    fn a_file_cut_off_or_replaced_is_read_from_its_start() {
        let mut bench = Bench::new(Some("time s;power W\n0;10\n1;11\n"));
        assert!(bench.watts().is_empty());
        std::fs::write(&bench.path, "time s;power W\n0;20\n").unwrap();
        assert_eq!(bench.watts(), [20.0]);
        // Longer than before at once, so that only its lines show that it is another.
        std::fs::write(&bench.path, "time s;power W\n0;30\n1;31\n2;32\n").unwrap();
        assert_eq!(bench.watts(), [30.0, 31.0, 32.0]);
        let new = bench.path.with_extension("new");
        std::fs::write(&new, "t,W\n0,40\n1,41\n2,42\n3,43\n4,44\n").unwrap();
        std::fs::rename(&new, &bench.path).unwrap();
        assert_eq!(bench.watts(), [40.0, 41.0, 42.0, 43.0, 44.0]);
    }

    #[test]
    fn what_could_not_be_seen_at_first_is_old_when_it_is_seen() {
        let mut bench = Bench::new(None);
        // Nobody can read a folder as a file, the superuser neither.
        std::fs::create_dir(&bench.path).unwrap();
        assert!(bench.look().1[0].contains("cannot be read"));
        std::fs::remove_dir(&bench.path).unwrap();
        bench.add("time s;power W\n0;10\n1;11\n");
        assert!(bench.watts().is_empty());
        bench.add("2;12\n");
        assert_eq!(bench.watts(), [12.0]);
    }

    #[test]
    fn a_file_that_goes_away_and_comes_back_is_read_on() {
        let mut bench = Bench::new(Some("time s;power W\n0;10\n1;11\n"));
        assert!(bench.watts().is_empty());
        let away = bench.path.with_extension("away");
        std::fs::rename(&bench.path, &away).unwrap();
        assert!(bench.look().1[0].contains("not there yet"));
        std::fs::rename(&away, &bench.path).unwrap();
        bench.add("2;12\n");
        assert_eq!(bench.watts(), [12.0]);
    }

    #[test]
    fn rows_without_a_reading_are_told_of() {
        let mut bench = Bench::new(Some("time s;power W\n0;10\n1;11\n"));
        bench.watts();
        bench.add("2;12\nrestarted\n3;13\n");
        let (watts, whys) = bench.look();
        assert_eq!(watts, [12.0, 13.0]);
        assert_eq!(whys.len(), 1, "{whys:?}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        #[test]
        fn rows_do_not_depend_on_how_they_are_written(sizes in proptest::collection::vec(1usize..700, 1..20)) {
            let rows: Vec<String> = (0..300).map(|n| format!("{n};{}.5\n", n % 7 * 300)).collect();
            let text = format!("Exported by a logger\ntime s;power W\n{}", rows.concat());
            let mut bench = Bench::new(Some(""));
            prop_assert!(bench.watts().is_empty());
            let (mut rest, mut watts) = (text.as_str(), Vec::new());
            for size in sizes.into_iter().chain([text.len()]) {
                let (piece, after) = rest.split_at(size.min(rest.len()));
                bench.add(piece);
                // Before its first row a table is told of as none.
                watts.extend(bench.look().0);
                rest = after;
            }
            let expected: Vec<f64> = (0..300).map(|n| f64::from(n % 7 * 300) + 0.5).collect();
            prop_assert_eq!(watts, expected);
        }

        #[test]
        fn no_bytes_are_too_strange_to_be_followed(
            pieces in proptest::collection::vec(proptest::collection::vec("[0-9;,.:\n\r a-zé-]{0,40}", 0..20), 0..6),
        ) {
            let mut bench = Bench::new(Some("time s;power W\n0;1\n"));
            for piece in pieces {
                bench.add(&piece.concat());
                let (watts, _) = bench.look();
                prop_assert!(watts.iter().all(|w| w.is_finite()));
            }
        }
    }
}
