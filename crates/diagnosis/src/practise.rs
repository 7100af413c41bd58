//! Practice: what each step of a learner costs, and what it was worth against the best that could have been done.
//!
//! The coach believes what the evidence says, no more: what a step was worth is judged by what could be known before it, never
//! by what the fault turned out to be. So bad luck is no mistake, and a lucky guess no merit.

use crate::belief::Case;
use crate::chart::{Label, label_of};
use crate::check::{Check, CheckKind, Power};
use crate::evidence::{Asked, Entry, Evidence};
use crate::next::candidates::{self, insulation, panels, probe, reach};
use crate::next::outcomes;
use crate::next::troubles::Troubles;
use crate::next::{self, Candidate, ISOLATE_MINUTES, Mending};
use crate::plan::{Course, Effort, Move};
use crate::setup::Setup;
use crate::{Find, FindError};
use machine::kind::Mend;
use machine::model::{Machine, PanelId, PartId, node};

/// States for the plan before a step, and for that after each of its outcomes.
const BEFORE: usize = 30_000;
const AFTER: usize = 4_000;

/// What a learner does.
#[derive(Clone, Debug, PartialEq)]
pub enum Doing {
    /// Finds something out.
    Check(Check),
    /// Mends or changes a part.
    Mend(PartId),
    /// Hands the machine back as it is.
    HandBack,
}

/// What a step takes as things stand.
#[derive(Clone, Debug, PartialEq)]
pub struct Bill {
    /// Minutes, access included.
    pub minutes: f64,
    /// Price of a part or of a live measurement, in minutes of work.
    pub price: f64,
    /// Panels that come off.
    pub opens: Vec<PanelId>,
    /// The machine is closed up first.
    pub closes: bool,
}

impl Bill {
    /// Minutes and price.
    pub fn sum(&self) -> f64 {
        self.minutes + self.price
    }
}

/// What a step was worth before it was done.
#[derive(Clone, Debug, PartialEq)]
pub struct Judgement {
    /// Expected minutes to the end by the best plan.
    pub best: f64,
    /// Expected minutes to the end with this step first, and the best plan after it.
    pub with: f64,
    /// What the best plan does first.
    pub instead: String,
    /// What it could have shown that would have paid for it, likeliest first. Empty: nothing it can show would.
    pub worth: Vec<Worth>,
    /// It can tell suspects apart at all, or mend one.
    pub tells: bool,
}

impl Judgement {
    /// Minutes that the step costs beyond the best one, on average.
    pub fn wasted(&self) -> f64 {
        (self.with - self.best).max(0.0)
    }
}

/// A result that pays for its check.
#[derive(Clone, Debug, PartialEq)]
pub struct Worth {
    /// What it would show.
    pub label: Label,
    /// How likely that was.
    pub probability: f64,
    /// Minutes that it would save beyond what the check takes.
    pub saves: f64,
}

/// The best plan from the start.
#[derive(Clone, Debug, PartialEq)]
pub struct Best {
    /// No plan takes less on average.
    pub lower: f64,
    /// The best plan known takes so much on average.
    pub upper: f64,
    /// What that plan takes under each suspect.
    by_suspect: Vec<(Case, f64)>,
}

impl Best {
    /// What the best plan takes when this is what is wrong; none where it does not reckon with it.
    pub fn when(&self, faults: &bench::Hypothesis) -> Option<f64> {
        let here = |c: &&(Case, f64)| c.0.faults == *faults && c.0.sometimes.is_empty();
        self.by_suspect.iter().find(here).map(|c| c.1)
    }
}

/// Watches a learner.
pub struct Coach<'m> {
    machine: &'m Machine,
    find: Find<'m>,
    setup: Setup,
    evidence: Evidence,
    /// Access states that are open: panels, and the supply isolated (the number of panels).
    open: Vec<usize>,
}

