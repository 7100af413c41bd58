use super::*;
use proptest::prelude::*;

fn refusals(text: &str) -> Vec<MeterError> {
    Config::read(text).unwrap_err()
}

/// One bad file for each rule: the socket's lines, the line that the finding points to, words of it.
#[test]
fn each_rule_refuses_its_bad_file_at_the_place_and_says_what_to_do() {
    let mqtt = "kind = \"mqtt\"\nhost = \"h\"\npower.topic = \"a\"\n";
    let modbus = "kind = \"modbus-tcp\"\nhost = \"h\"\n";
    let http = "kind = \"http-json\"\npower.pointer = \"/p\"\n";
    let lines = "kind = \"serial-lines\"\ndevice = \"d\"\n";
    for (socket, line, words) in [
        (String::new(), 2, "lacks `kind`"),
        ("kind = \"mqt\"\n".to_owned(), 4, "did you mean \"mqtt\"?"),
        ("kind = \"mqtt\"\nhost = \"h\"\n".to_owned(), 2, "[socket.power]"),
        ("kind = \"replay\"\nfile = \"\"\n".to_owned(), 5, "names no file"),
        ("kind = \"replay\"\nfile = \"f\"\nspeed = 0\n".to_owned(), 6, "0.01 to 10000"),
        ("kind = \"replay\"\nfile = \"f\"\nevery = \"1 s\"\n".to_owned(), 6, "no key `every`"),
        (
            "kind = \"simulator\"\nmachine = \"m\"\nmeter = \"loud\"\n".to_owned(),
            6,
            "\"display\", \"fine\", \"logger\"",
        ),
        ("kind = \"simulator\"\nmachine = \"m\"\nseed = 1.5\n".to_owned(), 6, "whole number"),
        (format!("{mqtt}every = \"0 s\"\n"), 7, "no meter gives a reading every 0 s"),
        (format!("{mqtt}port = 70000\n"), 7, "1 to 65535"),
        (format!("{mqtt}user = \"u\"\n"), 2, "no `password`"),
        (format!("{mqtt}voltage.topic = \"a/#\"\n"), 7, "wildcards"),
        (format!("{mqtt}voltage.pointer = \"/u\"\n"), 7, "lacks `topic`"),
        (format!("{mqtt}power.pointer = \"u\"\n"), 7, "RFC 6901"),
        (format!("{mqtt}power.unit = \"V\"\n"), 7, "no unit of power"),
        (format!("{mqtt}power.scale = 0\n"), 7, "a number, not 0"),
        (format!("{mqtt}last-will.gone = \"off\"\n"), 7, "lacks `topic`"),
        (format!("{mqtt}host = \"http://h\"\n").replacen("host = \"h\"\n", "", 1), 6, "no host's name"),
        (format!("{modbus}power = {{ register = 66000, type = \"u16\" }}\n"), 6, "0 to 65535"),
        (format!("{modbus}power = {{ register = 6, type = \"u8\" }}\n"), 6, "one of \"u16\""),
        (format!("{modbus}power = {{ register = 6, type = \"u16\", words = \"x\" }}\n"), 6, "high-first"),
        (format!("{modbus}power = 6\n"), 6, "a table"),
        ("kind = \"scpi-tcp\"\nhost = \"h\"\npower.query = \"A\\nB\"\n".to_owned(), 6, "line break"),
        (format!("{http}url = \"https://h/\"\n"), 6, "plain http"),
        (format!("{http}url = \"http://h:99999/\"\n"), 6, "port"),
        (format!("{http}url = \"http://[::1]:8o/\"\n"), 6, "port"),
        (
            "kind = \"scpi-tcp\"\nhost = \"h\"\nsetup = [\"*CLS\", \"*IDN?\"]\npower.query = \"P?\"\n"
                .to_owned(),
            6,
            "`*IDN?` asks",
        ),
        (format!("{http}url = \"http://u:p@h/\"\n"), 6, "no password"),
        (format!("{http}url = \"http://h/\"\nheader = \"A\"\n"), 2, "header-value"),
        (format!("{http}url = \"http://h/\"\nheader = \"A B\"\nheader-value = \"x\"\n"), 7, "cannot be sent"),
        (format!("{lines}pattern = \"(\"\n"), 6, "cannot be read"),
        (format!("{lines}pattern = \"(?<watts>.)\"\n"), 6, "no group `power`"),
        (format!("{lines}pattern = \"(?<power>.)\"\nvoltage.unit = \"mV\"\n"), 7, "no group `voltage`"),
        (format!("{lines}pattern = \"(?<power>.)\"\nparity = \"mark\"\n"), 7, "\"even\""),
        (format!("{lines}pattern = \"(?<power>.)\"\nstop-bits = 3\n"), 7, "1 to 2"),
    ] {
        let text = format!("format = 1\n[[socket]]\nname = \"b\"\n{socket}");
        let found = refusals(&text);
        assert_eq!(found.len(), 1, "{text}\n{found:?}");
        let said = found[0].to_string();
        assert!(said.contains(words), "{text}\n{said}");
        assert_eq!(found[0].line, Some(line), "{text}\n{said}");
        assert!(!found[0].remedy.is_empty(), "{said}");
    }
}

