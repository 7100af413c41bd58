//! A chart of steps that lead to each other, on sheets of A4 portrait, for the wall or the van.
//!
//! The boxes stand below each other in the order given, each indented below the one that it follows from, in columns; an
//! arrow leads from box to box, and where the next one stands in another column, its number does.

use crate::place::text_width;
use crate::svg::escape;
use std::fmt::Write;

/// A4 portrait at 96 px to the inch.
const SHEET: (i32, i32) = (794, 1123);
/// Blank edge of a sheet: some 10 mm, which any printer leaves.
const EDGE: i32 = 38;
/// Blank between columns.
const BETWEEN: i32 = 18;
/// A box is this much further to the right than the one it follows from.
const INDENT: i32 = 14;
/// Boxes are not moved to the right any further than this many times: they must stay wide enough to read.
const DEEPEST: usize = 7;
/// Blank between boxes.
const GAP: i32 = 8;
/// Size of the text, px, and the height of its lines. 10 px are 7.5 points on paper.
const SIZE: f64 = 10.0;
const LINE: i32 = 13;
/// Blank within a box.
const PAD: i32 = 6;
/// Room for the number of a box.
const NUMBER: i32 = 24;

/// A chart to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Flow {
    /// What it is.
    pub title: String,
    /// What stands below the title, a paragraph each.
    pub facts: Vec<String>,
    /// The boxes, each after the one that it follows from. They are numbered from 1.
    pub boxes: Vec<Box>,
    /// What stands below all.
    pub notes: Vec<String>,
}

/// What a box is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    /// Something to find out.
    Check,
    /// Something that ends the search.
    End,
}

/// A box.
#[derive(Clone, Debug, PartialEq)]
pub struct Box {
    /// What it is.
    pub shape: Shape,
    /// What could hurt; stands above the instruction.
    pub caution: String,
    /// What to do.
    pub says: String,
    /// With what, how long.
    pub facts: String,
    /// Where it leads.
    pub ways: Vec<Way>,
}

/// A way out of a box.
#[derive(Clone, Debug, PartialEq)]
pub struct Way {
    /// What was read or seen.
    pub label: String,
    /// How likely it is, 0 … 1, and in words.
    pub share: f64,
    /// How likely it is, in words.
    pub words: String,
    /// Where it leads.
    pub then: Leads,
}

/// Where a way leads.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Leads {
    /// To this box, by its place.
    To(usize),
    /// Out of the chart: "done".
    Out(String),
}

/// Plain colours, no variables: what prints is often a program that knows little of style sheets.
const STYLE: &str = "\
svg{color:#1c1c1c;background:#fff;font-family:sans-serif;font-size:10px}\
text{fill:currentColor}.title{font-size:18px;font-weight:bold}.says{font-weight:bold}.caution{fill:#b03a06}\
.sheet{fill:#fff}.box{fill:#fff;stroke:currentColor;stroke-width:1.2}.end{stroke:#1f7a3d;stroke-width:2.4}\
.badge{fill:currentColor}.end-badge{fill:#1f7a3d}.number{fill:#fff;font-weight:bold;font-size:11px}\
.arrow{fill:none;stroke:currentColor;stroke-width:1.2}.head{fill:currentColor}\
.share{fill:currentColor;fill-opacity:.11}.rule{stroke:currentColor;stroke-width:.5;stroke-opacity:.45}.small{font-size:9px}\
@page{size:A4 portrait;margin:0}\
@media screen and (prefers-color-scheme:dark){svg{color:#e8e8e8;background:#161616}.sheet,.box{fill:#161616}\
.caution{fill:#ff9b57}.end{stroke:#6fcf8f}.end-badge{fill:#6fcf8f}.number{fill:#161616}.share{fill-opacity:.2}}";

/// A box with its place.
struct Placed {
    column: usize,
    x: i32,
    y: i32,
    w: i32,
    h: i32,
    caution: Vec<String>,
    says: Vec<String>,
    facts: Vec<String>,
    labels: Vec<Vec<String>>,
}

/// The chart as one SVG document, as many sheets high as it needs. The same chart always gives the same text.
///
/// Colours follow the reader's light or dark ground, and are black on white on paper.
pub fn flow_chart(flow: &Flow) -> String {
    let (body, sheets) = drawn(flow);
    document(flow, &body, 0, sheets)
}

/// The same with each sheet of A4 as a document of its own.
pub fn flow_sheets(flow: &Flow) -> Vec<String> {
    let (body, sheets) = drawn(flow);
    (0..sheets).map(|sheet| document(flow, &body, sheet, 1)).collect()
}

/// So many sheets of the drawing, from this one on.
fn document(flow: &Flow, body: &str, first: usize, sheets: usize) -> String {
    let (w, h, y) = (SHEET.0, SHEET.1 * sheets as i32, SHEET.1 * first as i32);
    let from_y = if y == 0 { String::new() } else { format!(" y=\"{y}\"") };
    format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 {y} {w} {h}\" width=\"210mm\" height=\"{}mm\" role=\"img\" \
         aria-labelledby=\"title desc\">\n<title id=\"title\">{}</title>\n<desc id=\"desc\">{} numbered boxes, each with its \
         caution, what to do, and where each answer leads.</desc>\n<style>{STYLE}</style>\n\
         <rect class=\"sheet\"{from_y} width=\"{w}\" height=\"{h}\"/>\n{body}</svg>\n",
        297 * sheets,
        escape(&flow.title),
        flow.boxes.len(),
    )
}

