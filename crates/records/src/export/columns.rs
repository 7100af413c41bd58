//! Samples of a socket as Parquet: `at` (microseconds since 1970, UTC), `watts`, `volts`, `amps`, the last three optional.

use crate::error::RecordsError;
use crate::samples::{self, Sample};
use jiff::Timestamp;
use parquet::basic::{Compression, Encoding, ZstdLevel};
use parquet::column::reader::{ColumnReaderImpl, get_typed_column_reader};
use parquet::data_type::{DataType, DoubleType, Int64Type};
use parquet::errors::{ParquetError, Result};
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, RowGroupReader, SerializedFileReader};
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::parser::parse_message_type;
use parquet::schema::types::ColumnPath;
use rusqlite::Connection;
use std::fs::File;
use std::io::Write;
use std::sync::Arc;

const SCHEMA: &str = "message samples {
    required int64 at (TIMESTAMP(MICROS, true));
    optional double watts;
    optional double volts;
    optional double amps;
}";
/// Rows that lie together in the file, and are read at once.
const ROWS: usize = 1 << 16;

/// The file of a socket.
pub(crate) fn file_of(socket: i64) -> String {
    format!("samples/{socket}.parquet")
}

/// Writes all samples of a socket; gives how many.
pub(crate) fn write(
    connection: &Connection,
    socket: i64,
    out: &mut (dyn Write + Send),
) -> std::result::Result<usize, RecordsError> {
    let failed = |e: &ParquetError| {
        RecordsError::output(format!("the samples cannot be written: {e}"), "make room, then try again")
    };
    let mut writer = begin(out).map_err(|e| failed(&e))?;
    let mut count = 0;
    let mut waiting: Vec<Sample> = Vec::new();
    samples::each(connection, socket, Timestamp::MIN, Timestamp::MAX, |some| {
        count += some.len();
        waiting.extend(some);
        if waiting.len() >= ROWS {
            group(&mut writer, &waiting).map_err(|e| failed(&e))?;
            waiting.clear();
        }
        Ok(())
    })?;
    if !waiting.is_empty() {
        group(&mut writer, &waiting).map_err(|e| failed(&e))?;
    }
    writer.close().map_err(|e| failed(&e))?;
    Ok(count)
}

fn begin(out: &mut (dyn Write + Send)) -> Result<SerializedFileWriter<&mut (dyn Write + Send)>> {
    let at = ColumnPath::from("at");
    let properties = WriterProperties::builder()
        .set_compression(Compression::ZSTD(ZstdLevel::try_new(3)?))
        .set_column_dictionary_enabled(at.clone(), false)
        .set_column_encoding(at, Encoding::DELTA_BINARY_PACKED)
        .build();
    SerializedFileWriter::new(out, Arc::new(parse_message_type(SCHEMA)?), Arc::new(properties))
}

fn group<W: Write + Send>(writer: &mut SerializedFileWriter<W>, samples: &[Sample]) -> Result<()> {
    let mut group = writer.next_row_group()?;
    if let Some(mut column) = group.next_column()? {
        let times: Vec<i64> = samples.iter().map(|s| s.at.as_microsecond()).collect();
        column.typed::<Int64Type>().write_batch(&times, None, None)?;
        column.close()?;
    }
    for of in [|s: &Sample| s.watts, |s: &Sample| s.volts, |s: &Sample| s.amps] {
        let Some(mut column) = group.next_column()? else { break };
        let there: Vec<i16> = samples.iter().map(|s| i16::from(of(s).is_some())).collect();
        let values: Vec<f64> = samples.iter().filter_map(of).collect();
        column.typed::<DoubleType>().write_batch(&values, Some(&there), None)?;
        column.close()?;
    }
    group.close()?;
    Ok(())
}

/// Reads a file and gives its samples, thousands at a time.
///
/// # Errors
/// In words, without the name of the file.
pub(crate) fn read(
    file: File,
    mut take: impl FnMut(Vec<Sample>) -> std::result::Result<(), String>,
) -> std::result::Result<(), String> {
    let reader = SerializedFileReader::new(file).map_err(|e| e.to_string())?;
    let names: Vec<_> = reader
        .metadata()
        .file_metadata()
        .schema_descr()
        .columns()
        .iter()
        .map(|c| c.name().to_owned())
        .collect();
    if names != ["at", "watts", "volts", "amps"] {
        return Err(format!("its columns are {names:?}"));
    }
    for n in 0..reader.num_row_groups() {
        let mut group =
            reader.get_row_group(n).and_then(|g| Group::open(g.as_ref())).map_err(|e| e.to_string())?;
        while let Some(samples) = group.next()? {
            take(samples)?;
        }
    }
    Ok(())
}

/// The columns of a row group, read side by side.
struct Group {
    times: ColumnReaderImpl<Int64Type>,
    values: Vec<ColumnReaderImpl<DoubleType>>,
}

impl Group {
    fn open(group: &dyn RowGroupReader) -> Result<Group> {
        // Another type would make the typed reader panic.
        let types: Vec<_> =
            group.metadata().schema_descr().columns().iter().map(|c| c.physical_type()).collect();
        let wanted = [Int64Type::get_physical_type()].into_iter();
        if types != wanted.chain([DoubleType::get_physical_type(); 3]).collect::<Vec<_>>() {
            return Err(ParquetError::General("its columns have other types".to_owned()));
        }
        let values = (1..4)
            .map(|c| group.get_column_reader(c).map(get_typed_column_reader::<DoubleType>))
            .collect::<Result<_>>();
        Ok(Group { times: get_typed_column_reader(group.get_column_reader(0)?), values: values? })
    }

    fn next(&mut self) -> std::result::Result<Option<Vec<Sample>>, String> {
        let mut times = Vec::new();
        let (rows, ..) = self.times.read_records(ROWS, None, None, &mut times).map_err(|e| e.to_string())?;
        if rows == 0 {
            return Ok(None);
        }
        let mut columns = Vec::new();
        for reader in &mut self.values {
            let (mut there, mut values) = (Vec::new(), Vec::new());
            reader.read_records(rows, Some(&mut there), None, &mut values).map_err(|e| e.to_string())?;
            let mut values = values.into_iter();
            let column: Vec<Option<f64>> =
                there.into_iter().map(|there| if there > 0 { values.next() } else { None }).collect();
            columns.push(column);
        }
        let [watts, volts, amps] = columns.as_slice() else { return Ok(None) };
        if times.len() != rows || columns.iter().any(|c| c.len() != rows) {
            return Err("its columns differ in length".to_owned());
        }
        let one = |n: usize| {
            let at = Timestamp::from_microsecond(times[n]).map_err(|e| e.to_string())?;
            Ok(Sample { at, watts: watts[n], volts: volts[n], amps: amps[n] })
        };
        (0..rows).map(one).collect::<std::result::Result<_, String>>().map(Some)
    }
}
