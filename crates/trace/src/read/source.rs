//! From a file's bytes to its lines: decompression, encodings, bounded buffers.

use std::io::{self, Cursor, Read};

/// Longest line that is read. A row of readings has a few hundred bytes; more is no recording.
const LONGEST_LINE: usize = 64 * 1024;

/// How much is asked for at a time.
const CHUNK: usize = 256 * 1024;

/// How the characters of a file are stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, plain ASCII, or Latin-1: told apart line by line, since only headers hold more than ASCII.
    Bytes,
    /// UTF-16, low byte first.
    Utf16Le,
    /// UTF-16, high byte first.
    Utf16Be,
}

/// How a file is packed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Packing {
    /// Not at all.
    None,
    /// gzip.
    Gzip,
    /// Zstandard.
    Zstd,
}

/// A file opened: plain bytes of text, and what had to be done to get them.
pub(super) struct Source<'a> {
    pub(super) bytes: Box<dyn Read + 'a>,
    pub(super) encoding: Encoding,
    pub(super) packing: Packing,
    /// The first bytes, unpacked and not decoded.
    pub(super) start: Vec<u8>,
}

/// Unpacks and decodes, by what the first bytes say.
pub(super) fn open<'a>(input: impl Read + 'a) -> io::Result<Source<'a>> {
    let (start, input) = peek(Box::new(input), 4)?;
    let (packing, unpacked): (_, Box<dyn Read + 'a>) = match start[..] {
        [0x1f, 0x8b, ..] => (Packing::Gzip, Box::new(flate2::read::MultiGzDecoder::new(input))),
        [0x28, 0xb5, 0x2f, 0xfd] => (
            Packing::Zstd,
            Box::new(ruzstd::decoding::StreamingDecoder::new(input).map_err(io::Error::other)?),
        ),
        _ => (Packing::None, input),
    };
    let (start, unpacked) = peek(unpacked, 64)?;
    let encoding = encoding_of(&start);
    let bytes: Box<dyn Read + 'a> = match encoding {
        Encoding::Bytes => unpacked,
        Encoding::Utf16Le | Encoding::Utf16Be => Box::new(FromUtf16::new(unpacked, encoding)),
    };
    Ok(Source { bytes, encoding, packing, start })
}

/// The first bytes, and a reader that gives them again.
fn peek<'a>(mut input: Box<dyn Read + 'a>, length: u64) -> io::Result<(Vec<u8>, Box<dyn Read + 'a>)> {
    let mut start = Vec::new();
    input.by_ref().take(length).read_to_end(&mut start)?;
    Ok((start.clone(), Box::new(Cursor::new(start).chain(input))))
}

fn encoding_of(start: &[u8]) -> Encoding {
    let zeros =
        |from: usize| start.iter().skip(from).step_by(2).filter(|b| **b == 0).count() * 4 > start.len();
    match start {
        [0xff, 0xfe, ..] => Encoding::Utf16Le,
        [0xfe, 0xff, ..] => Encoding::Utf16Be,
        _ if zeros(1) => Encoding::Utf16Le,
        _ if zeros(0) => Encoding::Utf16Be,
        _ => Encoding::Bytes,
    }
}

/// UTF-16 in, UTF-8 out. What is no character becomes U+FFFD and shows up as a garbage line.
struct FromUtf16<'a> {
    input: Box<dyn Read + 'a>,
    big_endian: bool,
    raw: Vec<u8>,
    high: Option<u16>,
    ready: Vec<u8>,
    given: usize,
}

impl<'a> FromUtf16<'a> {
    fn new(input: Box<dyn Read + 'a>, encoding: Encoding) -> Self {
        let big_endian = encoding == Encoding::Utf16Be;
        Self { input, big_endian, raw: Vec::new(), high: None, ready: Vec::new(), given: 0 }
    }

    fn refill(&mut self) -> io::Result<()> {
        self.ready.clear();
        self.given = 0;
        while self.ready.is_empty() {
            if self.input.by_ref().take(CHUNK as u64 / 4).read_to_end(&mut self.raw)? == 0 {
                // Half a unit at the very end.
                if !self.raw.is_empty() || self.high.take().is_some() {
                    self.raw.clear();
                    self.push(char::REPLACEMENT_CHARACTER);
                }
                return Ok(());
            }
            let raw = std::mem::take(&mut self.raw);
            let units = raw.chunks_exact(2);
            self.raw.extend_from_slice(units.remainder());
            for pair in units {
                let unit = if self.big_endian {
                    u16::from_be_bytes([pair[0], pair[1]])
                } else {
                    u16::from_le_bytes([pair[0], pair[1]])
                };
                self.unit(unit);
            }
        }
        Ok(())
    }