/// What stands on the sheets, and how many there are.
fn drawn(flow: &Flow) -> (String, usize) {
    let from = origins(flow);
    let depths = depths(&from);
    let columns = if depths.iter().max().is_some_and(|d| *d > 4) && flow.boxes.len() < 14 { 1 } else { 2 };
    let sheet_w = SHEET.0 - 2 * EDGE;
    let column_w = (sheet_w - (columns as i32 - 1) * BETWEEN) / columns as i32;
    let facts: Vec<String> = flow.facts.iter().flat_map(|f| wrapped(f, sheet_w, SIZE)).collect();
    let notes: Vec<String> = flow.notes.iter().flat_map(|n| wrapped(n, sheet_w, SIZE)).collect();
    let top = EDGE + 30 + LINE * facts.len() as i32 + GAP;
    let sizes: Vec<Placed> = flow.boxes.iter().zip(&depths).map(|(b, d)| sized(b, *d, column_w)).collect();
    let placed = placed(sizes, columns, column_w, top);
    let foot = LINE * notes.len() as i32 + GAP;
    // The notes go below all, on a sheet of their own where there is no room on the last.
    let last = placed.last().map_or(0, |p| p.column / columns);
    let below = placed.iter().filter(|p| p.column / columns == last).map(|p| p.y + p.h).max().unwrap_or(top);
    let (sheets, notes_y) = if below + foot <= SHEET.1 * (last as i32 + 1) - EDGE {
        (last + 1, below + GAP + LINE)
    } else {
        (last + 2, SHEET.1 * (last as i32 + 1) + EDGE + LINE)
    };
    let mut out = String::new();
    // Writing to a String cannot fail, so the results are of no interest.
    let _ = writeln!(
        out,
        "<text class=\"title\" x=\"{EDGE}\" y=\"{}\">{}</text>",
        EDGE + 16,
        escape(&flow.title)
    );
    lines(&mut out, &facts, "", EDGE, EDGE + 22);
    for (at, p) in placed.iter().enumerate() {
        if let Some((parent, _)) = from[at] {
            arrow(&mut out, &placed[parent], p);
        }
    }
    for (at, p) in placed.iter().enumerate() {
        draw(&mut out, flow, at, p, from[at]);
    }
    lines(&mut out, &notes, "", EDGE, notes_y - LINE);
    (out, sheets)
}

/// The box and the way that lead to each.
fn origins(flow: &Flow) -> Vec<Option<(usize, usize)>> {
    let mut from = vec![None; flow.boxes.len()];
    for (at, b) in flow.boxes.iter().enumerate() {
        for (w, way) in b.ways.iter().enumerate() {
            if let Leads::To(next) = way.then
                && next > at
                && next < from.len()
            {
                from[next] = Some((at, w));
            }
        }
    }
    from
}

fn depths(from: &[Option<(usize, usize)>]) -> Vec<usize> {
    let mut all: Vec<usize> = Vec::new();
    for origin in from {
        all.push(origin.map_or(0, |(parent, _)| all[parent] + 1));
    }
    all
}

/// Width and height, and the lines of all texts.
fn sized(b: &Box, depth: usize, column_w: i32) -> Placed {
    let indent = INDENT * depth.min(DEEPEST) as i32;
    let w = column_w - indent;
    let inner = w - 2 * PAD;
    let caution = if b.caution.is_empty() {
        Vec::new()
    } else {
        wrapped(&format!("CAUTION: {}", b.caution), inner - NUMBER, SIZE)
    };
    // Bold letters are wider.
    let says = wrapped(&b.says, inner - NUMBER, SIZE * 1.18);
    let facts = wrapped(&b.facts, inner - NUMBER, SIZE * 0.9);
    let labels: Vec<Vec<String>> =
        b.ways.iter().map(|way| wrapped(&way.label, inner - end_w(way), SIZE)).collect();
    let text = caution.len() + says.len() + facts.len();
    let rows: i32 = labels.iter().map(|l| LINE * l.len().max(1) as i32 + 4).sum();
    let h = 2 * PAD + LINE * text.max(1) as i32 + rows;
    Placed { column: 0, x: indent, y: 0, w, h, caution, says, facts, labels }
}

/// Width of what stands at the end of a row: share and where it leads.
fn end_w(way: &Way) -> i32 {
    text_width(&way.words, SIZE) + lead_w(way) + 14
}

fn lead_w(way: &Way) -> i32 {
    text_width(&leads(way), SIZE).max(30)
}

fn leads(way: &Way) -> String {
    match &way.then {
        Leads::To(next) => format!("→ {}", next + 1),
        Leads::Out(words) => words.clone(),
    }
}

