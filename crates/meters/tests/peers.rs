//! Meters that others wrote: an MQTT broker, Modbus devices, serial lines through a pair of pseudo-terminals.
//!
//! Run where `WATTMEND_PEERS=1` is set, as CI does; then a peer that is missing is a failure. Without it these tests pass
//! over, so that `cargo test` needs none of them.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]
#![cfg(unix)]

mod support;

use meters::{News, SocketConfig, try_it, watch};
use rumqttc::{AsyncClient, LastWill, MqttOptions, QoS};
use serial2_tokio::SerialPort;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;
use support::{next, next_loss, next_reading, socket};
use tokio::io::{AsyncBufReadExt as _, AsyncWriteExt as _, BufReader};
use tokio::net::TcpStream;
use tokio::time::sleep;

/// Are peers to be used?
fn wanted() -> bool {
    std::env::var("WATTMEND_PEERS").is_ok_and(|v| v == "1")
}

/// A peer's process, ended with the test.
struct Peer(Child);

impl Drop for Peer {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

fn start(command: &mut Command, install: &str) -> Peer {
    let spawned = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
    Peer(
        spawned.unwrap_or_else(|e| panic!("{command:?} cannot be started ({e}); install it with: {install}")),
    )
}

fn free_port() -> u16 {
    std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port()
}

/// Waits until something listens there.
async fn up(port: u16) {
    for _ in 0..300 {
        if TcpStream::connect(("127.0.0.1", port)).await.is_ok() {
            return;
        }
        sleep(Duration::from_millis(100)).await;
    }
    panic!("the peer does not listen at port {port}");
}

const BROKER: &str = "apt-get install mosquitto";

/// A program of Debian's mosquitto; the broker lies where only root looks.
fn mosquitto(name: &str) -> Command {
    let there =
        ["/usr/sbin", "/usr/bin", "/usr/local/sbin", "/usr/local/bin"].map(|d| Path::new(d).join(name));
    Command::new(there.into_iter().find(|p| p.exists()).unwrap_or_else(|| PathBuf::from(name)))
}

/// A broker that knows one user.
struct Broker {
    folder: tempfile::TempDir,
    port: u16,
}

impl Broker {
    fn new() -> Broker {
        let folder = tempfile::tempdir().unwrap();
        let passwords = folder.path().join("passwords");
        let made =
            mosquitto("mosquitto_passwd").args(["-b", "-c"]).arg(&passwords).args(["bench", "open"]).output();
        let made = made.unwrap_or_else(|e| {
            panic!("mosquitto_passwd cannot be started ({e}); install it with: {BROKER}")
        });
        assert!(made.status.success(), "{made:?}");
        let port = free_port();
        let user = Command::new("id").arg("-un").output().unwrap();
        let config = format!(
            "listener {port} 127.0.0.1\nallow_anonymous false\npassword_file {}\nuser {}\n",
            passwords.display(),
            String::from_utf8_lossy(&user.stdout).trim()
        );
        std::fs::write(folder.path().join("broker.conf"), config).unwrap();
        Broker { folder, port }
    }

    async fn start(&self) -> Peer {
        let peer =
            start(mosquitto("mosquitto").arg("-c").arg(self.folder.path().join("broker.conf")), BROKER);
        up(self.port).await;
        peer
    }

    /// A client, driven in the background; dropping the second value breaks it off without a farewell.
    fn client(&self, will: Option<LastWill>) -> (AsyncClient, tokio::task::JoinHandle<()>) {
        static CLIENTS: std::sync::atomic::AtomicU32 = std::sync::atomic::AtomicU32::new(0);
        let number = CLIENTS.fetch_add(1, std::sync::atomic::Ordering::Relaxed);
        let mut options = MqttOptions::new(format!("test{number}"), "127.0.0.1", self.port);
        options.set_credentials("bench", "open");
        if let Some(will) = will {
            options.set_last_will(will);
        }
        let (client, mut events) = AsyncClient::new(options, 16);
        let driven = tokio::spawn(async move { while events.poll().await.is_ok() {} });
        (client, driven)
    }

