//! Readings from a tester's CSV file, by a mapping that says which column is what.
//!
//! Two shapes are read. **Long**: a row a test, with a column for the test's name, its value and, where the value has none,
//! its unit. **Wide**: a row an appliance, with a column a test. Separator (comma, semicolon, tab) and decimal mark are
//! found in the file.

use crate::reading::{NotAReading, Reading, parse_reading};
use crate::test::Test;
use csv::{ReaderBuilder, StringRecord};
use std::fmt;

/// Largest file that is read, bytes.
pub const LARGEST_FILE: usize = 1 << 20;
/// Most rows that are read.
pub const MOST_ROWS: usize = 10_000;
/// Most columns of a row.
pub const MOST_COLUMNS: usize = 200;
/// Most entries of a mapping.
pub const MOST_ENTRIES: usize = 100;

/// What a column holds.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Holds {
    /// The appliance that a row is about: its number or name.
    Appliance,
    /// Long: the name of the test.
    Test,
    /// Long: what was read.
    Value,
    /// Long: the unit of what was read.
    Unit,
    /// Wide: readings of this test, in this unit where the cell has none.
    Of(Test, Option<String>),
}

/// Which column is what, and what the file calls the tests.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Mapping {
    columns: Vec<(String, Holds)>,
    names: Vec<(String, Test)>,
}

/// Why a mapping or a file gives no readings.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportError {
    /// Line in the file, from 1; none where it is about the file or the mapping.
    pub line: Option<u64>,
    /// Column of the table, from 1, with its heading.
    pub column: Option<(usize, String)>,
    /// What is wrong.
    pub message: String,
    /// What to do about it.
    pub remedy: String,
}

impl fmt::Display for ImportError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if let Some(line) = self.line {
            write!(f, "line {line}")?;
            if let Some((place, heading)) = &self.column {
                write!(f, ", column {place} ({heading})")?;
            }
            write!(f, ": ")?;
        }
        write!(f, "{}; {}", self.message, self.remedy)
    }
}

impl std::error::Error for ImportError {}

fn about_file(message: impl Into<String>, remedy: impl Into<String>) -> ImportError {
    ImportError { line: None, column: None, message: message.into(), remedy: remedy.into() }
}

impl Mapping {
    /// Adds an entry as typed: `Result=value`, `Test=test`, `Unit=unit`, `Asset=appliance`, `Riso (MΩ)=insulation in MΩ`; or,
    /// with `name `, what the file calls a test: `name RPE=earth bond`.
    ///
    /// # Errors
    /// Where it says nothing that is known, or there are too many.
    pub fn add(&mut self, entry: &str) -> Result<(), ImportError> {
        if self.columns.len() + self.names.len() >= MOST_ENTRIES {
            return Err(about_file(
                "this mapping has too many entries",
                format!("{MOST_ENTRIES} are allowed"),
            ));
        }
        let Some((heading, holds)) = entry.rsplit_once('=') else {
            return Err(about_file(
                format!("`{entry}` maps nothing"),
                "write COLUMN=WHAT, for instance: Riso=insulation in MΩ",
            ));
        };
        let (heading, holds) = (heading.trim(), holds.trim());
        if let Some(name) = heading.strip_prefix("name ") {
            self.names.push((plain(name), test(holds)?));
            return Ok(());
        }
        let holds = match holds.to_lowercase().as_str() {
            "appliance" | "asset" | "machine" => Holds::Appliance,
            "test" => Holds::Test,
            "value" | "result" | "reading" => Holds::Value,
            "unit" => Holds::Unit,
            _ => match holds.rsplit_once(" in ") {
                Some((name, unit)) => Holds::Of(test(name)?, Some(unit.trim().to_owned())),
                None => Holds::Of(test(holds)?, None),
            },
        };
        self.columns.push((heading.to_owned(), holds));
        Ok(())
    }
}

fn test(words: &str) -> Result<Test, ImportError> {
    Test::named(words).map_err(|remedy| {
        about_file(
            format!("`{}` is no test", words.trim()),
            format!("{remedy} or write appliance, test, value or unit"),
        )
    })
}