impl<'m> Coach<'m> {
    /// From what the customer says. Nobody is called back in practice: a repair in vain costs its own minutes and price alone.
    ///
    /// # Errors
    /// As [`crate::find()`].
    pub fn new(machine: &'m Machine, evidence: Evidence, mut setup: Setup) -> Result<Coach<'m>, FindError> {
        setup.costs.in_vain = 0.0;
        let find = Find::new(machine, &evidence, &setup)?;
        Ok(Coach { machine, find, setup, evidence, open: Vec::new() })
    }

    /// Everything that can be checked on this machine, in a fixed order.
    pub fn checks(&self) -> Vec<Check> {
        let all: Vec<PartId> = (0..self.machine.parts.len()).collect();
        candidates::candidates(self.machine, &self.setup, &all)
    }

    /// The check that asks this: one of [`Coach::checks`], or ohms between two points nobody thought of.
    pub fn check(&self, asked: &Asked, id: &str) -> Option<Check> {
        let all = self.checks();
        if let Some(check) = all.iter().find(|c| c.id == id) {
            return Some(check.clone());
        }
        let Asked::Ohms { points, names, unplugged, insulation: is_insulation } = asked else { return None };
        let kind = if *is_insulation { CheckKind::Insulation } else { CheckKind::Resistance };
        // The same points by other names or the other way round.
        let same = |c: &&Check| {
            let ends = |name: &String| bench::find_node(self.machine, name).ok();
            c.kind == kind
                && c.unplugged.len() == unplugged.len()
                && c.unplugged.iter().all(|u| unplugged.contains(u))
                && c.between.as_ref().is_some_and(|[a, b]| {
                    let (a, b) = (ends(a), ends(b));
                    let [x, y] = points.map(Some);
                    (a == x && b == y) || (a == y && b == x)
                })
        };
        if let Some(check) = all.iter().find(same) {
            return Some(check.clone());
        }
        let mut behind: Vec<PanelId> = Vec::new();
        for (name, point) in names.iter().zip(points) {
            if ![node::LINE, node::NEUTRAL, node::EARTH, node::CHASSIS].contains(point) {
                behind.extend(reach(self.machine, name));
            }
        }
        let [a, b] = names;
        let check = probe(self.machine, [a, b], unplugged.clone(), panels(self.machine, &behind));
        let check = if *is_insulation { insulation(check) } else { check };
        self.setup.owns(check.instrument).is_some().then_some(check)
    }

    /// What a step takes as things stand.
    pub fn bill(&self, doing: &Doing) -> Bill {
        let costs = &self.setup.costs;
        let isolated = self.machine.panels.len();
        let (own, price, mut needs, closes) = match doing {
            Doing::Check(check) => {
                let dead =
                    check.power == Power::Dead && (!check.access.is_empty() || check.between.is_some());
                let price = if check.power == Power::Live { costs.live } else { 0.0 };
                let needs = check.access.iter().copied().chain(dead.then_some(isolated)).collect();
                (check.minutes, price, needs, check.power == Power::Closed)
            }
            Doing::Mend(part) => {
                let fit = self.is_fitted(*part);
                let mut needs = panels(self.machine, &self.machine.parts[*part].behind);
                needs.push(isolated);
                let price = if fit { costs.parts.get(part).copied().unwrap_or(costs.part) } else { 0.0 };
                (costs.mending(fit) + costs.proof, price, needs, false)
            }
            Doing::HandBack => (costs.showing, 0.0, Vec::new(), false),
        };
        needs.retain(|a| closes || !self.open.contains(a));
        let minutes = |a: &usize| self.machine.panels.get(*a).map_or(ISOLATE_MINUTES, |p| p.minutes);
        Bill {
            minutes: own + needs.iter().map(minutes).sum::<f64>(),
            price,
            opens: needs.iter().copied().filter(|a| *a < isolated).collect(),
            closes: closes && self.open.iter().any(|a| *a < isolated),
        }
    }

    /// Is the part changed rather than cleaned or re-made? By what is suspected of it, or by what most of its faults need.
    fn is_fitted(&self, part: PartId) -> bool {
        let part = &self.machine.parts[part];
        let fits = part.kind.modes.iter().zip(&part.rates).filter(|(_, rate)| **rate > 0.0);
        fits.into_iter().any(|(mode, _)| mode.mend == Mend::Fit)
    }

    /// The best plan from here.
    ///
    /// # Errors
    /// As [`crate::find()`].
    pub fn best(&mut self) -> Result<Best, FindError> {
        let beliefs = self.find.beliefs(&self.evidence)?;
        let belief = &self.find.belief;
        let troubles = Troubles::of(&beliefs);
        let checks = next::worth_thinking_about(belief, &troubles, &self.evidence);
        let mends = next::mends(self.machine, &troubles.cases);
        let problem = next::problem(belief, &troubles, &checks, &mends);
        let course = Course::new(&problem)?;
        let (plan, costs) =
            course.plan_by_suspect(&course.start(&self.open), &Effort { states: 2 * BEFORE, gap: 0.0 });
        let by_suspect = troubles.cases.iter().cloned().zip(costs).collect();
        Ok(Best { lower: plan.lower, upper: plan.upper, by_suspect })
    }

    /// What a step is worth before it is done.
    ///
    /// # Errors
    /// As [`crate::find()`].
    pub fn judge(&mut self, doing: &Doing) -> Result<Judgement, FindError> {
        let bill = self.bill(doing);
        let beliefs = self.find.beliefs(&self.evidence)?;
        let (machine, belief) = (self.machine, &self.find.belief);
        let troubles = Troubles::of(&beliefs);
        let mut checks = next::worth_thinking_about(belief, &troubles, &self.evidence);
        if let Doing::Check(check) = doing
            && !checks.iter().any(|c| c.check.id == check.id)
        {
            let found = belief.with_predictions(|p| {
                outcomes::outcomes(machine, &self.setup, p, check, &troubles.cases, false)
            });
            checks.extend(found.map(|outcomes| Candidate { check: check.clone(), outcomes }));
        }
        let mends = next::mends(machine, &troubles.cases);
        let problem = next::problem(belief, &troubles, &checks, &mends);
        let course = Course::new(&problem)?;
        let start = course.start(&self.open);
        let (plan, by_suspect) = course.plan_by_suspect(&start, &Effort { states: BEFORE, gap: 0.0 });
        let step = match doing {
            Doing::Check(check) => checks.iter().position(|c| c.check.id == check.id),
            Doing::Mend(part) => {
                let of = |m: &Mending| matches!(m, Mending::Part { part: p, .. } if p == part);
                mends.iter().position(of).map(|m| m + checks.len())
            }
            Doing::HandBack => {
                mends.iter().position(|m| matches!(m, Mending::Nothing)).map(|m| m + checks.len())
            }
        };
        let first = plan.choices.iter().find_map(|c| course.take(&start, c.step).map(|_| c.step));
        let instead = match first {
            Some(Move::Step(i)) if i < checks.len() => checks[i].check.says.clone(),
            Some(Move::Step(i)) => mends[i - checks.len()].says(belief),
            _ => "End the job without a cure.".to_owned(),
        };
        let Some((step, taken)) = step.and_then(|s| Some((s, course.take(&start, Move::Step(s))?))) else {
            let best = plan.upper;
            return Ok(Judgement { best, with: best + bill.sum(), instead, worth: Vec::new(), tells: false });
        };
        let listed =
            plan.choices.iter().find(|c| c.step == Move::Step(step)).map_or(f64::INFINITY, |c| c.upper);
        let mut with = taken.cost;
        let mut worth = Vec::new();
        for way in &taken.ways {
            let after = course.plan(&way.point, &Effort { states: AFTER, gap: 0.0 }).upper;
            with += way.probability * after;
            let without: f64 = way.point.belief().iter().zip(&by_suspect).map(|(b, c)| b * c).sum();
            let saves = without - after - taken.cost;
            if let Some(candidate) = checks.get(step)
                && saves > 0.0
            {
                let label = label_of(belief, &troubles, candidate, way.outcome, start.belief());
                worth.push(Worth { label, probability: way.probability, saves });
            }
        }
        worth.sort_by(|a, b| b.probability.total_cmp(&a.probability));
        let with = with.min(listed);
        Ok(Judgement { best: plan.upper.min(with), with, instead, worth, tells: true })
    }

    /// The step was done: panels are off, or on again.
    pub fn done(&mut self, doing: &Doing) {
        let isolated = self.machine.panels.len();
        let needs: Vec<usize> = match doing {
            Doing::Check(check) => {
                if check.power == Power::Closed {
                    self.open.clear();
                }
                let dead =
                    check.power == Power::Dead && (!check.access.is_empty() || check.between.is_some());
                check.access.iter().copied().chain(dead.then_some(isolated)).collect()
            }
            Doing::Mend(part) => {
                let mut needs = panels(self.machine, &self.machine.parts[*part].behind);
                needs.push(isolated);
                needs
            }
            Doing::HandBack => Vec::new(),
        };
        for access in needs {
            if !self.open.contains(&access) {
                self.open.push(access);
            }
        }
    }

    /// What was learned.
    pub fn learn(&mut self, entries: Vec<Entry>) {
        self.evidence.entries.extend(entries);
    }

    /// What to do with a part, and what could hurt.
    pub fn mend(&self, part: PartId) -> (String, String) {
        let machine = self.machine;
        let access = panels(machine, &machine.parts[part].behind);
        let name = machine.parts[part].in_words();
        let says = if self.is_fitted(part) {
            format!("Fit a new {name}.")
        } else {
            format!("Clean, clear or re-make {name}.")
        };
        (says, candidates::cautions(machine, "", &access, true))
    }
}
