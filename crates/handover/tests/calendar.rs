//! The calendar file is read by another library.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod common;

use handover::{CalendarError, calendar};
use icalendar::parser::{read_calendar, unfold};

fn made() -> jiff::Timestamp {
    "2026-11-28T11:00:00Z".parse().unwrap()
}

#[test]
fn another_library_reads_the_follow_up() {
    let mut job = common::job();
    job.follow_up.as_mut().unwrap().what.push_str("; mind; the, dog\\\nand the Ωmega – ключ");
    let text = calendar(&job, made()).unwrap();
    assert!(text.split("\r\n").all(|line| line.len() <= 75), "a line is too long");
    assert!(!text.replace("\r\n", "").contains(['\n', '\r']));
    let unfolded = unfold(&text);
    let read = read_calendar(&unfolded).unwrap();
    let event = read.components.iter().find(|c| c.name == "VEVENT").unwrap();
    let value = |name: &str| event.find_prop(name).unwrap().val.to_string();
    assert_eq!(value("DTSTART"), "20270112T093000");
    assert_eq!(value("DURATION"), "PT45M");
    assert_eq!(value("DTSTAMP"), "20261128T110000Z");
    assert!(unfolded.contains("\\; mind\\; the\\, dog\\\\\\nand the Ωmega – ключ: Aldermere Tern 81"));
    let zone = read.components.iter().find(|c| c.name == "VTIMEZONE").unwrap();
    assert_eq!(zone.find_prop("TZID").unwrap().val.to_string(), "Europe/Dublin");
    assert_eq!(zone.components.len(), 1);
    assert_eq!(zone.components[0].find_prop("TZOFFSETTO").unwrap().val.to_string(), "+0000");
}

/// Rules of the zone at the event: summer time in July, +02:00 in Berlin, changed at 02:00 on the last Sunday of March.
#[test]
fn summer_time_is_given_as_it_is_in_force() {
    let mut job = common::job();
    job.follow_up.as_mut().unwrap().at = "2027-07-01T08:00:00[Europe/Berlin]".parse().unwrap();
    let text = calendar(&job, made()).unwrap();
    for line in [
        "BEGIN:DAYLIGHT",
        "DTSTART:20270328T020000",
        "TZOFFSETFROM:+0100",
        "TZOFFSETTO:+0200",
        "DTSTART;TZID=Europe/Berlin:20270701T080000",
    ] {
        assert!(text.contains(&format!("{line}\r\n")), "{line} is not in\n{text}");
    }
}

#[test]
fn without_a_day_or_a_named_zone_there_is_no_file() {
    let mut job = common::job();
    job.follow_up.as_mut().unwrap().at = "2027-07-01T08:00:00+02:00[+02:00]".parse().unwrap();
    assert_eq!(calendar(&job, made()), Err(CalendarError::NoZone));
    job.follow_up = None;
    assert_eq!(calendar(&job, made()), Err(CalendarError::NoFollowUp));
}
