//! Numbers in registers of 16 bits.

use crate::config::{Form, Register};

impl Form {
    /// How many registers hold it.
    pub(crate) fn registers(self) -> u16 {
        match self {
            Form::U16 | Form::I16 => 1,
            Form::U32 | Form::I32 | Form::F32 => 2,
            Form::U64 | Form::I64 | Form::F64 => 4,
        }
    }
}

/// The number in registers, in the order in which they were read; within each the high byte came first (Modbus
/// Application Protocol V1.1b3, 4.2).
pub(crate) fn decode(register: Register, words: &[u16]) -> Result<f64, String> {
    let wanted = usize::from(register.form.registers());
    if words.len() != wanted {
        return Err(format!("the device gave {} registers for {wanted}", words.len()));
    }
    let join = |bits: u64, word: &u16| bits << 16 | u64::from(*word);
    let bits = if register.low_first { words.iter().rev().fold(0, join) } else { words.iter().fold(0, join) };
    // The casts cut off what the form has not; words of the right number hold no more.
    Ok(match register.form {
        Form::U16 | Form::U32 | Form::U64 => bits as f64,
        Form::I16 => f64::from(bits as u16 as i16),
        Form::I32 => f64::from(bits as u32 as i32),
        Form::F32 => f64::from(f32::from_bits(bits as u32)),
        Form::I64 => bits as i64 as f64,
        Form::F64 => f64::from_bits(bits),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn register(form: Form, low_first: bool) -> Register {
        Register { number: 0, input: false, form, low_first }
    }

    fn words(bytes: &[u8], low_first: bool) -> Vec<u16> {
        let mut words: Vec<u16> = bytes.chunks(2).map(|b| u16::from_be_bytes([b[0], b[1]])).collect();
        if low_first {
            words.reverse();
        }
        words
    }

    // IEC 60559 binary32: 1.0 is 3F800000, −2.0 is C0000000, 230.1 (nearest) is 4366199A.
    #[test]
    fn known_bits() {
        assert_eq!(decode(register(Form::F32, false), &[0x3F80, 0]), Ok(1.0));
        assert_eq!(decode(register(Form::F32, true), &[0, 0xC000]), Ok(-2.0));
        assert_eq!(decode(register(Form::F32, false), &[0x4366, 0x199A]), Ok(f64::from(230.1f32)));
        assert_eq!(decode(register(Form::I16, false), &[0xFFFF]), Ok(-1.0));
        assert_eq!(decode(register(Form::U32, true), &[2, 1]), Ok(65_538.0));
        assert!(decode(register(Form::F32, false), &[1]).is_err());
    }

    proptest! {
        #[test]
        fn what_a_device_stores_is_what_is_read(n: i64, x in proptest::num::f64::ANY, low: bool) {
            let same = |a: f64, b: f64| a == b || a.is_nan() && b.is_nan();
            let read = |form, bytes: &[u8]| decode(register(form, low), &words(bytes, low)).unwrap();
            prop_assert_eq!(read(Form::U16, &(n as u16).to_be_bytes()), f64::from(n as u16));
            prop_assert_eq!(read(Form::I16, &(n as i16).to_be_bytes()), f64::from(n as i16));
            prop_assert_eq!(read(Form::U32, &(n as u32).to_be_bytes()), f64::from(n as u32));
            prop_assert_eq!(read(Form::I32, &(n as i32).to_be_bytes()), f64::from(n as i32));
            prop_assert_eq!(read(Form::U64, &(n as u64).to_be_bytes()), n as u64 as f64);
            prop_assert_eq!(read(Form::I64, &n.to_be_bytes()), n as f64);
            prop_assert!(same(read(Form::F32, &(x as f32).to_be_bytes()), f64::from(x as f32)));
            prop_assert!(same(read(Form::F64, &x.to_be_bytes()), x));
        }
    }
}