/// Column by column, sheet by sheet.
fn placed(mut all: Vec<Placed>, columns: usize, column_w: i32, top: i32) -> Vec<Placed> {
    let (mut column, mut y) = (0, top);
    for p in &mut all {
        let sheet = |column: usize| (column / columns) as i32;
        let end = SHEET.1 * (sheet(column) + 1) - EDGE;
        let begin = |column: usize| if sheet(column) == 0 { top } else { SHEET.1 * sheet(column) + EDGE };
        if y + p.h > end && y > begin(column) {
            column += 1;
            y = begin(column);
        }
        p.column = column;
        p.x += EDGE + (column % columns) as i32 * (column_w + BETWEEN);
        p.y = y;
        y += p.h + GAP;
    }
    all
}

/// From below the one box into the side of the other, where both stand in one column.
fn arrow(out: &mut String, from: &Placed, to: &Placed) {
    let y = to.y + PAD + 9;
    if from.column == to.column && to.x > from.x {
        let x = from.x + INDENT / 2;
        let _ = write!(out, "<path class=\"arrow\" d=\"M{x} {}V{y}H{}\"/>", from.y + from.h, to.x);
        head(out, to.x, y);
    }
}

fn head(out: &mut String, x: i32, y: i32) {
    let _ = writeln!(out, "<path class=\"head\" d=\"M{x} {y}l-5 -3.5v7z\"/>");
}

fn draw(out: &mut String, flow: &Flow, at: usize, p: &Placed, from: Option<(usize, usize)>) {
    let b = &flow.boxes[at];
    let (end, badge, radius) = match b.shape {
        Shape::Check => ("", "badge", 3),
        Shape::End => (" end", "badge end-badge", 10),
    };
    let came = from.map_or(String::new(), |(parent, way)| {
        format!(", after {}: {}", parent + 1, flow.boxes[parent].ways[way].label)
    });
    let _ = writeln!(
        out,
        "<g id=\"box-{0}\"><title>{0}{1}</title><rect class=\"box{end}\" x=\"{2}\" y=\"{3}\" width=\"{4}\" height=\"{5}\" \
         rx=\"{radius}\"/><rect class=\"{badge}\" x=\"{6}\" y=\"{7}\" width=\"19\" height=\"15\" rx=\"{8}\"/>\
         <text class=\"number\" x=\"{9}\" y=\"{10}\" text-anchor=\"middle\">{0}</text>",
        at + 1,
        escape(&came),
        p.x,
        p.y,
        p.w,
        p.h,
        p.x + PAD,
        p.y + PAD,
        radius.min(7),
        p.x + PAD + 9,
        p.y + PAD + 11,
    );
    let x = p.x + PAD + NUMBER;
    let mut y = p.y + PAD - 2;
    y = lines(out, &p.caution, "caution", x, y);
    y = lines(out, &p.says, "says", x, y);
    y = lines(out, &p.facts, "small", x, y) + 4;
    for (way, label) in b.ways.iter().zip(&p.labels) {
        let h = LINE * label.len().max(1) as i32 + 4;
        let inner = p.w - 2 * PAD;
        let share = (f64::from(inner) * way.share.clamp(0.0, 1.0)).round() as i32;
        let _ = write!(
            out,
            "<rect class=\"share\" x=\"{0}\" y=\"{y}\" width=\"{share}\" height=\"{1}\"/>\
             <path class=\"rule\" d=\"M{0} {y}h{inner}\"/>",
            p.x + PAD,
            h - 1,
        );
        lines(out, label, "", p.x + PAD + 2, y);
        let right = p.x + p.w - PAD - 2;
        let _ = writeln!(
            out,
            "<text x=\"{}\" y=\"{1}\" text-anchor=\"end\">{2}</text><text class=\"says\" x=\"{right}\" y=\"{1}\" \
             text-anchor=\"end\">{3}</text>",
            right - lead_w(way) - 6,
            y + LINE - 1,
            escape(&way.words),
            escape(&leads(way)),
        );
        y += h;
    }
    out.push_str("</g>\n");
}

/// Draws lines of text below `y`; gives the place below them.
fn lines(out: &mut String, all: &[String], class: &str, x: i32, y: i32) -> i32 {
    for (i, line) in all.iter().enumerate() {
        let class = if class.is_empty() { String::new() } else { format!(" class=\"{class}\"") };
        let y = y + LINE * (i as i32 + 1) - 1;
        let _ = writeln!(out, "<text{class} x=\"{x}\" y=\"{y}\">{}</text>", escape(line));
    }
    y + LINE * all.len() as i32
}

/// Breaks a text at its words into lines of this width. A word that is wider is broken anywhere.
fn wrapped(text: &str, width: i32, size: f64) -> Vec<String> {
    let fits = |line: &str| text_width(line, size * 0.9) <= width;
    let mut all: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if fits(&longer) {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            all.push(std::mem::take(&mut line));
        }
        for c in word.chars() {
            line.push(c);
            if !fits(&line) && line.chars().count() > 1 {
                line.pop();
                all.push(std::mem::replace(&mut line, c.to_string()));
            }
        }
    }
    if !line.is_empty() {
        all.push(line);
    }
    all
}
