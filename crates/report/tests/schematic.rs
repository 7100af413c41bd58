//! The schematic of the shipped machines and of a small one: complete, well-formed, within its frame, nothing overlapping.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use machine::model::Machine;
use report::{schematic, schematic_marked};
use roxmltree::{Document, Node};
use std::collections::BTreeMap;
use std::path::Path;

const SMALL: &str = include_str!("small.toml");

fn read(text: &str) -> Machine {
    let outcome = machine::read::read(text, None);
    outcome.machine.unwrap_or_else(|| panic!("{:#?}", outcome.diagnostics))
}

fn machines() -> Vec<(String, Machine)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../machines");
    let mut all: Vec<(String, Machine)> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|e| e == "toml"))
        .map(|path| (path.display().to_string(), read(&std::fs::read_to_string(&path).unwrap())))
        .collect();
    assert!(all.len() >= 5, "the shipped machines are missing");
    all.push(("small".into(), read(SMALL)));
    all
}

/// Left, top, right, bottom.
type Bounds = [f64; 4];

fn number(node: Node<'_, '_>, name: &str) -> f64 {
    node.attribute(name).map_or(0.0, |v| v.parse().unwrap())
}

/// Text boxes, by the common width of a sans-serif face: about 0.55 of the size a character.
fn texts(svg: &Document<'_>) -> Vec<(String, Bounds)> {
    svg.descendants()
        .filter(|n| n.has_tag_name("text"))
        .map(|n| {
            let text: String = n
                .descendants()
                .filter(|d| d.is_text() && !d.ancestors().any(|a| a.has_tag_name("title")))
                .filter_map(|d| d.text())
                .collect();
            let size = match n.attribute("class") {
                Some("small") => 10.0,
                Some("name") => 12.0,
                _ => 11.0,
            };
            let width = text.chars().count() as f64 * size * 0.55;
            let left = number(n, "x")
                - match n.attribute("text-anchor") {
                    Some("middle") => width / 2.0,
                    Some("end") => width,
                    _ => 0.0,
                };
            (text, [left, number(n, "y") - size * 0.75, left + width, number(n, "y") + 1.0])
        })
        .collect()
}

/// The straight strokes of nets and wires, from paths of the form `M x yL x y…`.
fn strokes(svg: &Document<'_>) -> Vec<(String, Bounds)> {
    let mut all = Vec::new();
    for net in svg.descendants().filter(|n| n.attribute("class") == Some("net")) {
        let id = format!("{:?}", net.range());
        for path in net.descendants().filter(|n| n.has_tag_name("path") && n.attribute("class").is_none()) {
            for piece in path.attribute("d").unwrap().split('M').filter(|p| p.contains('L')) {
                let v: Vec<f64> = piece.split(['L', ' ']).map(|v| v.parse().unwrap()).collect();
                all.push((id.clone(), [v[0].min(v[2]), v[1].min(v[3]), v[0].max(v[2]), v[1].max(v[3])]));
            }
        }
    }
    all
}

fn overlap(a: &Bounds, b: &Bounds) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

#[test]
fn every_part_and_pin_stands_there_once() {
    for (name, machine) in machines() {
        let text = schematic(&machine);
        let svg = Document::parse(&text).unwrap();
        let mut ids: BTreeMap<&str, usize> = BTreeMap::new();
        for id in svg.descendants().filter_map(|n| n.attribute("id")) {
            *ids.entry(id).or_default() += 1;
        }
        assert!(ids.values().all(|&n| n == 1), "{name}: {:?}", ids.iter().find(|(_, n)| **n > 1));
        for part in &machine.parts {
            assert!(ids.contains_key(format!("part-{}", part.id).as_str()), "{name}: {} is missing", part.id);
        }
        for joint in machine.joints.iter().filter(|j| j.opens_with != j.name) {
            assert!(
                ids.contains_key(format!("pin-{}", joint.name).as_str()),
                "{name}: {} is missing",
                joint.name
            );
        }
    }
}

#[test]
fn nothing_lies_outside_the_frame() {
    for (name, machine) in machines() {
        let text = schematic(&machine);
        let svg = Document::parse(&text).unwrap();
        let frame: Vec<f64> =
            svg.root_element().attribute("viewBox").unwrap().split(' ').map(|v| v.parse().unwrap()).collect();
        let rects = svg
            .descendants()
            .filter(|n| n.has_tag_name("rect") && n.attribute("x") != Some("-16"))
            .map(|n| {
                let (x, y) = (number(n, "x"), number(n, "y"));
                ("rect".to_owned(), [x, y, x + number(n, "width"), y + number(n, "height")])
            });
        let symbols = rects.filter(|(_, b)| b[0] >= 0.0 || b[2] > 20.0).collect::<Vec<_>>();
        for (what, b) in texts(&svg).into_iter().chain(strokes(&svg)).chain(symbols) {
            assert!(
                b[0] >= frame[0]
                    && b[1] >= frame[1]
                    && b[2] <= frame[0] + frame[2]
                    && b[3] <= frame[1] + frame[3],
                "{name}: {what} at {b:?} leaves {frame:?}"
            );
        }
    }
}

