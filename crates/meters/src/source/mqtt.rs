//! The topics of one meter at an MQTT 3.1.1 broker.

use super::text::{self, LARGEST_MESSAGE};
use super::wire::{CONNECT_WITHIN, unreached};
use super::{Ear, Heard, Taken, unheard};
use crate::MeterError;
use crate::config::{Mqtt, SocketConfig, TopicPlace};
use crate::measured::{Gathered, Measured};
use crate::reading::patience;
use rumqttc::{
    AsyncClient, ConnectReturnCode, ConnectionError, Event, EventLoop, MqttOptions, NetworkOptions, Packet,
    Publish, QoS, SubAck, SubscribeFilter, SubscribeReasonCode,
};
use serde_json::Value;
use std::cell::OnceCell;
use std::collections::BTreeMap;
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;
use tokio::time::Instant;

/// A broker that went away without a word is noticed within twice this.
const KEEP_ALIVE: Duration = Duration::from_secs(5);

/// A broker throws out the older of two clients of one name, so each connection has its own.
static CONNECTIONS: AtomicU32 = AtomicU32::new(0);

pub(crate) async fn session(socket: &SocketConfig, mqtt: &Mqtt, ear: &Ear) -> MeterError {
    let (client, mut events) = client(mqtt);
    let mut meter = Meter::new(mqtt, socket.every);
    loop {
        match events.poll().await {
            Ok(Event::Incoming(Packet::ConnAck(_))) => {
                // The queue has room: nothing else is ever sent.
                if client.try_subscribe_many(filters(mqtt)).is_err() {
                    return MeterError::new("a topic cannot be subscribed to", "check the topics");
                }
            }
            Ok(Event::Incoming(Packet::SubAck(ack))) => {
                if let Some(error) = not_granted(mqtt, &ack) {
                    return error;
                }
            }
            Ok(Event::Incoming(Packet::Publish(message))) => {
                for heard in meter.hears(&message, Instant::now()) {
                    if ear.send(heard).await.is_err() {
                        return unheard();
                    }
                }
            }
            Ok(_) => {}
            Err(error) => return broke_off(mqtt, &error),
        }
    }
}

fn client(mqtt: &Mqtt) -> (AsyncClient, EventLoop) {
    let id = format!("wattmend{}x{}", std::process::id(), CONNECTIONS.fetch_add(1, Ordering::Relaxed));
    let mut options = MqttOptions::new(id, &mqtt.host, mqtt.port);
    options.set_keep_alive(KEEP_ALIVE).set_max_packet_size(LARGEST_MESSAGE, LARGEST_MESSAGE);
    if let Some((user, password)) = &mqtt.login {
        options.set_credentials(user, password.reveal());
    }
    let (client, mut events) = AsyncClient::new(options, 2);
    let mut network = NetworkOptions::new();
    network.set_connection_timeout(CONNECT_WITHIN.as_secs().max(1)).set_tcp_nodelay(true);
    events.set_network_options(network);
    (client, events)
}

fn filters(mqtt: &Mqtt) -> impl Iterator<Item = SubscribeFilter> {
    topics(mqtt).map(|topic| SubscribeFilter::new(topic.to_owned(), QoS::AtLeastOnce))
}

/// Each topic once, in a fixed order.
fn topics(mqtt: &Mqtt) -> impl Iterator<Item = &str> {
    let places = mqtt.values.iter().map(|t| &t.place);
    let places = places.chain(&mqtt.time).chain(mqtt.last_will.as_ref().map(|w| &w.place));
    let mut topics: Vec<&str> = places.map(|p| p.topic.as_str()).collect();
    topics.sort_unstable();
    topics.dedup();
    topics.into_iter()
}

fn not_granted(mqtt: &Mqtt, ack: &SubAck) -> Option<MeterError> {
    let refused = ack.return_codes.iter().position(|c| *c == SubscribeReasonCode::Failure)?;
    let topic = topics(mqtt).nth(refused).unwrap_or_default();
    Some(MeterError::new(
        format!("the broker does not let this user read the topic {topic}"),
        "check the broker's access list, or the user and password here",
    ))
}

