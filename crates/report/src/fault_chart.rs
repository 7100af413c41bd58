//! A fault chart in words and as boxes to be drawn.

use crate::finding::words;
use crate::flow::{Box, Flow, Leads, Shape, Way};
use diagnosis::chart::{Branch, Chart, Does, Extent, Node, Then};
use diagnosis::check::{CheckKind, Instrument, Power};
use diagnosis::evidence::Evidence;
use diagnosis::finding::Action;
use machine::model::Machine;

/// Whom every chart defers to; it stands at its head.
pub const DEFERS: &str = "For competent persons. Local rules and the maker's safety text come first; live work, gas, microwave \
    ovens and sealed refrigerant circuits are for licensed people. Prove the machine safe with an electrical safety test \
    before it is handed over.";

/// A chart with what it was made from.
pub struct Charted<'m> {
    /// The machine.
    pub machine: &'m Machine,
    /// Its variant.
    pub variant: Option<&'m str>,
    /// What was known to begin with.
    pub evidence: &'m Evidence,
    /// How far the chart goes.
    pub extent: Extent,
    /// The chart.
    pub chart: Chart,
}

impl Charted<'_> {
    /// `Fault chart: does not heat`.
    pub fn title(&self) -> String {
        let said: Vec<&str> = self.evidence.entries.iter().map(|e| e.said.as_str()).collect();
        format!("Fault chart: {}", said.join(", "))
    }

    /// Maker, model, kind, variant.
    pub fn name(&self) -> String {
        let plate = &self.machine.plate;
        let variant =
            self.variant.filter(|v| *v != plate.model).map_or(String::new(), |v| format!(", variant {v}"));
        format!("{} {}, {}{variant}", plate.maker, plate.model, plate.kind)
    }

    /// Instruments, and what the whole job takes.
    pub fn takes(&self) -> String {
        let chart = &self.chart;
        let mut all: Vec<&str> = chart
            .instruments
            .iter()
            .filter(|i| **i != Instrument::None)
            .map(|i| words::instrument(*i))
            .collect();
        all.sort_unstable();
        let with = if all.is_empty() { "no instrument".to_owned() } else { all.join(", ") };
        format!(
            "Needs: {with}. On average {:.0} min to find the fault, {:.0} min for the whole job, prices of parts counted \
             as minutes of work.",
            chart.minutes_to_find, chart.minutes
        )
    }

    /// How to read it; `afresh` says how one starts again where the chart ends.
    pub fn how_to_read(&self, afresh: &str) -> Vec<String> {
        let share = words::per_cent;
        let mut all = vec![
            "A reading between two branches: take the nearer one. Per cent say how often the way is taken from there; they \
             come from the fault rates and the wiring in the machine file."
                .to_owned(),
        ];
        if self.chart.cut > 0.0 {
            all.push(format!(
                "Ways rarer than {} are not printed ({} together): start afresh there with {afresh} and all readings so \
                 far.",
                share(self.extent.rare),
                share(self.chart.cut)
            ));
        }
        if self.chart.others > 5e-4 {
            all.push(format!(
                "Suspects too unlikely for the chart have {} together: where no branch fits, start afresh too.",
                share(self.chart.others)
            ));
        }
        all
    }

    /// The chart as boxes on sheets.
    pub fn flow(&self, afresh: &str) -> Flow {
        let from = came_from(&self.chart);
        Flow {
            title: self.title(),
            facts: vec![self.name(), self.takes(), DEFERS.to_owned()],
            boxes: self.chart.nodes.iter().zip(from).map(|(node, from)| self.a_box(node, from)).collect(),
            notes: self.how_to_read(afresh),
        }
    }

    fn a_box(&self, node: &Node, from: Option<(usize, usize)>) -> Box {
        let after = from.map_or(String::new(), |(n, _)| format!("after {}; ", n + 1));
        let way = |branch: &Branch| Way {
            label: branch.label.says(),
            share: branch.probability,
            words: words::per_cent(branch.probability),
            then: match branch.then {
                Then::Node(next) => Leads::To(next),
                _ => Leads::Out(leads_out(node, branch).to_owned()),
            },
        };
        Box {
            shape: if node.is_check() { Shape::Check } else { Shape::End },
            caution: node.caution().to_owned(),
            says: node.says().to_owned(),
            facts: format!("{after}{}", takes(self.machine, node)),
            ways: node.branches.iter().map(way).collect(),
        }
    }
}

/// For each node, the node and its branch that lead to it.
pub fn came_from(chart: &Chart) -> Vec<Option<(usize, usize)>> {
    let mut from = vec![None; chart.nodes.len()];
    for (at, node) in chart.nodes.iter().enumerate() {
        for (b, branch) in node.branches.iter().enumerate() {
            if let Then::Node(next) = branch.then {
                from[next] = Some((at, b));
            }
        }
    }
    from
}

/// What a way that leads to no other node comes to: `done`, `end`, `afresh`; for one that does, nothing.
pub fn leads_out(node: &Node, branch: &Branch) -> &'static str {
    match branch.then {
        Then::Node(_) => "",
        Then::Done if node.does == Does::GiveUp => "end",
        Then::Done => "done",
        Then::Afresh { .. } => "afresh",
    }
}

/// With what, how long, what comes off, what it costs.
pub fn takes(machine: &Machine, node: &Node) -> String {
    let mut all: Vec<String> = Vec::new();
    match &node.does {
        Does::Act(Action::Check(check)) => {
            all.push(words::instrument(check.instrument).to_owned());
            // Whether eyes and hands want a dead machine, their caution says.
            let supply = match check.power {
                Power::Dead if check.kind == CheckKind::Observation => "",
                Power::Dead => "machine dead",
                Power::Closed => "machine closed up and running",
                Power::Live => "LIVE, for competent persons only",
            };
            all.extend((!supply.is_empty()).then(|| supply.to_owned()));
        }
        Does::Act(Action::Mend { .. }) => all.push("with the run that proves it".to_owned()),
        Does::Act(Action::HandBack { .. }) => {}
        Does::GiveUp => return "Agree with the customer what is to become of the machine.".to_owned(),
    }
    all.push(words::minutes(node.minutes));
    if node.closes {
        all.push("close up first".to_owned());
    }
    if !node.opens.is_empty() {
        all.push(format!("off come: {}", words::panels(machine, &node.opens)));
    }
    if node.price > 0.0 {
        all.push(format!("part worth {} of work", words::minutes(node.price)));
    }
    all.join("; ")
}