#[test]
fn no_words_overlap_and_no_line_runs_through_one() {
    for (name, machine) in machines() {
        let text = schematic(&machine);
        let svg = Document::parse(&text).unwrap();
        let texts = texts(&svg);
        for (i, (a, box_a)) in texts.iter().enumerate() {
            for (b, box_b) in &texts[i + 1..] {
                assert!(!overlap(box_a, box_b), "{name}: `{a}` {box_a:?} over `{b}` {box_b:?}");
            }
            for (_, line) in strokes(&svg) {
                let thick = [line[0] - 0.6, line[1] - 0.6, line[2] + 0.6, line[3] + 0.6];
                assert!(!overlap(box_a, &thick), "{name}: a line {line:?} runs through `{a}` {box_a:?}");
            }
        }
    }
}

#[test]
fn lines_of_different_nets_only_cross() {
    for (name, machine) in machines() {
        let text = schematic(&machine);
        let strokes = strokes(&Document::parse(&text).unwrap());
        for (i, (net_a, a)) in strokes.iter().enumerate() {
            for (net_b, b) in strokes[i + 1..].iter().filter(|(n, _)| n != net_a) {
                let along = |k: usize, m: usize| {
                    a[k] == a[k + 2]
                        && b[k] == b[k + 2]
                        && a[k] == b[k]
                        && a[m] <= b[m + 2]
                        && b[m] <= a[m + 2]
                };
                assert!(!along(0, 1) && !along(1, 0), "{name}: {a:?} of {net_a} lies on {b:?} of {net_b}");
            }
        }
    }
}

#[test]
fn same_machine_gives_the_same_drawing() {
    for (name, machine) in machines() {
        assert_eq!(schematic(&machine), schematic(&machine.clone()), "{name}");
    }
}

/// After a wanted change: look at the drawing, then `UPDATE_SNAPSHOT=1 cargo test -p report`.
#[test]
fn small_machine_is_drawn_as_before() {
    let drawn = schematic(&read(SMALL));
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/small.svg");
    if std::env::var_os("UPDATE_SNAPSHOT").is_some() {
        std::fs::write(&path, &drawn).unwrap();
    }
    assert_eq!(drawn, std::fs::read_to_string(path).unwrap());
}

#[test]
fn machine_without_a_board_is_drawn_too() {
    let (head, rest) = SMALL.split_once("[part.probe]").unwrap();
    assert!(rest.contains("[part.board]"));
    let text = format!(
        "{head}[loom.all]\nwires = [\"cord.l = cutout.1\", \"cutout.2 = element.1\", \"element.2 = cord.n\", \
         \"cord.e = chassis\", \"element.earth = chassis\"]\n\n[service-test]\nenter = \"none\"\n\n[[service-test.step]]\nid = \"show\"\nsays = \"code\"\n\
         shows-code = true\ngoes-on = \"by itself\"\nlasts = \"5 s\"\n"
    );
    let svg = schematic(&read(&text));
    let drawn = Document::parse(&svg).unwrap();
    for id in ["part-cord", "part-cutout", "part-element", "part-loom.all.3"] {
        assert!(drawn.descendants().any(|n| n.attribute("id") == Some(id)), "{id} is missing");
    }
}

#[test]
fn names_with_marks_of_xml_do_no_harm() {
    let text = SMALL.replace("maker = \"Aldermere\"", "maker = \"<&\\\"> \\u0001\"");
    let svg = schematic(&read(&text));
    let drawn = Document::parse(&svg).unwrap();
    let title = drawn.descendants().find(|n| n.attribute("id") == Some("title")).unwrap();
    assert_eq!(title.text(), Some("<&\">  Cup 1, dishwasher: wiring"));
}

#[test]
fn probe_points_are_marked_where_the_probes_go() {
    let machine = read(SMALL);
    let probes: Vec<usize> = ["P2.1", "element.2"].iter().map(|n| machine.node(n).unwrap()).collect();
    let svg = schematic_marked(&machine, &probes);
    let drawn = Document::parse(&svg).unwrap();
    let marks: Vec<(f64, f64)> = drawn
        .descendants()
        .filter(|n| n.attribute("class") == Some("probe"))
        .map(|n| (number(n, "cx"), number(n, "cy")))
        .collect();
    let pin = drawn.descendants().find(|n| n.attribute("id") == Some("pin-P2.1")).unwrap();
    let rect = pin.descendants().find(|n| n.has_tag_name("rect")).unwrap();
    assert_eq!(marks.len(), 2);
    // The loom's side of a leaving pin is its right edge; the element hangs on it in the same row, further right.
    assert_eq!(marks[0], (number(rect, "x") + number(rect, "width"), number(rect, "y") + 8.0));
    assert!(marks[1].0 > marks[0].0 && marks[1].1 == marks[0].1);
    assert!(!schematic(&machine).contains("class=\"probe\""));
}