fn broke_off(mqtt: &Mqtt, error: &ConnectionError) -> MeterError {
    use std::io::ErrorKind;
    match error {
        ConnectionError::Io(error) if error.kind() == ErrorKind::ConnectionAborted => {
            MeterError::new("the broker closed the connection", "look into the broker's log")
        }
        ConnectionError::Io(error) => unreached(&mqtt.host, mqtt.port, error),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => {
            unreached(&mqtt.host, mqtt.port, &ErrorKind::TimedOut.into())
        }
        ConnectionError::ConnectionRefused(
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
        ) => MeterError::new(
            "the broker refuses this user and password",
            "check `user` and `password` against the broker's",
        ),
        other => MeterError::new(
            format!("the broker broke off: {other}"),
            format!("check that {} port {} is an MQTT broker without TLS", mqtt.host, mqtt.port),
        ),
    }
}

/// What the topics of a meter said last. A reading is given when that with the power speaks, with the other quantities
/// where they are still fresh: a value that stopped coming is never passed off as new.
struct Meter<'c> {
    config: &'c Mqtt,
    /// Values of other topics count for so long.
    fresh: Duration,
    /// The last message of each topic but retained ones.
    last: BTreeMap<String, Message>,
}

/// What a topic said.
struct Message {
    at: Instant,
    payload: Vec<u8>,
    /// The same as JSON, once it was asked for: several quantities may stand in one message.
    json: OnceCell<Result<Value, String>>,
}

impl Message {
    fn json(&self) -> Result<&Value, String> {
        self.json.get_or_init(|| text::json(&self.payload)).as_ref().map_err(String::clone)
    }

    fn text(&self) -> std::borrow::Cow<'_, str> {
        String::from_utf8_lossy(&self.payload)
    }

    fn number(&self, place: &TopicPlace) -> Result<f64, String> {
        match &place.pointer {
            None => text::number(&self.text()),
            Some(pointer) => text::number_at(self.json()?, pointer),
        }
    }

    fn time(&self, place: &TopicPlace) -> Result<jiff::Timestamp, String> {
        match &place.pointer {
            None => text::time(&self.text()),
            Some(pointer) => text::time_at(self.json()?, pointer),
        }
    }
}