fn plain(text: &str) -> String {
    text.to_lowercase().split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The readings of one appliance in a tester's file. Of a wide file, and of a long one with an appliance column, `appliance`
/// chooses, by a column that the mapping names for it; it may be left out where the file holds one only. Empty cells are no readings.
///
/// # Errors
/// At the first cell that cannot be read, with its line and column.
pub fn import(bytes: &[u8], mapping: &Mapping, appliance: Option<&str>) -> Result<Vec<Reading>, ImportError> {
    if bytes.len() > LARGEST_FILE {
        return Err(about_file(
            "this file is larger than any tester's",
            format!("{LARGEST_FILE} bytes are read"),
        ));
    }
    let text = decoded(bytes);
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter(&text))
        .flexible(true)
        .has_headers(true)
        .from_reader(text.as_bytes());
    let headings = reader.headers().map_err(|e| broken(&e))?.clone();
    if headings.len() > MOST_COLUMNS {
        return Err(about_file("this file has too many columns", format!("{MOST_COLUMNS} are allowed")));
    }
    let table = Table::new(&headings, mapping)?;
    if let (Some(name), None) = (appliance, table.appliance) {
        return Err(about_file(
            format!("`{name}` cannot be chosen: no column is mapped to the appliance"),
            "add --map \"Asset=appliance\", with the heading of that column",
        ));
    }
    let mut readings = Vec::new();
    let mut chosen: Option<String> = None;
    for (count, record) in reader.records().enumerate() {
        let record = record.map_err(|e| broken(&e))?;
        if count >= MOST_ROWS {
            return Err(about_file(
                "this file has too many rows",
                format!("{MOST_ROWS} are read: cut out yours"),
            ));
        }
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        let from = record.position().map_or(0, |p| usize::try_from(p.byte()).unwrap_or(usize::MAX));
        let row = Row { text: &text, from, record: &record, table: &table };
        if !row.is_of(appliance, &mut chosen)? {
            continue;
        }
        row.readings(mapping, &mut readings)?;
    }
    if readings.is_empty() {
        return Err(match appliance {
            Some(name) => about_file(
                format!("the file has no readings of `{name}`"),
                "check the number of the appliance, and the column mapped to it",
            ),
            None => about_file("the file has no readings", "check the mapping against the headings"),
        });
    }
    Ok(readings)
}

/// UTF-8, with or without its mark; else Latin-1, in which testers of older make write µ.
fn decoded(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.trim_start_matches('\u{feff}').to_owned(),
        Err(_) => bytes.iter().map(|&b| char::from(b)).collect(),
    }
}

/// The separator that the first line holds most of.
fn delimiter(text: &str) -> u8 {
    let first = text.lines().next().unwrap_or_default();
    let count = |mark: u8| first.bytes().filter(|b| *b == mark).count();
    [b';', b'\t', b','].into_iter().max_by_key(|m| count(*m)).unwrap_or(b',')
}

fn broken(error: &csv::Error) -> ImportError {
    ImportError {
        line: error.position().map(csv::Position::line),
        column: None,
        message: "the table cannot be read here".to_owned(),
        remedy: "export it again as CSV, or take the row out".to_owned(),
    }
}

/// The columns that the mapping found.
struct Table {
    headings: StringRecord,
    appliance: Option<usize>,
    test: Option<usize>,
    value: Option<usize>,
    unit: Option<usize>,
    of: Vec<(usize, Test, Option<String>)>,
}

impl Table {
    fn new(headings: &StringRecord, mapping: &Mapping) -> Result<Table, ImportError> {
        let mut table = Table {
            headings: headings.clone(),
            appliance: None,
            test: None,
            value: None,
            unit: None,
            of: Vec::new(),
        };
        for (heading, holds) in &mapping.columns {
            let at = headings.iter().position(|h| plain(h) == plain(heading)).ok_or_else(|| {
                let all = headings.iter().map(str::trim).take(20).collect::<Vec<_>>().join(", ");
                ImportError {
                    line: Some(1),
                    column: None,
                    message: format!("no column is headed `{heading}`"),
                    remedy: format!("headings here: {all}"),
                }
            })?;
            match holds {
                Holds::Appliance => table.appliance = Some(at),
                Holds::Test => table.test = Some(at),
                Holds::Value => table.value = Some(at),
                Holds::Unit => table.unit = Some(at),
                Holds::Of(test, unit) => table.of.push((at, *test, unit.clone())),
            }
        }
        let long = table.test.is_some() && table.value.is_some();
        if !long && table.of.is_empty() {
            return Err(about_file(
                "the mapping names no column with readings",
                "map a column to a test (Riso=insulation in MΩ), or one to test and one to value",
            ));
        }
        Ok(table)
    }
}

