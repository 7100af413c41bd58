//! The fault chart: the advice for a complaint, worked out for every answer beforehand, to print or to teach with.
//!
//! The suspects, checks and repairs are those of [`crate::find()`]; the planner ([`crate::plan::Course`]) says what comes first,
//! each outcome gives a belief, and so on until the machine works or the way is too rare to be printed. `grow.rs` makes the
//! nodes, `join.rs` puts answers together that lead to the same, `labels.rs` says which readings lead where.

mod grow;
mod join;
mod labels;

use crate::belief::Case;
use crate::check::Instrument;
use crate::evidence::Evidence;
use crate::finding::Action;
use crate::next;
use crate::next::troubles::Troubles;
use crate::{Find, FindError};
use grow::Grower;
use machine::model::PanelId;

pub(crate) use labels::label_of;
pub use labels::{Label, Reads};

/// How far a chart goes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Extent {
    /// A way that is rarer than this is not followed.
    pub rare: f64,
    /// Most checks and repairs one after the other.
    pub depth: usize,
    /// Most nodes.
    pub nodes: usize,
}

impl Default for Extent {
    /// Ways down to one in a hundred, 12 deep, 60 nodes.
    fn default() -> Self {
        Extent { rare: 0.01, depth: 12, nodes: 60 }
    }
}

/// A fault chart.
#[derive(Clone, Debug, PartialEq)]
pub struct Chart {
    /// The nodes, each before those that follow from it. The first one is where to begin. Never empty.
    pub nodes: Vec<Node>,
    /// The suspects to begin with, likeliest first, healthy among them (no faults).
    pub suspects: Vec<(Case, f64)>,
    /// Suspects that the chart does not reckon with have this probability together.
    pub others: f64,
    /// Expected minutes until the fault is found: all checks, with access.
    pub minutes_to_find: f64,
    /// Expected minutes of the whole job by this chart, prices counted as minutes of work.
    pub minutes: f64,
    /// No plan takes less than the first; the planner's own takes no more than the second.
    pub planned: (f64, f64),
    /// Probability of all ways that are cut.
    pub cut: f64,
    /// What the chart asks for, hands and eyes left out.
    pub instruments: Vec<Instrument>,
}

/// A check or a repair, and where it leads.
#[derive(Clone, Debug, PartialEq)]
pub struct Node {
    /// Probability of coming here.
    pub probability: f64,
    /// What to do, with its caution.
    pub does: Does,
    /// Minutes, access and proof included, as things stand here.
    pub minutes: f64,
    /// Money for parts (and the price of a live measurement), in minutes of work.
    pub price: f64,
    /// Panels to take off first; those that are off already are not among them.
    pub opens: Vec<PanelId>,
    /// The machine must be closed up first: panels are off.
    pub closes: bool,
    /// The leading suspects here.
    pub suspects: Vec<(Case, f64)>,
    /// Where it leads; the probabilities sum to 1.
    pub branches: Vec<Branch>,
}

/// What a node does.
#[derive(Clone, Debug, PartialEq)]
pub enum Does {
    /// A check, a repair, or handing the machine back.
    Act(Action),
    /// Nothing pays any more: end the job without a cure.
    GiveUp,
}

/// Where a node leads.
#[derive(Clone, Debug, PartialEq)]
pub struct Branch {
    /// What was read or seen.
    pub label: Label,
    /// Probability of it, once at the node.
    pub probability: f64,
    /// What then.
    pub then: Then,
}

/// What comes after a branch.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Then {
    /// Go on there: a place among the nodes.
    Node(usize),
    /// The job is done.
    Done,
    /// Too rare to be printed: start afresh with what is known by then.
    Afresh {
        /// Expected minutes from there, as the planner has it.
        minutes: f64,
    },
}

impl Node {
    /// The caution that goes with it; empty only where nothing can hurt.
    pub fn caution(&self) -> &str {
        match &self.does {
            Does::Act(Action::Check(check)) => &check.caution,
            Does::Act(Action::Mend { caution, .. } | Action::HandBack { caution, .. }) => caution,
            Does::GiveUp => "",
        }
    }

    /// What to do, as one sentence.
    pub fn says(&self) -> &str {
        match &self.does {
            Does::Act(Action::Check(check)) => &check.says,
            Does::Act(Action::Mend { says, .. } | Action::HandBack { says, .. }) => says,
            Does::GiveUp => "No check or repair is worth its money any more: end the job without a cure.",
        }
    }

    /// Is it a check?
    pub fn is_check(&self) -> bool {
        matches!(self.does, Does::Act(Action::Check(_)))
    }
}

impl Find<'_> {
    /// The fault chart from this evidence.
    ///
    /// # Errors
    /// As [`crate::find()`].
    pub fn chart(&mut self, evidence: &Evidence, extent: &Extent) -> Result<Chart, FindError> {
        let beliefs = self.beliefs(evidence)?;
        let belief = &self.belief;
        let troubles = Troubles::of(&beliefs);
        let checks = next::worth_thinking_about(belief, &troubles, evidence);
        let mends = next::mends(belief.machine(), &troubles.cases);
        let problem = next::problem(belief, &troubles, &checks, &mends);
        let grower =
            Grower { belief, troubles: &troubles, checks: &checks, mends: &mends, problem: &problem };
        let mut chart = join::joined(grower.grow(extent)?, belief.setup().costs.in_vain);
        let known: f64 = beliefs.cases.iter().filter(|(c, _)| troubles.cases.contains(c)).map(|c| c.1).sum();
        chart.others = (1.0 - known).max(0.0);
        for (_, p) in &mut chart.suspects {
            *p *= 1.0 - chart.others;
        }
        Ok(chart)
    }
}
