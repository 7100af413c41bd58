//! Registers of a Modbus device, asked for over TCP or as RTU on a serial line.

mod registers;

use super::wire::{ANSWER_WITHIN, broke, connect, unreached};
use super::{Ear, hand_on, polled, unheard};
use crate::MeterError;
use crate::config::{Modbus, Register, SocketConfig, Wire};
use crate::measured::Gathered;
use registers::decode;
use std::convert::Infallible;
use tokio::time::timeout;
use tokio_modbus::client::{Context, Reader as _, rtu, tcp};
use tokio_modbus::{Error, ExceptionCode, Slave};

pub(crate) async fn session(socket: &SocketConfig, modbus: &Modbus, ear: &Ear) -> MeterError {
    match polls(socket, modbus, ear).await {
        Ok(never) => match never {},
        Err(error) => error,
    }
}

async fn polls(socket: &SocketConfig, modbus: &Modbus, ear: &Ear) -> Result<Infallible, MeterError> {
    let stream = connect(&modbus.wire).await?;
    let slave = Slave(modbus.address);
    let mut device = match modbus.wire {
        Wire::Tcp { .. } => tcp::attach_slave(stream, slave),
        Wire::Serial(_) => rtu::attach_slave(stream, slave),
    };
    let mut pace = polled::pace(socket.every);
    loop {
        pace.tick().await;
        let mut gathered = Gathered::new();
        let mut raw = Vec::with_capacity(modbus.values.len());
        for taking in &modbus.values {
            let words = ask(&mut device, modbus, taking.place).await?;
            raw.push(format!(
                "{}: register {} → {}",
                taking.measured.key(),
                taking.place.number,
                shown(&words)
            ));
            let number = words.and_then(|words| decode(taking.place, &words));
            gathered.take(taking.measured, taking.factor, number);
        }
        if !hand_on(ear, raw.join("\n"), gathered.end()).await {
            return Err(unheard());
        }
    }
}

/// The registers as they came, or why the device gives none.
type Words = Result<Vec<u16>, String>;

fn shown(words: &Words) -> String {
    match words {
        Ok(words) => words.iter().map(|w| format!("{w:04X}")).collect::<Vec<_>>().join(" "),
        Err(why) => why.clone(),
    }
}

/// Asks for a value. An answer that comes late could be taken for the next one's, so the session ends on silence.
async fn ask(device: &mut Context, modbus: &Modbus, register: Register) -> Result<Words, MeterError> {
    let count = register.form.registers();
    let asked = async {
        if register.input {
            device.read_input_registers(register.number, count).await
        } else {
            device.read_holding_registers(register.number, count).await
        }
    };
    match timeout(ANSWER_WITHIN, asked).await {
        // The late answer to an earlier question may lie in the line, with another number of registers.
        Ok(Ok(Ok(words))) if words.len() != usize::from(count) => Err(out_of_turn(format!(
            "{} registers instead of the {count} from {} on",
            words.len(),
            register.number
        ))),
        Ok(Ok(Ok(words))) => Ok(Ok(words)),
        Ok(Ok(Err(exception))) => Ok(Err(refused(register, exception))),
        Ok(Err(Error::Transport(error))) => Err(broke(&error)),
        Ok(Err(Error::Protocol(error))) => Err(out_of_turn(error)),
        Err(_) => Err(match &modbus.wire {
            Wire::Tcp { host, port } => unreached(host, *port, &std::io::ErrorKind::TimedOut.into()),
            Wire::Serial(_) => MeterError::new(
                format!("no device answers at address {}", modbus.address),
                "check address, baud and parity, and whether the two wires are swapped",
            ),
        }),
    }
}

fn out_of_turn(how: impl std::fmt::Display) -> MeterError {
    MeterError::new(
        format!("the device answers out of turn: {how}"),
        "check its address, and that no other program asks it",
    )
}

fn refused(register: Register, exception: ExceptionCode) -> String {
    let kind = if register.input { "input" } else { "holding" };
    format!("the device refuses {kind} register {}: {exception}", register.number)
}