/// One row of the table.
struct Row<'a> {
    text: &'a str,
    /// Where its text begins, or blank lines before it.
    from: usize,
    record: &'a StringRecord,
    table: &'a Table,
}

impl Row<'_> {
    fn cell(&self, at: usize) -> &str {
        self.record.get(at).unwrap_or_default().trim()
    }

    /// Line of the file, from 1.
    fn line(&self) -> u64 {
        let bytes = self.text.as_bytes();
        let from = self.from.min(bytes.len());
        let blank = bytes[from..].iter().take_while(|b| matches!(b, b'\n' | b'\r')).count();
        bytes[..from + blank].split(|b| *b == b'\n').count() as u64
    }

    fn refused(&self, at: usize, error: NotAReading) -> ImportError {
        let heading = self.table.headings.get(at).unwrap_or_default().trim().to_owned();
        ImportError {
            line: Some(self.line()),
            column: Some((at + 1, heading)),
            message: error.message,
            remedy: error.remedy,
        }
    }

    /// Is this row about the appliance? Where none was named, all rows must be about one.
    fn is_of(&self, appliance: Option<&str>, chosen: &mut Option<String>) -> Result<bool, ImportError> {
        let two = |at: usize| {
            self.refused(
                at,
                NotAReading {
                    message: "the file holds readings of more than one appliance".to_owned(),
                    remedy: "say which one; map a column to `appliance` where none is".to_owned(),
                },
            )
        };
        let Some(at) = self.table.appliance else {
            // A wide file without appliance column: one row is all that can be told apart.
            let wide = self.table.test.is_none();
            if wide && chosen.replace(String::new()).is_some() {
                return Err(two(0));
            }
            return Ok(true);
        };
        let cell = self.cell(at);
        match appliance {
            Some(wanted) => Ok(plain(cell) == plain(wanted)),
            None => match chosen {
                Some(first) if *first != cell => Err(two(at)),
                _ => {
                    *chosen = Some(cell.to_owned());
                    Ok(true)
                }
            },
        }
    }

    fn readings(&self, mapping: &Mapping, into: &mut Vec<Reading>) -> Result<(), ImportError> {
        if let (Some(test_at), Some(value_at)) = (self.table.test, self.table.value) {
            let name = self.cell(test_at);
            if !name.is_empty() && !self.cell(value_at).is_empty() {
                let wanted = plain(name);
                let given = mapping.names.iter().find(|n| n.0 == wanted).map(|n| n.1);
                let test = match given {
                    Some(test) => test,
                    None => Test::named(name).map_err(|remedy| {
                        let remedy = format!("{remedy} Or map it: name {name}=earth bond");
                        self.refused(test_at, NotAReading { message: format!("`{name}` is no test"), remedy })
                    })?,
                };
                let unit = self.table.unit.map(|at| self.cell(at));
                into.push(self.reading(value_at, test, unit)?);
            }
        }
        for (at, test, unit) in &self.table.of {
            if !self.cell(*at).is_empty() {
                into.push(self.reading(*at, *test, unit.as_deref())?);
            }
        }
        Ok(())
    }

    fn reading(&self, at: usize, test: Test, unit: Option<&str>) -> Result<Reading, ImportError> {
        let cell = self.cell(at);
        let bare = cell.ends_with(|c: char| c.is_ascii_digit() || matches!(c, '.' | ','));
        let text = match unit.filter(|u| !u.is_empty() && bare) {
            Some(unit) => format!("{cell} {unit}"),
            None => cell.to_owned(),
        };
        let shown = parse_reading(test, &text).map_err(|e| self.refused(at, e))?;
        Ok(Reading { test, shown, said: format!("{} = {text}", test.name()) })
    }
}

#[cfg(test)]
mod tests {
    use super::{Mapping, import};
    use crate::reading::Shown;
    use crate::test::Test;

    fn mapping(entries: &[&str]) -> Mapping {
        let mut mapping = Mapping::default();
        for entry in entries {
            mapping.add(entry).unwrap();
        }
        mapping
    }

    const LONG: &str =
        "Asset;Test;Result;Unit\nW-7;RPE;0,09;Ω\nW-7;Riso;>299;MΩ\nW-7;Visual;Pass;\nW-8;RPE;0,31;Ω\n";

