//! `wattmend machine show FILE`: a machine file for a person, section by section.

mod parts;
mod program;
mod wiring;

use super::new::not_written;
use crate::end::{Answer, Done};
use crate::load;
use crate::render::Screen;
use crate::render::wrap::wrap;
use machine::model::{Class, Machine, Panel, PanelId};
use quantity::{Dimension, format};
use std::path::{Path, PathBuf};

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Machine file
    file: PathBuf,
    /// Variant of the model; the file's first where left out
    #[arg(long, value_name = "NAME")]
    variant: Option<String>,
    /// Draw the wiring as SVG into this file instead ("-": to standard output); an earlier drawing is replaced
    #[arg(long, value_name = "OUT")]
    svg: Option<PathBuf>,
}

/// A growing page of text.
struct Page {
    text: String,
    columns: usize,
}

impl Page {
    fn heading(&mut self, title: &str) {
        let rule = "-".repeat(title.chars().count());
        self.text.push_str(&["\n", title, "\n", &rule, "\n"].concat());
    }

    fn line(&mut self, first: &str, text: &str) {
        let rest = " ".repeat(first.chars().take_while(|c| *c == ' ').count() + 4);
        self.text.push_str(&wrap(first, &rest, text, self.columns));
    }
}

/// Runs it.
pub(crate) fn run(arguments: &Arguments, screen: &Screen) -> Answer {
    let machine = load::machine(&arguments.file, arguments.variant.as_deref(), screen)?;
    if let Some(out) = &arguments.svg {
        return draw(&machine, out);
    }
    let mut page = Page { text: String::new(), columns: screen.columns };
    plate(&machine, &mut page);
    access(&machine, &mut page);
    parts::print(&machine, &mut page);
    wiring::print(&machine, &mut page);
    program::print(&machine, &mut page);
    Ok(Done::with(page.text))
}

fn draw(machine: &Machine, out: &Path) -> Answer {
    let drawing = report::schematic(machine);
    if out == Path::new("-") {
        return Ok(Done::with(drawing));
    }
    std::fs::write(out, drawing).map_err(|error| not_written(out, &error))?;
    Ok(Done::with(format!("{} drawn.\n", out.display())))
}

fn plate(machine: &Machine, page: &mut Page) {
    let plate = &machine.plate;
    page.line("", &format!("{} {}, {}", plate.maker, plate.model, plate.kind));
    let class = match plate.class {
        Class::I => "I (earthed metal)",
        Class::II => "II (double insulation)",
        Class::III => "III (safety extra-low voltage)",
    };
    let rated = plate.rated_w.map_or(String::new(), |w| format!(", {}", format(w, Dimension::Power)));
    page.line("", &format!("{} V {} Hz{rated}, class {class}", plate.supply_v, plate.supply_hz));
    if !plate.variants.is_empty() {
        page.line("", &format!("variants: {}", plate.variants.join(", ")));
    }
}

fn access(machine: &Machine, page: &mut Page) {
    if machine.panels.is_empty() {
        return;
    }
    page.heading("Access");
    for (id, panel) in machine.panels.iter().enumerate() {
        let way = way_to(machine, &[id]);
        let total = if way.panels.len() > 1 {
            format!(", after {}", names(machine, &way.panels[..way.panels.len() - 1]))
        } else {
            String::new()
        };
        let caution =
            if panel.caution.is_empty() { String::new() } else { format!(". CAUTION: {}", panel.caution) };
        page.line(
            "  ",
            &format!("{}: {} min{total} ({} min in all){caution}", panel.name, panel.minutes, way.minutes),
        );
    }
}

/// Panels to take off, in order, and the minutes they take.
struct Way {
    panels: Vec<PanelId>,
    minutes: f64,
}

/// The way to what lies behind these panels.
fn way_to(machine: &Machine, behind: &[PanelId]) -> Way {
    let mut panels = Vec::new();
    for &panel in behind {
        take_off(&machine.panels, panel, &mut panels, machine.panels.len());
    }
    let minutes = panels.iter().map(|&p| machine.panels[p].minutes).sum();
    Way { panels, minutes }
}

/// Adds a panel after those that must be off before it. `depth` ends a circle that a file might contain.
fn take_off(all: &[Panel], panel: PanelId, off: &mut Vec<PanelId>, depth: usize) {
    if off.contains(&panel) || depth == 0 {
        return;
    }
    for &before in &all[panel].after {
        take_off(all, before, off, depth - 1);
    }
    if !off.contains(&panel) {
        off.push(panel);
    }
}

fn names(machine: &Machine, panels: &[PanelId]) -> String {
    panels.iter().map(|&p| machine.panels[p].name.as_str()).collect::<Vec<_>>().join(", ")
}
