//! What each kind of source has in its socket.

use super::quantities::{groups, pointer, quantities, table, time, topic_place};
use super::read::header as head_of;
use super::values::{choice, host, path, port, refuse, secret, sendable, sent, serial, speed, whole};
use super::{
    Form as Stored, GrowingFile, HttpJson, LastWill, Modbus, Mqtt, Query, Register, Replay, Scpi, Secret,
    SerialLines, Simulator, Source, Wire,
};
use hyper::header::{HeaderName, HeaderValue};
use machine::diagnostic::Diagnostic;
use machine::read::fields::{Fields, Findings, Text};
use machine::schema::{Form, Key, Table, may, must};
use simulator::MeterModel;

/// A kind of source: its name in the file, the keys of its socket, and how they are read.
pub(super) struct Kind {
    pub(super) name: &'static str,
    /// Those of its own.
    pub(super) keys: &'static [Key],
    /// The quantities that it may have.
    pub(super) quantities: &'static [Key],
    /// It knows by itself how often it gives readings.
    pub(super) own_pace: bool,
    pub(super) read: fn(&Fields<'_>, &mut Findings) -> Option<Source>,
}

pub(super) static KINDS: [Kind; 10] = [
    Kind { name: "mqtt", keys: &MQTT, quantities: &QUANTITIES, own_pace: false, read: mqtt },
    Kind {
        name: "modbus-tcp",
        keys: &MODBUS_TCP,
        quantities: &QUANTITIES,
        own_pace: false,
        read: modbus_tcp,
    },
    Kind {
        name: "modbus-rtu",
        keys: &MODBUS_RTU,
        quantities: &QUANTITIES,
        own_pace: false,
        read: modbus_rtu,
    },
    Kind { name: "scpi-tcp", keys: &SCPI_TCP, quantities: &QUANTITIES, own_pace: false, read: scpi_tcp },
    Kind {
        name: "scpi-serial",
        keys: &SCPI_SERIAL,
        quantities: &QUANTITIES,
        own_pace: false,
        read: scpi_serial,
    },
    Kind {
        name: "serial-lines",
        keys: &SERIAL_LINES,
        quantities: &GROUPS,
        own_pace: false,
        read: serial_lines,
    },
    Kind { name: "http-json", keys: &HTTP_JSON, quantities: &QUANTITIES, own_pace: false, read: http_json },
    Kind { name: "growing-file", keys: &GROWING_FILE, quantities: &[], own_pace: false, read: growing_file },
    Kind { name: "replay", keys: &REPLAY, quantities: &[], own_pace: true, read: replay },
    Kind { name: "simulator", keys: &SIMULATOR, quantities: &[], own_pace: true, read: simulator },
];

/// The tables are judged by `quantities.rs`, so no more than their being there is said here.
static PLACE: Table = Table { name: "[socket.power]", keys: &[] };

const POWER: Key = must("power", Form::Table(&PLACE), "where the watts stand");
const VOLTAGE: Key = may("voltage", Form::Table(&PLACE), "where the volts stand");
const CURRENT: Key = may("current", Form::Table(&PLACE), "where the amperes stand");
const POWER_FACTOR: Key = may("power-factor", Form::Table(&PLACE), "where the power factor stands");
const FREQUENCY: Key = may("frequency", Form::Table(&PLACE), "where the frequency stands");
const ENERGY: Key = may("energy", Form::Table(&PLACE), "where the energy counted stands");
const TIME: Key = may("time", Form::Table(&PLACE), "where the meter's own time stands");

static QUANTITIES: [Key; 6] = [POWER, VOLTAGE, CURRENT, POWER_FACTOR, FREQUENCY, ENERGY];
/// The same for lines of text, where a group of the pattern says where each stands.
static GROUPS: [Key; 6] = [
    may("power", Form::Table(&PLACE), "the unit of the group `power`"),
    VOLTAGE,
    CURRENT,
    POWER_FACTOR,
    FREQUENCY,
    ENERGY,
];

const HOST: Key = must("host", Form::Text, "name or address");
const PORT: Key = may("port", Form::Number, "TCP port");
const DEVICE: Key = must("device", Form::Text, "the serial port");
const BAUD: Key = may("baud", Form::Number, "bits a second; 9600 where nothing is said");
const PARITY: Key = may("parity", Form::Text, "none, even or odd");
const STOP_BITS: Key = may("stop-bits", Form::Number, "1 or 2");
const ADDRESS: Key = may("address", Form::Number, "the device's Modbus address");
const SETUP: Key = may("setup", Form::TextOrTexts, "commands sent after connecting");
const POINTER: Key = must("pointer", Form::Text, "where it stands in the JSON");

static MQTT: [Key; 6] = [
    HOST,
    PORT,
    may("user", Form::Text, "user at the broker"),
    may("password", Form::Text, "password at the broker"),
    may("last-will", Form::Table(&PLACE), "where the broker says that the meter has gone"),
    TIME,
];
static MODBUS_TCP: [Key; 3] = [HOST, PORT, ADDRESS];
static MODBUS_RTU: [Key; 5] = [DEVICE, BAUD, PARITY, STOP_BITS, ADDRESS];
static SCPI_TCP: [Key; 3] = [HOST, PORT, SETUP];
static SCPI_SERIAL: [Key; 5] = [DEVICE, BAUD, PARITY, STOP_BITS, SETUP];
static SERIAL_LINES: [Key; 5] =
    [DEVICE, BAUD, PARITY, STOP_BITS, must("pattern", Form::Text, "how a line is read")];
static HTTP_JSON: [Key; 4] = [
    must("url", Form::Text, "the page"),
    may("header", Form::Text, "a header to send with it"),
    may("header-value", Form::Text, "its value"),
    TIME,
];
static GROWING_FILE: [Key; 2] = [
    must("file", Form::Text, "the file that grows"),
    may("day-first", Form::Flag, "03/04/2024 is the 3rd of April"),
];
static REPLAY: [Key; 3] = [
    must("file", Form::Text, "the recording"),
    may("speed", Form::Number, "so many times as fast"),
    may("again", Form::Flag, "from the start again at its end"),
];
static SIMULATOR: [Key; 5] = [
    must("machine", Form::Text, "the machine file"),
    may("faults", Form::TextOrTexts, "its faults, as `element=open`"),
    may("meter", Form::Text, "display, fine or logger"),
    may("seed", Form::Number, "which of all machines and moments it is"),
    may("speed", Form::Number, "so many times as fast"),
];

static TOPIC_PLACE: [Key; 2] = [
    must("topic", Form::Text, "the topic"),
    may("pointer", Form::Text, "where it stands in the JSON; without it the message is the number"),
];

fn mqtt(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let host = host(fields, findings);
    let port = port(fields, 1883, findings);
    let login = login(fields, findings);
    let values = quantities(fields, &TOPIC_PLACE, topic_place, findings);
    let stamp = if_written(fields, "time", || time(fields, &TOPIC_PLACE, topic_place, findings));
    let will = if_written(fields, "last-will", || last_will(fields, findings));
    Some(Source::Mqtt(Mqtt {
        host: host?,
        port: port?,
        login: login.ok()?,
        values: values?,
        time: stamp.ok()?,
        last_will: will.ok()?,
    }))
}

/// Something was written that cannot be used; the findings say what.
struct Unusable;

/// What stands under a key that may be left out.
fn if_written<T>(
    fields: &Fields<'_>,
    key: &str,
    read: impl FnOnce() -> Option<T>,
) -> Result<Option<T>, Unusable> {
    if fields.get(key).is_none() { Ok(None) } else { read().map(Some).ok_or(Unusable) }
}

fn login(fields: &Fields<'_>, findings: &mut Findings) -> Result<Option<(String, Secret)>, Unusable> {
    let user = if_written(fields, "user", || sent(fields, "user", findings))?;
    let password = if_written(fields, "password", || secret(fields, "password", findings))?;
    let (one, other) = match (user, password) {
        (None, None) => return Ok(None),
        (Some(user), Some(password)) => return Ok(Some((user.text, password))),
        (Some(_), None) => ("user", "password"),
        (None, Some(_)) => ("password", "user"),
    };
    let message = format!("{} has a `{one}` but no `{other}`", fields.name());
    findings.push(
        Diagnostic::error("half-login", head_of(fields), message)
            .mend(format!("add `{other}`, or take `{one}` out")),
    );
    Err(Unusable)
}

fn last_will(fields: &Fields<'_>, findings: &mut Findings) -> Option<LastWill> {
    let gone = [may("gone", Form::Text, "what it says then; else `offline`")];
    let fields = table(fields, "last-will", &TOPIC_PLACE, &gone, findings)?;
    let place = topic_place(&fields, findings);
    let gone = if fields.get("gone").is_some() {
        sent(&fields, "gone", findings)?.text
    } else {
        "offline".to_owned()
    };
    Some(LastWill { place: place?, gone })
}

fn modbus_tcp(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let wire = tcp(fields, 502, findings);
    modbus(fields, wire, findings)
}

fn modbus_rtu(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let wire = serial(fields, findings).map(Wire::Serial);
    modbus(fields, wire, findings)
}

fn tcp(fields: &Fields<'_>, usual: u16, findings: &mut Findings) -> Option<Wire> {
    let host = host(fields, findings);
    let port = port(fields, usual, findings);
    Some(Wire::Tcp { host: host?, port: port? })
}

fn modbus(fields: &Fields<'_>, wire: Option<Wire>, findings: &mut Findings) -> Option<Source> {
    let keys = [
        must("register", Form::Number, "the first register, counted from 0"),
        must("type", Form::Text, "what it holds: u16, i16, u32, i32, f32, u64, i64 or f64"),
        may("function", Form::Text, "holding or input; holding where nothing is said"),
        may("words", Form::Text, "high-first or low-first; high-first where nothing is said"),
    ];
    let address = whole(fields, "address", Some(1), 0..=255, findings);
    let values = quantities(fields, &keys, register, findings);
    let address = address.and_then(|a| u8::try_from(a).ok());
    Some(Source::Modbus(Modbus { wire: wire?, address: address?, values: values? }))
}

fn register(fields: &Fields<'_>, findings: &mut Findings) -> Option<Register> {
    let number = whole(fields, "register", None, 0..=65_535, findings);
    let input = choice(fields, "function", &[("holding", false), ("input", true)], findings);
    let low_first = choice(fields, "words", &[("high-first", false), ("low-first", true)], findings);
    let forms = [
        ("u16", Stored::U16),
        ("i16", Stored::I16),
        ("u32", Stored::U32),
        ("i32", Stored::I32),
        ("f32", Stored::F32),
        ("u64", Stored::U64),
        ("i64", Stored::I64),
        ("f64", Stored::F64),
    ];
    let form = fields.get("type").and_then(|_| choice(fields, "type", &forms, findings));
    let number = number.and_then(|n| u16::try_from(n).ok());
    Some(Register { number: number?, input: input?, form: form?, low_first: low_first? })
}

fn scpi_tcp(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let wire = tcp(fields, 5025, findings);
    scpi(fields, wire, findings)
}

fn scpi_serial(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let wire = serial(fields, findings).map(Wire::Serial);
    scpi(fields, wire, findings)
}

fn scpi(fields: &Fields<'_>, wire: Option<Wire>, findings: &mut Findings) -> Option<Source> {
    let keys = [
        must("query", Form::Text, "what asks for it: \"MEAS:POW?\""),
        may("field", Form::Number, "which of the numbers in the answer, from 1"),
    ];
    let setup = fields.texts("setup", findings);
    let good = setup.iter().filter(|t| sendable(t, "setup", findings) && asks_nothing(t, findings)).count();
    let good = good == setup.len();
    let values = quantities(fields, &keys, query, findings);
    let setup = setup.into_iter().map(|t| t.text).collect();
    good.then_some(())?;
    Some(Source::Scpi(Scpi { wire: wire?, setup, values: values? }))
}

/// An answer that nobody waits for would be taken for that to the first query, and every one after it for the next.
fn asks_nothing(command: &Text, findings: &mut Findings) -> bool {
    let asks = command.text.contains('?');
    if asks {
        let message = format!("`{}` asks, and no answer to `setup` is waited for", command.text);
        refuse(
            findings,
            "setup-asks",
            command,
            message,
            "write only commands that are not answered, without `?`",
        );
    }
    !asks
}

fn query(fields: &Fields<'_>, findings: &mut Findings) -> Option<Query> {
    let text = sent(fields, "query", findings);
    let field = whole(fields, "field", Some(1), 1..=100, findings);
    Some(Query { text: text?.text, field: field? as usize - 1 })
}

fn serial_lines(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let line = serial(fields, findings);
    let text = fields.text("pattern", findings)?;
    let pattern = match regex_lite::RegexBuilder::new(&text.text).size_limit(1 << 20).build() {
        Ok(pattern) => pattern,
        Err(error) => {
            let message = format!("the pattern cannot be read: {error}");
            let mend = "a pattern for one line, as in \"P=(?<power>[0-9.]+) W\"; [ ] ( ) . + * ? | \\ mean something";
            refuse(findings, "bad-pattern", &text, message, mend);
            return None;
        }
    };
    let names: Vec<&str> = pattern.capture_names().flatten().collect();
    let values = groups(fields, &text, &names, findings);
    let time = names.contains(&"time");
    Some(Source::SerialLines(SerialLines { line: line?, values: values?, time, pattern }))
}

fn http_json(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let uri = url(fields, findings);
    let header = header(fields, findings);
    let place: super::quantities::ReadPlace<String> = pointer;
    let values = quantities(fields, &[POINTER], place, findings);
    let stamp = if_written(fields, "time", || time(fields, &[POINTER], place, findings));
    let (authority, host, port, path) = uri?;
    Some(Source::HttpJson(HttpJson {
        authority,
        host,
        port,
        path,
        header: header.ok()?,
        values: values?,
        time: stamp.ok()?,
    }))
}

fn url(fields: &Fields<'_>, findings: &mut Findings) -> Option<(String, String, u16, String)> {
    let text = sent(fields, "url", findings)?;
    let mend = "write it like \"http://192.168.1.20/status\"";
    let Ok(uri) = text.text.parse::<hyper::Uri>() else {
        refuse(findings, "bad-url", &text, "this is no URL", mend);
        return None;
    };
    let (Some("http"), Some(authority)) = (uri.scheme_str(), uri.authority()) else {
        let message = "only plain http:// can be fetched; a meter in your own network speaks it";
        refuse(findings, "bad-url", &text, message, mend);
        return None;
    };
    if authority.as_str().contains('@') {
        refuse(
            findings,
            "bad-url",
            &text,
            "a URL holds no password here",
            "send it with `header` and `header-value`",
        );
        return None;
    }
    // Where more than the host stands there, it is a port.
    let port = if authority.as_str() == authority.host() { Some(80) } else { authority.port_u16() };
    let Some(port) = port.filter(|port| *port > 0) else {
        refuse(findings, "bad-url", &text, "this URL's port is no number from 1 to 65535", mend);
        return None;
    };
    let host = uri.host()?.trim_matches(['[', ']']).to_owned();
    let path = uri.path_and_query().map_or("/", |p| p.as_str()).to_owned();
    Some((authority.to_string(), host, port, path))
}

/// A header's name and value: `Authorization` and what belongs to it.
fn header(fields: &Fields<'_>, findings: &mut Findings) -> Result<Option<(String, Secret)>, Unusable> {
    let name = if_written(fields, "header", || sent(fields, "header", findings))?;
    let value = if_written(fields, "header-value", || secret(fields, "header-value", findings))?;
    match (name, value) {
        (None, None) => return Ok(None),
        (Some(name), Some(value)) => {
            if HeaderName::try_from(&name.text).is_ok() && HeaderValue::try_from(value.reveal()).is_ok() {
                return Ok(Some((name.text, value)));
            }
            refuse(
                findings,
                "bad-header",
                &name,
                "this header cannot be sent",
                "write it like \"Authorization\"",
            );
        }
        _ => {
            let message = format!("{} needs both `header` and `header-value`, or neither", fields.name());
            findings.push(Diagnostic::error("half-header", head_of(fields), message).mend("add the other"));
        }
    }
    Err(Unusable)
}

fn growing_file(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let file = path(fields, "file", findings);
    let day_first = fields.get("day-first").map(|_| fields.flag("day-first", findings));
    Some(Source::GrowingFile(GrowingFile { file: file?, day_first }))
}

fn replay(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let file = path(fields, "file", findings);
    let speed = speed(fields, findings);
    let again = fields.flag("again", findings);
    Some(Source::Replay(Replay { file: file?, speed: speed?, again }))
}

fn simulator(fields: &Fields<'_>, findings: &mut Findings) -> Option<Source> {
    let machine = path(fields, "machine", findings);
    let faults = fields.words_list("faults", findings);
    let meter = meter_model(fields, findings);
    let seed = whole(fields, "seed", Some(1), 0..=u32::MAX, findings);
    let speed = speed(fields, findings);
    let (machine, meter, seed, speed) = (machine?, meter?, u64::from(seed?), speed?);
    Some(Source::Simulator(Simulator { machine, faults, meter, seed, speed }))
}

fn meter_model(fields: &Fields<'_>, findings: &mut Findings) -> Option<MeterModel> {
    type Make = fn() -> MeterModel;
    let models: [(&str, Make); 3] =
        [("display", MeterModel::display), ("fine", MeterModel::fine), ("logger", MeterModel::logger)];
    choice(fields, "meter", &models, findings).map(|make| make())
}