    fn unit(&mut self, unit: u16) {
        if let Some(high) = self.high.take() {
            let decoded = char::decode_utf16([high, unit]).next();
            if let Some(Ok(character)) = decoded {
                self.push(character);
                return;
            }
            self.push(char::REPLACEMENT_CHARACTER);
        }
        match char::from_u32(u32::from(unit)) {
            Some(character) => self.push(character),
            None if unit < 0xdc00 => self.high = Some(unit),
            None => self.push(char::REPLACEMENT_CHARACTER),
        }
    }

    fn push(&mut self, character: char) {
        self.ready.extend_from_slice(character.encode_utf8(&mut [0; 4]).as_bytes());
    }
}

impl Read for FromUtf16<'_> {
    fn read(&mut self, out: &mut [u8]) -> io::Result<usize> {
        if self.given == self.ready.len() {
            self.refill()?;
        }
        let count = out.len().min(self.ready.len() - self.given);
        out[..count].copy_from_slice(&self.ready[self.given..self.given + count]);
        self.given += count;
        Ok(count)
    }
}

/// Lines out of bytes, with a look ahead.
pub(super) struct Lines<'a> {
    input: Box<dyn Read + 'a>,
    buffer: Vec<u8>,
    start: usize,
    ended: bool,
    /// What stopped the input, to be said once the lines before it have been given.
    broken: Option<io::Error>,
    /// The number of the line given last, counted from 1.
    pub(super) number: u64,
}

/// One line, without its end.
pub(super) enum Line<'l> {
    Text(&'l [u8]),
    /// Over [`LONGEST_LINE`]; read over and left out.
    TooLong,
}

impl<'a> Lines<'a> {
    pub(super) fn new(input: Box<dyn Read + 'a>) -> Self {
        Self { input, buffer: Vec::new(), start: 0, ended: false, broken: None, number: 0 }
    }

    /// What lies ahead, at least `length` bytes of it or all there is.
    pub(super) fn peek(&mut self, length: usize) -> io::Result<&[u8]> {
        while self.buffer.len() - self.start < length && !self.ended {
            self.fill()?;
        }
        Ok(&self.buffer[self.start..])
    }

    /// Whether the look-ahead has reached the end.
    pub(super) fn ended(&self) -> bool {
        self.ended
    }

    /// Reads over the first bytes, for a byte order mark.
    pub(super) fn skip(&mut self, count: usize) {
        self.start = (self.start + count).min(self.buffer.len());
    }

    fn fill(&mut self) -> io::Result<()> {
        if self.start > 0 {
            self.buffer.drain(..self.start);
            self.start = 0;
        }
        match self.input.by_ref().take(CHUNK as u64).read_to_end(&mut self.buffer) {
            Ok(read) => self.ended = read == 0,
            Err(error) if self.buffer.is_empty() => return Err(error),
            Err(error) => {
                self.broken = Some(error);
                self.ended = true;
                // Where it broke off within a line, that line's last number may lack digits.
                let whole =
                    self.buffer.iter().rposition(|b| matches!(b, b'\n' | b'\r')).map_or(0, |end| end + 1);
                self.buffer.truncate(whole);
            }
        }
        Ok(())
    }

    /// The next line. Ends are LF, CR LF, or CR alone.
    #[inline]
    pub(super) fn next(&mut self) -> io::Result<Option<Line<'_>>> {
        let mut searched = 0;
        let mut too_long = false;
        loop {
            let ahead = &self.buffer[self.start..];
            if let Some(end) = ahead[searched..].iter().position(|b| matches!(b, b'\n' | b'\r')) {
                let end = searched + end;
                // A CR at the buffer's end may have its LF still to come.
                if ahead[end] == b'\n' || end + 1 < ahead.len() || self.ended {
                    let length =
                        end + 1 + usize::from(ahead[end] == b'\r' && ahead.get(end + 1) == Some(&b'\n'));
                    let from = self.start;
                    self.start += length;
                    self.number += 1;
                    let long = too_long || end > LONGEST_LINE;
                    return Ok(Some(if long {
                        Line::TooLong
                    } else {
                        Line::Text(&self.buffer[from..from + end])
                    }));
                }
                searched = end;
            } else {
                searched = ahead.len();
            }
            if searched > LONGEST_LINE {
                too_long = true;
                self.start += searched;
                searched = 0;
            }
            if self.ended {
                return match self.broken.take() {
                    Some(error) => Err(error),
                    None => Ok(self.rest(too_long)),
                };
            }
            self.fill()?;
        }
    }

    fn rest(&mut self, too_long: bool) -> Option<Line<'_>> {
        let from = std::mem::replace(&mut self.start, self.buffer.len());
        if from == self.buffer.len() && !too_long {
            return None;
        }
        self.number += 1;
        Some(if too_long { Line::TooLong } else { Line::Text(&self.buffer[from..]) })
    }
}

/// The text of a line that may be UTF-8 or Latin-1.
pub(super) fn text_of(line: &[u8]) -> String {
    match std::str::from_utf8(line) {
        Ok(text) => text.to_owned(),
        Err(_) => line.iter().map(|&b| char::from(b)).collect(),
    }
}
