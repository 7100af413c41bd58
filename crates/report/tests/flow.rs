//! Charts on sheets of A4: every box on one sheet, none over another, and XML whatever the words.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use report::{Box, Flow, Leads, Shape, Way, flow_chart};
use roxmltree::Document;

/// A4 portrait at 96 px to the inch, and the edge that any printer leaves (some 10 mm).
const SHEET: (i32, i32) = (794, 1123);
const EDGE: i32 = 38;

fn way(label: &str, share: f64, then: Leads) -> Way {
    Way { label: label.to_owned(), share, words: format!("{:.0} %", 100.0 * share), then }
}

/// A chain of checks, each with a repair, as deep as it is long.
fn chain(length: usize) -> Flow {
    let mut boxes = Vec::new();
    for i in 0..length {
        boxes.push(Box {
            shape: Shape::Check,
            caution: "Unplug <the machine> & wait until stored charge is gone; prove it \"dead\".".to_owned(),
            says: format!(
                "Measure ohms between a-part-with-a-very-long-name-that-no-line-takes-{i}.1 and chassis."
            ),
            facts: "multimeter; 2.5 min".to_owned(),
            ways: vec![
                way("OL", 0.3, Leads::To(2 * i + 1)),
                way("1300 … 2200 W, drum turns, nothing else odd", 0.7, Leads::To(2 * i + 2)),
            ],
        });
        boxes.push(Box {
            shape: Shape::End,
            caution: String::new(),
            says: "Fit a new part.".to_owned(),
            facts: String::new(),
            ways: vec![way("the machine works", 1.0, Leads::Out("done".to_owned()))],
        });
    }
    boxes.last_mut().unwrap().ways[0].then = Leads::Out("end".to_owned());
    // The last check leads nowhere else.
    let last = boxes.len() - 2;
    boxes[last].ways[1].then = Leads::Out("afresh".to_owned());
    Flow {
        title: "Chart & more".to_owned(),
        facts: vec!["For competent persons.".to_owned()],
        boxes,
        notes: vec!["Note.".to_owned()],
    }
}

fn boxes(document: &Document<'_>) -> Vec<[i32; 4]> {
    let is_box =
        |n: &roxmltree::Node<'_, '_>| n.attribute("class").is_some_and(|c| c == "box" || c == "box end");
    let number = |n: roxmltree::Node<'_, '_>, key: &str| n.attribute(key).unwrap().parse().unwrap();
    let all = document.descendants().filter(is_box);
    all.map(|n| ["x", "y", "width", "height"].map(|key| number(n, key))).collect()
}

#[test]
fn boxes_keep_to_their_sheet_and_off_each_other() {
    for length in [1, 3, 8, 25] {
        let flow = chain(length);
        let svg = flow_chart(&flow);
        let document = Document::parse(&svg).unwrap();
        let all = boxes(&document);
        assert_eq!(all.len(), flow.boxes.len());
        for (i, [x, y, w, h]) in all.iter().enumerate() {
            assert!(*x >= EDGE && x + w <= SHEET.0 - EDGE, "box {i} leaves the sheet");
            assert_eq!(y / SHEET.1, (y + h) / SHEET.1, "box {i} lies across two sheets");
            assert!(y % SHEET.1 >= EDGE && (y + h) % SHEET.1 <= SHEET.1 - EDGE, "box {i} on the edge");
            for [u, v, s, t] in &all[..i] {
                assert!(x + w <= *u || u + s <= *x || y + h <= *v || v + t <= *y, "box {i} over another");
            }
        }
        let height: i32 =
            document.root_element().attribute("viewBox").unwrap().split(' ').nth(3).unwrap().parse().unwrap();
        assert_eq!(height % SHEET.1, 0, "whole sheets");
        assert!(all.iter().all(|[_, y, _, h]| y + h <= height));
    }
}

/// What could hurt stands in the drawing word for word, above the instruction.
#[test]
fn every_word_of_a_caution_is_drawn() {
    let flow = chain(2);
    let svg = flow_chart(&flow);
    let document = Document::parse(&svg).unwrap();
    let group = document.descendants().find(|n| n.attribute("id") == Some("box-1")).unwrap();
    let lines: Vec<(&str, i32, String)> = group
        .descendants()
        .filter(|n| n.has_tag_name("text"))
        .map(|n| {
            let text = n.text().unwrap_or("").to_owned();
            (n.attribute("class").unwrap_or(""), n.attribute("y").unwrap().parse().unwrap(), text)
        })
        .collect();
    let of = |class: &str| lines.iter().filter(|l| l.0 == class).cloned().collect::<Vec<_>>();
    let caution: Vec<String> = of("caution").into_iter().map(|l| l.2).collect();
    assert_eq!(caution.join(" "), format!("CAUTION: {}", flow.boxes[0].caution));
    let lowest = of("caution").iter().map(|l| l.1).max().unwrap();
    assert!(of("says").iter().all(|l| l.1 > lowest));
    // An instruction that no line takes is broken, not cut.
    let says: String = of("says").into_iter().map(|l| l.2).collect::<Vec<_>>().concat();
    assert!(says.replace(' ', "").contains(&flow.boxes[0].says.replace(' ', "")));
}
