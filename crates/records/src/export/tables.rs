//! Each table as JSON Lines: one object a row, its keys the columns. One description serves both directions.

use super::not_written;
use crate::chain::hex;
use crate::error::RecordsError;
use rusqlite::types::{Value as Cell, ValueRef};
use rusqlite::{Connection, params_from_iter};
use serde_json::{Map, Value};
use std::io::{BufRead, Read, Write};

/// Longest line that is read, bytes: a machine file's text and to spare.
const LONGEST_LINE: u64 = 16 << 20;

/// A table.
pub(crate) struct Table {
    pub(crate) name: &'static str,
    pub(crate) file: &'static str,
    /// The first format of exports that has it.
    since: u32,
    /// In JSON, bytes are hexadecimal digits; all else is as it is.
    columns: &'static [Column],
}

struct Column {
    name: &'static str,
    bytes: bool,
}

const fn plain(name: &'static str) -> Column {
    Column { name, bytes: false }
}

const fn bytes(name: &'static str) -> Column {
    Column { name, bytes: true }
}

/// Every table that is exported; one that refers to another comes after it. The first columns tell its rows apart.
pub(crate) static TABLES: [Table; 14] = [
    Table {
        name: "user",
        file: "users.jsonl",
        since: 1,
        columns: &[
            plain("id"),
            plain("name"),
            plain("role"),
            plain("passphrase"),
            plain("since"),
            plain("left_at"),
        ],
    },
    Table {
        name: "customer",
        file: "customers.jsonl",
        since: 1,
        columns: &[plain("id"), plain("name"), plain("phone"), plain("address")],
    },
    Table {
        name: "machine",
        file: "machines.jsonl",
        since: 1,
        columns: &[
            plain("id"),
            plain("maker"),
            plain("model"),
            plain("variant"),
            plain("serial"),
            plain("file_name"),
            plain("file_text"),
        ],
    },
    Table {
        name: "job",
        file: "jobs.jsonl",
        since: 1,
        columns: &[plain("id"), plain("opened"), plain("customer"), plain("machine"), plain("closed")],
    },
    Table {
        name: "evidence",
        file: "entries.jsonl",
        since: 1,
        columns: &[
            plain("job"),
            plain("number"),
            plain("at"),
            plain("says"),
            plain("supersedes"),
            plain("key"),
            plain("said_by"),
            bytes("chain"),
        ],
    },
    Table {
        name: "personal",
        file: "words.jsonl",
        since: 1,
        columns: &[
            plain("job"),
            plain("number"),
            bytes("salt"),
            plain("key"),
            plain("says"),
            plain("erased"),
        ],
    },
    Table { name: "setting", file: "settings.jsonl", since: 1, columns: &[plain("name"), plain("value")] },
    Table { name: "socket", file: "sockets.jsonl", since: 1, columns: &[plain("id"), plain("name")] },
    Table {
        name: "gap",
        file: "gaps.jsonl",
        since: 1,
        columns: &[plain("socket"), plain("since"), plain("why")],
    },
    Table {
        name: "trace",
        file: "traces.jsonl",
        since: 1,
        columns: &[plain("id"), plain("job"), plain("socket"), plain("since"), plain("until")],
    },
    Table {
        name: "attachment",
        file: "attachments.jsonl",
        since: 1,
        columns: &[
            plain("id"),
            plain("job"),
            plain("kind"),
            plain("media_type"),
            plain("name"),
            plain("at"),
            bytes("sha256"),
            plain("erased"),
        ],
    },
    Table {
        name: "handed_over",
        file: "records.jsonl",
        since: 2,
        columns: &[plain("job"), plain("record"), plain("erased")],
    },
    Table {
        name: "stock",
        file: "stock.jsonl",
        since: 2,
        columns: &[plain("id"), plain("code"), plain("what"), plain("price"), plain("least")],
    },
    Table {
        name: "stock_change",
        file: "stockchanges.jsonl",
        since: 2,
        columns: &[plain("id"), plain("part"), plain("change"), plain("at"), plain("job"), plain("number")],
    },
];

/// The tables of an export of this format.
pub(crate) fn of_format(format: u32) -> impl Iterator<Item = &'static Table> {
    TABLES.iter().filter(move |t| t.since <= format)
}

impl Table {
    fn names(&self) -> String {
        self.columns.iter().map(|c| c.name).collect::<Vec<_>>().join(", ")
    }

