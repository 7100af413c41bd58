//! How samples lie in the file. *As they came*: one blob a call, written every second, cheap to write. *Packed*: one blob for
//! thousands of samples of one socket, each column compressed by `pco`, which keeps every value to the last bit.
//! Both carry a CRC-32, so that a flipped bit is noticed and not shown as watts.

use super::Sample;
use jiff::Timestamp;
use std::collections::BTreeMap;

/// What is wrong with a blob.
pub(super) type Damage = &'static str;

const CUT_SHORT: Damage = "its bytes end too early";
const WRONG_SUM: Damage = "its checksum is wrong";
const NO_TIME: Damage = "a time in it cannot be";
const NOT_UNPACKED: Damage = "it cannot be unpacked";

/// The three columns of a sample.
const COLUMNS: usize = 3;

fn columns(sample: &Sample) -> [Option<f64>; COLUMNS] {
    [sample.watts, sample.volts, sample.amps]
}

fn sample(micros: i64, [watts, volts, amps]: [Option<f64>; COLUMNS]) -> Result<Sample, Damage> {
    let at = Timestamp::from_microsecond(micros).map_err(|_| NO_TIME)?;
    Ok(Sample { at, watts, volts, amps })
}

/// Samples of several sockets, as they came: per socket its number, a count, then per sample the microseconds, a byte that
/// says which columns are there, and those; at the end the CRC-32. All little-endian.
pub(super) fn as_they_came(all: &[(i64, &[Sample])]) -> Vec<u8> {
    let mut out = Vec::new();
    for (socket, samples) in all.iter().filter(|s| !s.1.is_empty()) {
        out.extend(socket.to_le_bytes());
        out.extend((samples.len() as u32).to_le_bytes());
        for sample in *samples {
            out.extend(sample.at.as_microsecond().to_le_bytes());
            let columns = columns(sample);
            let there = (0..COLUMNS).filter(|&c| columns[c].is_some()).fold(0_u8, |mask, c| mask | 1 << c);
            out.push(there);
            for value in columns.into_iter().flatten() {
                out.extend(value.to_le_bytes());
            }
        }
    }
    out.extend(crc32fast::hash(&out).to_le_bytes());
    out
}

/// Reads what [`as_they_came`] wrote, by socket.
pub(super) fn read_as_they_came(bytes: &[u8]) -> Result<BTreeMap<i64, Vec<Sample>>, Damage> {
    let mut all: BTreeMap<i64, Vec<Sample>> = BTreeMap::new();
    let (body, sum) = bytes.split_last_chunk::<4>().ok_or(CUT_SHORT)?;
    if crc32fast::hash(body) != u32::from_le_bytes(*sum) {
        return Err(WRONG_SUM);
    }
    let mut rest = body;
    while !rest.is_empty() {
        let socket = i64::from_le_bytes(take(&mut rest)?);
        let count = u32::from_le_bytes(take(&mut rest)?);
        let samples = all.entry(socket).or_default();
        for _ in 0..count {
            let micros = i64::from_le_bytes(take(&mut rest)?);
            let [there] = take(&mut rest)?;
            let mut columns = [None; COLUMNS];
            for (c, column) in columns.iter_mut().enumerate() {
                if there & 1 << c != 0 {
                    *column = Some(f64::from_le_bytes(take(&mut rest)?));
                }
            }
            samples.push(sample(micros, columns)?);
        }
    }
    Ok(all)
}

/// Samples of one socket, packed: the times, then for each column a byte (0 none, 1 all, 2 some: a bit for each sample
/// follows) and the values that are there. Each compressed part has its length before it.
pub(super) fn packed(samples: &[Sample]) -> Result<Vec<u8>, Damage> {
    let mut out = Vec::new();
    let times: Vec<i64> = samples.iter().map(|s| s.at.as_microsecond()).collect();
    squeeze(&times, &mut out)?;
    for c in 0..COLUMNS {
        let there = |s: &Sample| columns(s)[c].is_some();
        let values: Vec<f64> = samples.iter().filter_map(|s| columns(s)[c]).collect();
        if values.is_empty() {
            out.push(0);
            continue;
        }
        if values.len() == samples.len() {
            out.push(1);
        } else {
            out.push(2);
            out.extend(samples.chunks(8).map(|eight| {
                eight.iter().enumerate().fold(0_u8, |bits, (n, s)| bits | u8::from(there(s)) << n)
            }));
        }
        squeeze(&values, &mut out)?;
    }
    Ok(out)
}

