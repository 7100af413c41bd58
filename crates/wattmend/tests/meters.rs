//! `wattmend meters try`.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

mod support;

use std::path::Path;
use support::{same_as, wattmend};

const ROOT: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../..");

/// The text without the simulator's clock, which starts when it is started.
fn without_clock(text: &str) -> String {
    let cut = |line: &str| line.split(", by its own clock").next().unwrap_or_default().to_owned();
    text.lines().map(|line| cut(line) + "\n").collect::<Vec<_>>().concat()
}

#[test]
fn the_guide_shows_what_trying_prints() {
    let demo = format!("{ROOT}/demo/sockets.toml");
    let printed = wattmend(&["meters", "try", &demo, "practice"]);
    assert_eq!(printed.code, 0, "{}{}", printed.out, printed.err);
    assert!(printed.out.contains("by its own clock"), "{}", printed.out);
    let path = Path::new(ROOT).join("docs/meters.md");
    let guide = std::fs::read_to_string(&path).unwrap();
    let (before, rest) = guide.split_once("<!-- try:begin -->\n```text\n").unwrap();
    let (_, after) = rest.split_once("```\n<!-- try:end -->").unwrap();
    let shown = without_clock(&printed.out);
    same_as(
        &path,
        &format!("{before}<!-- try:begin -->\n```text\n{}\n```\n<!-- try:end -->{after}", shown.trim_end()),
    );
}

#[test]
fn all_meters_are_tried_side_by_side() {
    use std::io::{BufRead, BufReader, Write};
    use std::net::TcpListener;
    let listeners = [(); 2].map(|()| TcpListener::bind("127.0.0.1:0").unwrap());
    let socket = |listener: &TcpListener| {
        let port = listener.local_addr().unwrap().port();
        format!(
            "[[socket]]\nname = \"{port}\"\nkind = \"scpi-tcp\"\nhost = \"127.0.0.1\"\nport = {port}\n\
             every = \"0.1 s\"\npower.query = \"P?\"\n"
        )
    };
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sockets.toml");
    std::fs::write(&path, format!("format = 1\n{}", listeners.each_ref().map(socket).concat())).unwrap();
    // Neither answers before both are asked.
    let answering = std::thread::spawn(move || {
        let mut peers = listeners.map(|listener| BufReader::new(listener.accept().unwrap().0));
        let mut answered = 0;
        while answered < 10 {
            for peer in &mut peers {
                let mut query = String::new();
                if peer.read_line(&mut query).is_ok_and(|read| read > 0) {
                    // Who has heard enough has left.
                    let _ = peer.get_mut().write_all(b"31.2\n");
                }
                answered += 1;
            }
        }
    });
    let printed = wattmend(&["meters", "try", path.to_str().unwrap(), "--for", "20 s"]);
    assert_eq!(printed.code, 0, "{}{}", printed.out, printed.err);
    assert_eq!(printed.out.matches("read: 31.20 W").count(), 10, "{}", printed.out);
    answering.join().unwrap();
}

#[test]
fn what_is_wrong_is_told_with_its_place_and_remedy() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("sockets.toml");
    let file = path.to_str().unwrap();
    std::fs::write(
        &path,
        "format = 1\n[[socket]]\nname = \"a\"\nkind = \"replay\"\nfile = \"none.csv\"\n\
         [[socket]]\nname = \"b\"\nkind = \"scpi-tcp\"\nhost = \"127.0.0.1\"\nport = 1\npower.query = \"POW?\"\n",
    )
    .unwrap();
    let printed = wattmend(&["meters", "try", file, "--for", "2 s"]);
    assert_eq!(printed.code, 6, "{}{}", printed.out, printed.err);
    assert!(printed.out.contains("none.csv cannot be opened"), "{}", printed.out);
    assert!(printed.out.contains("nothing listens at 127.0.0.1 port 1"), "{}", printed.out);
    assert_eq!(printed.out.matches("= to mend: ").count(), 2, "{}", printed.out);
    for (arguments, words) in [(&[file, "c"][..], "one of: a, b"), (&[file, "--for", "3 W"], "--for")] {
        let printed = wattmend(&[&["meters", "try"], arguments].concat());
        assert_eq!(printed.code, 4, "{}", printed.err);
        assert!(printed.err.contains(words), "{}", printed.err);
    }
    std::fs::write(&path, "format = 1\n[[socket]]\nname = \"a\"\nkind = \"repley\"\n").unwrap();
    let printed = wattmend(&["meters", "try", file]);
    assert_eq!(printed.code, 3, "{}", printed.out);
    assert!(printed.err.contains("did you mean \"replay\"?"), "{}", printed.err);
    assert!(printed.err.contains("No meter was tried."), "{}", printed.err);
}