    /// Writes all rows; gives how many.
    pub(crate) fn write(&self, connection: &Connection, out: &mut dyn Write) -> Result<usize, RecordsError> {
        let sql = format!("SELECT {} FROM {} ORDER BY 1, 2, 3", self.names(), self.name);
        let sql = if self.columns.len() < 3 { sql.replace("ORDER BY 1, 2, 3", "ORDER BY 1, 2") } else { sql };
        let mut statement = connection.prepare(&sql)?;
        let mut rows = statement.query([])?;
        let mut count = 0;
        while let Some(row) = rows.next()? {
            let mut object = Map::new();
            for (n, column) in self.columns.iter().enumerate() {
                object.insert(column.name.to_owned(), json(row.get_ref(n)?));
            }
            writeln!(out, "{}", Value::Object(object)).map_err(|e| not_written(&e))?;
            count += 1;
        }
        Ok(count)
    }

    /// Reads all rows into the table; gives how many.
    ///
    /// # Errors
    /// In words, without the name of the file.
    pub(crate) fn read(&self, connection: &Connection, mut from: impl BufRead) -> Result<usize, String> {
        let places = vec!["?"; self.columns.len()].join(", ");
        let sql = format!("INSERT INTO {} ({}) VALUES ({places})", self.name, self.names());
        let mut insert = connection.prepare(&sql).map_err(|e| e.to_string())?;
        let mut line = String::new();
        let mut count = 0;
        loop {
            line.clear();
            let read = from.by_ref().take(LONGEST_LINE).read_line(&mut line).map_err(|e| e.to_string())?;
            if read == 0 {
                return Ok(count);
            }
            count += 1;
            let cells = self.cells(&line).map_err(|what| format!("line {count}: {what}"))?;
            insert.execute(params_from_iter(cells)).map_err(|e| format!("line {count}: {e}"))?;
        }
    }

    fn cells(&self, line: &str) -> Result<Vec<Cell>, String> {
        let object: Map<String, Value> = serde_json::from_str(line).map_err(|e| e.to_string())?;
        if let Some(unknown) = object.keys().find(|key| self.columns.iter().all(|c| c.name != *key)) {
            return Err(format!("`{unknown}` is not known"));
        }
        let one = |column: &Column| {
            let value = object.get(column.name).ok_or_else(|| format!("`{}` is missing", column.name))?;
            cell(value, column.bytes)
                .ok_or_else(|| format!("`{}` has no value that it can have", column.name))
        };
        self.columns.iter().map(one).collect()
    }
}

fn json(cell: ValueRef<'_>) -> Value {
    match cell {
        ValueRef::Null => Value::Null,
        ValueRef::Integer(number) => number.into(),
        ValueRef::Real(number) => number.into(),
        ValueRef::Text(text) => String::from_utf8_lossy(text).into_owned().into(),
        ValueRef::Blob(bytes) => hex(bytes).into(),
    }
}

fn cell(value: &Value, bytes: bool) -> Option<Cell> {
    match value {
        Value::Null => Some(Cell::Null),
        Value::Number(number) if !bytes => number.as_i64().map(Cell::Integer),
        Value::String(text) if bytes => from_hex(text).map(Cell::Blob),
        Value::String(text) => Some(Cell::Text(text.clone())),
        _ => None,
    }
}

/// The bytes of hexadecimal digits.
pub(crate) fn from_hex(text: &str) -> Option<Vec<u8>> {
    let digits = text.bytes().map(|b| char::from(b).to_digit(16)).collect::<Option<Vec<u32>>>()?;
    let pairs = digits.chunks(2);
    pairs.map(|p| if let [high, low] = p { u8::try_from(high * 16 + low).ok() } else { None }).collect()
}

#[cfg(test)]
mod tests {
    use super::{TABLES, from_hex};

    #[test]
    fn hexadecimal_digits_come_in_pairs() {
        assert_eq!(from_hex("00ff1A"), Some(vec![0, 255, 26]));
        assert_eq!(from_hex(""), Some(vec![]));
        for bad in ["0", "0g", "é0", "+1"] {
            assert_eq!(from_hex(bad), None, "{bad}");
        }
    }

    #[test]
    fn a_line_that_is_none_of_the_table_is_refused() {
        let customer = TABLES.iter().find(|t| t.name == "customer").unwrap();
        assert!(customer.cells(r#"{"id":1,"name":"a","phone":"","address":""}"#).is_ok());
        for (line, says) in [
            (r#"{"id":1,"name":"a","phone":""}"#, "`address` is missing"),
            (r#"{"id":1,"name":"a","phone":"","address":"","age":7}"#, "`age` is not known"),
            (r#"{"id":1.5,"name":"a","phone":"","address":""}"#, "`id` has no value"),
            (r#"{"id":[],"name":"a","phone":"","address":""}"#, "`id` has no value"),
        ] {
            assert!(customer.cells(line).unwrap_err().contains(says), "{line}");
        }
    }
}