/// Reads what [`packed`] wrote; `count` samples.
pub(super) fn read_packed(bytes: &[u8], count: usize, crc: u32) -> Result<Vec<Sample>, Damage> {
    if crc32fast::hash(bytes) != crc {
        return Err(WRONG_SUM);
    }
    let mut rest = bytes;
    let times: Vec<i64> = unsqueeze(&mut rest, count)?;
    let mut all: [Vec<Option<f64>>; COLUMNS] = std::array::from_fn(|_| vec![None; count]);
    for column in &mut all {
        let [kind] = take(&mut rest)?;
        let there: Vec<usize> = match kind {
            0 => continue,
            1 => (0..count).collect(),
            _ => {
                let bits = rest.split_off(..count.div_ceil(8)).ok_or(CUT_SHORT)?;
                (0..count).filter(|n| bits[n / 8] & 1 << (n % 8) != 0).collect()
            }
        };
        let values: Vec<f64> = unsqueeze(&mut rest, there.len())?;
        for (n, value) in there.into_iter().zip(values) {
            column[n] = Some(value);
        }
    }
    let [watts, volts, amps] = all;
    let all = (0..count).map(|n| [watts[n], volts[n], amps[n]]);
    times.into_iter().zip(all).map(|(micros, columns)| sample(micros, columns)).collect()
}

fn squeeze<T: pco::data_types::Number>(numbers: &[T], out: &mut Vec<u8>) -> Result<(), Damage> {
    let part = pco::standalone::simple_compress(numbers, &pco::ChunkConfig::default())
        .map_err(|_| "it cannot be packed")?;
    out.extend((part.len() as u32).to_le_bytes());
    out.extend(part);
    Ok(())
}

fn unsqueeze<T: pco::data_types::Number>(rest: &mut &[u8], count: usize) -> Result<Vec<T>, Damage> {
    let length = u32::from_le_bytes(take(rest)?) as usize;
    let part = rest.split_off(..length).ok_or(CUT_SHORT)?;
    let numbers = pco::standalone::simple_decompress(part).map_err(|_| NOT_UNPACKED)?;
    if numbers.len() == count { Ok(numbers) } else { Err(NOT_UNPACKED) }
}

fn take<const N: usize>(rest: &mut &[u8]) -> Result<[u8; N], Damage> {
    let (first, others) = rest.split_first_chunk::<N>().ok_or(CUT_SHORT)?;
    *rest = others;
    Ok(*first)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn samples() -> impl Strategy<Value = Vec<Sample>> {
        let value = || proptest::option::of(-1e6_f64..1e6);
        let one = (0_i64..4_000_000_000_000_000, value(), value(), value())
            .prop_map(|(micros, watts, volts, amps)| sample(micros, [watts, volts, amps]).unwrap());
        proptest::collection::vec(one, 1..200)
    }

    proptest! {
        #[test]
        fn both_forms_give_back_every_bit(samples in samples()) {
            let bytes = packed(&samples).unwrap();
            let crc = crc32fast::hash(&bytes);
            prop_assert_eq!(&read_packed(&bytes, samples.len(), crc).unwrap(), &samples);
            let all = read_as_they_came(&as_they_came(&[(7, &samples), (8, &[])])).unwrap();
            prop_assert_eq!(all, BTreeMap::from([(7, samples)]));
        }

        #[test]
        fn a_flipped_bit_is_noticed(samples in samples(), place in any::<prop::sample::Index>(), bit in 0_u8..8) {
            let mut bytes = as_they_came(&[(7, &samples)]);
            let place = place.index(bytes.len());
            bytes[place] ^= 1 << bit;
            prop_assert!(read_as_they_came(&bytes).is_err());
        }

        #[test]
        fn no_bytes_make_it_panic(bytes: Vec<u8>, count in 0_usize..100) {
            let _ = read_packed(&bytes, count, crc32fast::hash(&bytes));
            let _ = read_as_they_came(&bytes);
        }
    }
}