impl<'c> Meter<'c> {
    fn new(config: &'c Mqtt, every: Duration) -> Meter<'c> {
        Meter { config, fresh: patience(every), last: BTreeMap::new() }
    }

    fn hears(&mut self, message: &Publish, now: Instant) -> Vec<Heard> {
        let mut heard = Vec::new();
        let raw = format!("{}: {}", message.topic, text::shown(&message.payload));
        heard.extend(self.gone(message, &raw));
        let of_values = |t: &str| self.config.values.iter().any(|v| v.place.topic == t);
        let of_time = self.config.time.as_ref().is_some_and(|p| p.topic == message.topic);
        if !of_values(&message.topic) && !of_time {
            return heard;
        }
        if message.retain {
            heard.push(Heard::Message { raw, read: Err(retained()) });
            return heard;
        }
        let said = Message { at: now, payload: message.payload.to_vec(), json: OnceCell::new() };
        self.last.insert(message.topic.clone(), said);
        let with_power =
            |t: &str| self.config.values.iter().any(|v| v.measured == Measured::Power && v.place.topic == t);
        if with_power(&message.topic) {
            heard.push(Heard::Message { raw: self.raw(now), read: self.read(now) });
        } else {
            heard.push(Heard::Part { raw });
        }
        heard
    }

    /// The last will; here a retained message counts, since it says how things stand.
    fn gone(&self, message: &Publish, raw: &str) -> Option<Heard> {
        let will = self.config.last_will.as_ref().filter(|w| w.place.topic == message.topic)?;
        let says = match &will.place.pointer {
            None => String::from_utf8_lossy(&message.payload).trim().to_owned(),
            Some(pointer) => match text::json(&message.payload).ok()?.pointer(pointer)? {
                Value::String(text) => text.clone(),
                other => other.to_string(),
            },
        };
        (says == will.gone).then(|| Heard::Gone {
            raw: raw.to_owned(),
            why: MeterError::new(
                format!("the broker says that the meter is {}", will.gone),
                "plug the meter in, or bring it back into reach",
            ),
        })
    }

    fn fresh(&self, topic: &str, now: Instant) -> Option<&Message> {
        self.last.get(topic).filter(|said| now.duration_since(said.at) <= self.fresh)
    }

    fn raw(&self, now: Instant) -> String {
        let fresh = self.last.keys().filter_map(|t| Some((t, self.fresh(t, now)?)));
        fresh
            .map(|(topic, said)| format!("{topic}: {}", text::shown(&said.payload)))
            .collect::<Vec<_>>()
            .join("\n")
    }

    fn read(&self, now: Instant) -> Result<Taken, MeterError> {
        let mut gathered = Gathered::new();
        for taking in &self.config.values {
            if let Some(said) = self.fresh(&taking.place.topic, now) {
                gathered.take(taking.measured, taking.factor, said.number(&taking.place));
            }
        }
        if let Some(place) = &self.config.time
            && let Some(said) = self.fresh(&place.topic, now)
        {
            gathered.stamp(said.time(place));
        }
        gathered.end()
    }
}

fn retained() -> MeterError {
    MeterError::new(
        "the broker had kept this message from before: it is no fresh reading",
        "wait for the meter's next message; switch `retain` off at the meter if it can be",
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Reading;
    use crate::Source;
    use crate::config::Config;

    fn config() -> Mqtt {
        let text = "
            format = 1
            [[socket]]
            name = \"b\"
            kind = \"mqtt\"
            host = \"localhost\"
            [socket.power]
            topic = \"m/p\"
            [socket.voltage]
            topic = \"m/rest\"
            pointer = \"/u/0\"
            [socket.energy]
            topic = \"m/rest\"
            pointer = \"/e\"
            unit = \"kWh\"
            [socket.last-will]
            topic = \"m/state\"
        ";
        match Config::read(text).unwrap().sockets.remove(0).source {
            Source::Mqtt(mqtt) => mqtt,
            other => panic!("{other:?}"),
        }
    }

    fn message(topic: &str, payload: &str, retain: bool) -> Publish {
        Publish { retain, ..Publish::new(topic, QoS::AtMostOnce, payload) }
    }

    fn reading(heard: &[Heard]) -> Option<Reading> {
        match heard {
            [Heard::Message { read: Ok(taken), .. }] => Some(taken.reading),
            _ => None,
        }
    }

    #[test]
    fn topics_join_into_one_reading_while_they_are_fresh() {
        let config = config();
        let mut meter = Meter::new(&config, Duration::from_secs(1));
        let now = Instant::now();
        let rest = meter.hears(&message("m/rest", r#"{"u": ["230.5"], "e": 0.5}"#, false), now);
        assert!(matches!(rest[..], [Heard::Part { .. }]), "{rest:?}");
        let r = reading(&meter.hears(&message("m/p", "31.2", false), now + Duration::from_secs(2))).unwrap();
        assert_eq!((r.watts, r.volts, r.energy_j), (Some(31.2), Some(230.5), Some(1.8e6)));
        let r = reading(&meter.hears(&message("m/p", "32", false), now + Duration::from_secs(4))).unwrap();
        assert_eq!(
            (r.watts, r.volts),
            (Some(32.0), None),
            "four seconds old volts are not passed off as new"
        );
    }

    #[test]
    fn a_retained_message_is_no_reading_and_is_not_kept_for_one() {
        let config = config();
        let mut meter = Meter::new(&config, Duration::from_secs(1));
        let now = Instant::now();
        for topic in ["m/p", "m/rest"] {
            let heard = meter.hears(&message(topic, "1", true), now);
            let [Heard::Message { read: Err(error), .. }] = &heard[..] else { panic!("{heard:?}") };
            assert!(error.message.contains("kept"), "{error}");
        }
        assert_eq!(reading(&meter.hears(&message("m/p", "7", false), now)).unwrap().volts, None);
    }

    #[test]
    fn the_last_will_says_that_the_meter_has_gone_also_where_it_is_retained() {
        let config = config();
        let mut meter = Meter::new(&config, Duration::from_secs(1));
        for retain in [true, false] {
            let heard = meter.hears(&message("m/state", " offline\n", retain), Instant::now());
            assert!(matches!(heard[..], [Heard::Gone { .. }]), "{heard:?}");
        }
        assert!(meter.hears(&message("m/state", "online", true), Instant::now()).is_empty());
    }

    #[test]
    fn each_topic_is_asked_for_once() {
        assert_eq!(topics(&config()).collect::<Vec<_>>(), ["m/p", "m/rest", "m/state"]);
    }
}