    #[test]
    fn a_row_a_test() {
        let map = mapping(&["Asset=appliance", "Test=test", "Result=value", "Unit=unit"]);
        let found = import(LONG.as_bytes(), &map, Some("w-7")).unwrap();
        let tests: Vec<Test> = found.iter().map(|r| r.test).collect();
        assert_eq!(tests, [Test::ProtectiveConductor, Test::Insulation, Test::Visual]);
        assert_eq!(found[1].shown, Shown::Above(299e6));
        let error = import(LONG.as_bytes(), &map, None).unwrap_err();
        assert!(error.to_string().starts_with("line 5, column 1 (Asset): the file holds"), "{error}");
        assert!(
            import(LONG.as_bytes(), &map, Some("W-9")).unwrap_err().message.contains("no readings of `W-9`")
        );
    }

    #[test]
    fn a_row_an_appliance() {
        let text = "\u{feff}Id,R earth (Ohm),R iso,I pe [mA]\n12,0.11,>19.9 MOhm,\n13,0.2,5,0.4\n";
        let map = mapping(&[
            "Id=appliance",
            "R earth (Ohm)=earth bond",
            "R iso=insulation in MΩ",
            "I pe [mA]=leakage in mA",
        ]);
        let found = import(text.as_bytes(), &map, Some("13")).unwrap();
        assert_eq!(found.len(), 3);
        let Shown::Value(v) = found[1].shown else { panic!() };
        assert_eq!(v.value, 5e6);
        assert_eq!(import(text.as_bytes(), &map, Some("12")).unwrap().len(), 2);
    }

    #[test]
    fn a_bad_cell_is_named_by_line_and_column() {
        let map = mapping(&["A=earth bond", "B=insulation"]);
        for (text, words) in [
            ("A,B\n0.1,2.2\n", "line 2, column 2 (B): the unit of `2.2` is missing"),
            ("A,B\n\n\nx,2M2\n", "line 4, column 1 (A): "),
            ("A,B\n0.1,2M2\n0.1,2M2\n", "line 3, column 1 (A): the file holds readings of more than one"),
            ("C,B\n0.1,2M2\n", "line 1: no column is headed `A`; headings here: C, B"),
            ("A,B\n,\n", "the file has no readings"),
            ("", "line 1: no column is headed `A`"),
        ] {
            let error = import(text.as_bytes(), &map, None).unwrap_err().to_string();
            assert!(error.starts_with(words), "{text:?}: {error}");
        }
        let long = mapping(&["Test=test", "V=value"]);
        let error = import(b"Test,V\nsmell,3\n", &long, None).unwrap_err().to_string();
        assert!(error.starts_with("line 2, column 1 (Test): `smell` is no test"), "{error}");
        let named = mapping(&["Test=test", "V=value", "name smell=visual"]);
        assert_eq!(import(b"Test,V\nsmell,pass\n", &named, None).unwrap()[0].test, Test::Visual);
        // µ as testers of older make write it.
        let leak = mapping(&["Test=test", "V=value"]);
        assert_eq!(import(b"Test,V\nleakage,350 \xb5A\n", &leak, None).unwrap().len(), 1);
    }

    /// Readings of another appliance must not pass for those of the one that was asked for.
    #[test]
    fn an_appliance_is_not_chosen_without_its_column() {
        let map = mapping(&["Test=test", "Result=value", "Unit=unit"]);
        let error = import(LONG.as_bytes(), &map, Some("W-7")).unwrap_err();
        assert!(error.message.contains("no column is mapped to the appliance"), "{error}");
        assert!(error.remedy.contains("--map \"Asset=appliance\""), "{error}");
        let wide = mapping(&["A=earth bond"]);
        assert!(import(b"A\n0.1\n", &wide, Some("W-7")).is_err());
    }

    #[test]
    fn mappings_and_files_are_bounded() {
        let mut map = Mapping::default();
        for entry in ["A", "A=smell", "name x=smell"] {
            assert!(map.add(entry).is_err(), "{entry}");
        }
        for _ in 0..super::MOST_ENTRIES {
            map.add("A=earth bond").unwrap();
        }
        assert!(map.add("A=earth bond").is_err());
        let map = mapping(&["A=earth bond"]);
        assert!(
            import(&vec![b'a'; super::LARGEST_FILE + 1], &map, None).unwrap_err().message.contains("larger")
        );
        let rows = format!("A,T\n{}", ",x\n".repeat(super::MOST_ROWS + 1));
        let named = mapping(&["T=appliance", "A=earth bond"]);
        assert!(import(rows.as_bytes(), &named, Some("y")).unwrap_err().message.contains("too many rows"));
    }
}