    fn socket(&self, password: &str) -> SocketConfig {
        socket(&format!(
            "kind = \"mqtt\"\nhost = \"127.0.0.1\"\nport = {}\nuser = \"bench\"\npassword = \"{password}\"\n\
             [socket.power]\ntopic = \"plug/power\"\npointer = \"/w\"\n[socket.voltage]\ntopic = \"plug/volts\"\n\
             [socket.last-will]\ntopic = \"plug/state\"\n",
            self.port
        ))
    }
}

async fn publish(client: &AsyncClient, topic: &str, retain: bool, payload: &str) {
    client.publish(topic, QoS::AtLeastOnce, retain, payload).await.unwrap();
}

#[tokio::test(flavor = "multi_thread")]
async fn a_meter_at_a_broker() {
    if !wanted() {
        return;
    }
    let broker = Broker::new();
    let running = broker.start().await;
    let will = LastWill::new("plug/state", "offline", QoS::AtLeastOnce, true);
    let (plug, driven) = broker.client(Some(will));
    publish(&plug, "plug/power", true, r#"{"w": 999}"#).await;
    publish(&plug, "plug/state", true, "online").await;
    // Until the broker has both: what it hands on while it comes counts as fresh.
    sleep(Duration::from_millis(500)).await;

    // What the broker kept from before is no reading.
    let mut news = watch(broker.socket("open"));
    let News::Refused { why } = next(&mut news).await else { panic!("a retained message was taken") };
    assert!(why.contains("kept"), "{why}");
    publish(&plug, "plug/volts", false, "230.5").await;
    publish(&plug, "plug/power", false, r#"{"w": "2105.5"}"#).await;
    let r = next_reading(&mut news).await;
    assert_eq!((r.watts, r.volts), (Some(2105.5), Some(230.5)));

    // A thousand messages, none lost and none twice, though nobody reads for a while.
    for n in 0..1000 {
        publish(&plug, "plug/power", false, &format!("{{\"w\": {n}}}")).await;
    }
    sleep(Duration::from_secs(1)).await;
    for n in 0..1000 {
        assert_eq!(next_reading(&mut news).await.watts, Some(f64::from(n)));
    }

    // Pulled out of the wall: the broker speaks its last will.
    driven.abort();
    drop(plug);
    let News::Lost { why } = next(&mut news).await else { panic!("nothing said that it is gone") };
    assert!(why.contains("offline"), "{why}");
    // A watch that begins later is told at once as well, since the will is kept.
    let mut late = watch(broker.socket("open"));
    assert!(next_loss(&mut late).await.contains("offline"));

    // Back again; then the broker goes and comes back.
    let (plug, _driven) = broker.client(None);
    publish(&plug, "plug/power", false, r#"{"w": 5}"#).await;
    assert_eq!(next_reading(&mut news).await.watts, Some(5.0));
    drop(running);
    let why = next_loss(&mut news).await;
    assert!(why.contains("nothing listens"), "{why}");
    let _running = broker.start().await;
    let (plug, _driven) = broker.client(None);
    for _ in 0..100 {
        publish(&plug, "plug/power", false, r#"{"w": 6}"#).await;
        sleep(Duration::from_millis(100)).await;
        if let Ok(News::Reading(r)) = news.try_recv() {
            assert_eq!(r.watts, Some(6.0));
            return;
        }
    }
    panic!("not found again within 10 s");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_refuses_the_password_is_told_of() {
    if !wanted() {
        return;
    }
    let broker = Broker::new();
    let _running = broker.start().await;
    let why = try_it(&broker.socket("shut"), Duration::from_secs(5)).await.unwrap_err();
    assert!(why.message.contains("refuses this user and password"), "{why}");
    let why = try_it(&broker.socket("open"), Duration::from_secs(2)).await.unwrap_err();
    assert!(why.message.contains("no message came"), "{why}");
    // Larger than any reading.
    let (plug, _driven) = broker.client(None);
    let mut news = watch(broker.socket("open"));
    sleep(Duration::from_millis(500)).await;
    publish(&plug, "plug/volts", false, &"9".repeat(9_000)).await;
    publish(&plug, "plug/power", false, r#"{"w": 7}"#).await;
    let News::Refused { why } = next(&mut news).await else { panic!("the volts were taken") };
    assert!(why.contains("voltage"), "{why}");
    let r = next_reading(&mut news).await;
    assert_eq!((r.watts, r.volts), (Some(7.0), None));
}

const DEVICES: &str = "python3 -m venv target/peers && target/peers/bin/pip install pymodbus==3.16.1 pyserial==3.5, \
                       and set WATTMEND_PEERS_PYTHON=$PWD/target/peers/bin/python";

/// The device of `peers/modbus_peer.py`.
fn modbus_peer(how: &str, at: &str) -> Peer {
    let python = std::env::var("WATTMEND_PEERS_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let there = Command::new(&python).args(["-c", "import pymodbus, serial"]).output();
    assert!(there.is_ok_and(|o| o.status.success()), "{python} has no pymodbus; install it with: {DEVICES}");
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/peers/modbus_peer.py");
    start(Command::new(python).arg(script).args([how, at]), DEVICES)
}

/// The registers of that device.
const REGISTERS: &str = "address = 7\nevery = \"0.2 s\"\n[socket.power]\nregister = 100\ntype = \"f32\"\n\
                         [socket.voltage]\nregister = 110\ntype = \"u16\"\nscale = 0.1\n\
                         [socket.current]\nregister = 200\nfunction = \"input\"\ntype = \"i32\"\nwords = \"low-first\"\n\
                         unit = \"mA\"\n[socket.frequency]\nregister = 210\nfunction = \"input\"\ntype = \"f32\"\n\
                         [socket.energy]\nregister = 300\ntype = \"u32\"\n";

async fn is_read(config: SocketConfig) {
    let mut news = watch(config.clone());
    for _ in 0..3 {
        let r = next_reading(&mut news).await;
        assert_eq!((r.watts, r.hertz, r.energy_j), (Some(2105.5), None, None));
        assert!((r.volts.unwrap() - 230.1).abs() < 1e-9);
        assert!((r.amps.unwrap() + 1.234).abs() < 1e-12);
    }
    let tried = try_it(&config, Duration::from_secs(5)).await.unwrap();
    assert!(tried[0].raw.contains("power: register 100 → 4503 9800"), "{}", tried[0].raw);
    let left_out = tried[0].left_out.join("\n");
    assert!(left_out.contains("frequency is no number"), "{left_out}");
    assert!(left_out.contains("refuses holding register 300"), "{left_out}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_modbus_device_over_tcp() {
    if !wanted() {
        return;
    }
    let port = free_port();
    let peer = modbus_peer("tcp", &port.to_string());
    up(port).await;
    let config = socket(&format!("kind = \"modbus-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\n{REGISTERS}"));
    is_read(config.clone()).await;
    let mut news = watch(config);
    next_reading(&mut news).await;
    drop(peer);
    let why = next_loss(&mut news).await;
    assert!(why.contains("nothing listens"), "{why}");
}

/// Two ends of a serial line.
struct Line {
    _socat: Peer,
    folder: tempfile::TempDir,
}

impl Line {
    async fn new() -> Line {
        let folder = tempfile::tempdir().unwrap();
        let end = |name: &str| format!("pty,raw,echo=0,link={}", folder.path().join(name).display());
        let socat = start(Command::new("socat").args([end("a"), end("b")]), "apt-get install socat");
        let line = Line { _socat: socat, folder };
        for _ in 0..100 {
            if Path::new(&line.end("a")).exists() && Path::new(&line.end("b")).exists() {
                return line;
            }
            sleep(Duration::from_millis(50)).await;
        }
        panic!("socat made no pseudo-terminals");
    }

    fn end(&self, name: &str) -> String {
        self.folder.path().join(name).display().to_string()
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn a_modbus_device_on_a_serial_line() {
    if !wanted() {
        return;
    }
    let line = Line::new().await;
    let peer = modbus_peer("rtu", &line.end("b"));
    let config =
        socket(&format!("kind = \"modbus-rtu\"\ndevice = \"{}\"\nbaud = 19200\n{REGISTERS}", line.end("a")));
    let mut news = watch(config.clone());
    // The device takes a while to start, and is found then.
    loop {
        match next(&mut news).await {
            News::Reading(_) => break,
            News::Lost { why } => assert!(why.contains("no device answers"), "{why}"),
            News::Refused { .. } => {}
        }
    }
    drop(news);
    is_read(config.clone()).await;
    let mut news = watch(config);
    next_reading(&mut news).await;
    drop(peer);
    let why = next_loss(&mut news).await;
    assert!(why.contains("no device answers") || why.contains("no reading for 3 s"), "{why}");
}

#[tokio::test(flavor = "multi_thread")]
async fn an_instrument_on_a_serial_line() {
    if !wanted() {
        return;
    }
    let line = Line::new().await;
    let other = SerialPort::open(line.end("b"), 9600).unwrap();
    let answering = tokio::spawn(async move {
        let (read, mut write) = tokio::io::split(other);
        let mut lines = BufReader::new(read).lines();
        while let Ok(Some(query)) = lines.next_line().await {
            match query.as_str() {
                "*RST" => {}
                "POW?" => write.write_all(b"+3.12E+01\r\n").await.unwrap(),
                other => panic!("{other}"),
            }
        }
    });
    let config = socket(&format!(
        "kind = \"scpi-serial\"\ndevice = \"{}\"\nevery = \"0.1 s\"\nsetup = [\"*RST\"]\npower.query = \"POW?\"\n",
        line.end("a")
    ));
    let mut news = watch(config);
    for _ in 0..5 {
        assert_eq!(next_reading(&mut news).await.watts, Some(31.2));
    }
    answering.abort();
    next_loss(&mut news).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_flood_of_serial_lines_loses_none_and_the_first_half_line_is_not_read() {
    if !wanted() {
        return;
    }
    let line = Line::new().await;
    let config = socket(&format!(
        "kind = \"serial-lines\"\ndevice = \"{}\"\npattern = '^P=(?<power>[0-9.]+)$'\n\
         power.unit = \"mW\"\n",
        line.end("a")
    ));
    let mut news = watch(config);
    // Opened by now, or the other end waits.
    sleep(Duration::from_millis(500)).await;
    let other = SerialPort::open(line.end("b"), 115_200).unwrap();
    let flood = tokio::spawn(async move {
        let mut text = "5\n".to_owned();
        for n in 0..20_000 {
            text.push_str(&format!("P={n}000\r\n"));
        }
        other.write_all(text.as_bytes()).await.unwrap();
        other
    });
    sleep(Duration::from_secs(2)).await;
    for n in 0..20_000 {
        let News::Reading(r) = next(&mut news).await else { panic!("no reading {n}") };
        assert_eq!(r.watts, Some(f64::from(n)));
    }
    let other = flood.await.unwrap();
    other.write_all(b"ready\n").await.unwrap();
    let News::Refused { why } = next(&mut news).await else { panic!("`ready` is no reading") };
    assert!(why.contains("ready"), "{why}");
}