#[test]
fn all_errors_are_found_at_once() {
    let found = refusals(
        "format = 1\n[[socket]]\nname = \"a\"\nkind = \"replay\"\nfil = \"x\"\n[[socket]]\nname = \"a\"\nkind = \"b\"\n",
    );
    let lines: Vec<_> = found.iter().map(|e| e.line).collect();
    assert_eq!(lines, [Some(2), Some(5), Some(7), Some(8)], "{found:?}");
    let many = format!("format = 1\n{}", "[[socket]]\n".repeat(65));
    assert!(refusals(&many)[0].message.contains("too many"));
    assert!(refusals(&" ".repeat(LARGEST_FILE + 1))[0].remedy.contains("bytes"));
    assert!(refusals("format = 2")[0].message.contains("format 2"));
}

#[test]
fn a_password_shows_nowhere() {
    let good = "format = 1\n[[socket]]\nname = \"a\"\nkind = \"mqtt\"\nhost = \"h\"\nuser = \"u\"\n\
                password = \"hunter2\"\npower.topic = \"t\"\n";
    assert!(!format!("{:?}", Config::read(good).unwrap()).contains("hunter2"));
    for bad in [
        good.replace("\"hunter2\"", "[\"hunter2\"]"),
        good.replace("\"hunter2\"", "\"hunter2\\n\""),
        good.replace("\"hunter2\"", "hunter2"),
        good.replace("\"hunter2\"", "\"hunter2"),
        good.replace("user = \"u\"\n", ""),
        good.replace("password", "pasword"),
        good.replace("kind = \"mqtt\"", "kind = \"mqttt\""),
    ] {
        let found = refusals(&bad);
        assert!(!format!("{found:?}").contains("hunter2"), "{found:?}");
    }
}

/// The guide, whose files have every kind of source; prose between them is no TOML, which also has to be told of.
const GUIDE: &str = include_str!("../../../../docs/meters.md");

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Holds for any bytes in the fuzz target `meters_file`; here for good files with a piece cut out, doubled or replaced.
    #[test]
    fn no_text_is_too_strange_to_be_read(
        block in 0usize..10,
        at in 0.0..1.0,
        length in 0usize..40,
        put in "[\\[\\]\"'=\n#.a-zé0-9 -]{0,12}",
    ) {
        let good: Vec<&str> =
            GUIDE.split("```toml\n").skip(1).filter_map(|b| b.split("```").next()).collect();
        let text: Vec<char> = good[block % good.len()].chars().collect();
        let from = (at * text.len() as f64) as usize;
        let to = (from + length).min(text.len());
        let text: String = text[..from].iter().copied().chain(put.chars()).chain(text[to..].iter().copied()).collect();
        if let Err(found) = diagnose(&text) {
            prop_assert!(!found.is_empty());
            for finding in &found {
                prop_assert!(text.get(finding.span.clone()).is_some(), "{:?}", finding);
                prop_assert!(!finding.remedies.is_empty(), "{:?}", finding);
            }
            prop_assert!(Config::read(&text).is_err());
        }
    }
}
