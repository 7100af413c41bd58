//! The technician: asks the customer, runs the service test, does the checks that are asked for, and slips now and then.

use crate::case::{Case, Way, World};
use crate::dice::Dice;
use diagnosis::check::{Check, CheckKind};
use diagnosis::evidence::{Answer, Clue, Entry, Evidence, Listener, Recording, Supply};
use machine::model::Machine;
use quantity::Reading;
use simulator::{Shown, Subject, record};

/// Share of readings that are taken at the wrong place, misread or mistyped.
pub(crate) const SLIPS: f64 = 0.02;

/// Ohms of bad contact under a probe, at most; the leads come on top. Common practice, no source.
const CONTACT_OHM: f64 = 0.3;

/// A code that the machine stores is looked up in so many cases. Common practice, no source.
const LOOKS_UP: f64 = 0.9;

/// The same in a rough world, and how often a figure is rounded there, a sign asked for, the supply read.
const ROUGHLY: Roughly = Roughly { looks_up: 0.6, rounds: 0.4, asks: 0.6, reads_supply: 0.4 };

struct Roughly {
    looks_up: f64,
    rounds: f64,
    asks: f64,
    reads_supply: f64,
}

pub(crate) struct Technician<'m> {
    rough: bool,
    listener: Listener<'m>,
    machine: &'m Machine,
    subject: Subject,
    dice: Dice,
    /// What a healthy machine shows in each step, as the file's see and hear would say.
    usual: Vec<Vec<&'static str>>,
    /// Readings that were wrong.
    pub(crate) slips: usize,
}

impl<'m> Technician<'m> {
    /// With the machine file, in front of the machine of a case.
    pub(crate) fn new(machine: &'m Machine, case: &Case) -> Technician<'m> {
        let subject = Subject::new(case.real.clone(), case.truth.clone(), case.setting.clone(), case.seed);
        Technician {
            rough: case.world == World::Rough,
            listener: Listener::new(machine),
            machine,
            subject,
            dice: Dice::new(case.seed ^ 0x7EC4),
            usual: usual(machine),
            slips: 0,
        }
    }

    /// Complaint and service test.
    pub(crate) fn first_look(&mut self, case: &Case) -> Evidence {
        let mut evidence = Evidence::default();
        let fails = self.subject.complaint();
        let said = if fails.is_empty() {
            // Of a sound machine anything may be said.
            let all = &self.machine.functions;
            all.get(self.dice.below(all.len())).map(|f| f.name.clone())
        } else {
            fails.get(self.dice.below(fails.len())).cloned()
        };
        if let Some(function) = said {
            let places =
                (0..self.machine.functions.len()).filter(|&f| self.machine.functions[f].name == function);
            let clue = Clue::Fails(places.collect());
            evidence.entries.extend(Entry::of_one(vec![clue], &format!("{function}: fails"), None, None));
        }
        match case.way {
            Way::Typed => self.typed(&mut evidence),
            Way::Logged => self.logged(case, &mut evidence),
        }
        evidence
    }

    fn add(&self, evidence: &mut Evidence, text: &str, answers: Option<&str>) {
        if let Ok(clues) = self.listener.reading(text) {
            evidence.entries.extend(Entry::of_one(clues, text, None, answers));
        }
    }

    /// Step by step from the display.
    fn typed(&mut self, evidence: &mut Evidence) {
        let mut volts: Vec<f64> = Vec::new();
        for step in &self.machine.test.steps {
            let Ok(shown) = self.subject.step(&step.id) else { continue };
            if shown.volts > 1.0 {
                volts.push(shown.volts);
            }
            let text = format!("step {}: {}", step.id, self.of_step(&step.id, &shown));
            self.add(evidence, &text, None);
            if shown.tripped || shown.ended {
                break;
            }
        }
        if let Some(&v) = volts.get(volts.len() / 2)
            && (!self.rough || self.dice.chance(ROUGHLY.reads_supply))
        {
            evidence.supply = Some(Supply { volts: v, u_v: 1.5 });
        }
        self.code(evidence, None);
    }

    fn code(&mut self, evidence: &mut Evidence, known: Option<String>) {
        let looks_up = if self.rough { ROUGHLY.looks_up } else { LOOKS_UP };
        if self.machine.codes.is_empty() || !self.dice.chance(looks_up) {
            return;
        }
        let mut code = known.or_else(|| self.subject.code());
        if self.slipped() {
            let all = &self.machine.codes;
            code = all.get(self.dice.below(all.len())).map(|c| c.id.clone());
        }
        let text = code.unwrap_or_else(|| "none".to_owned());
        if let Ok(clue) = self.listener.code(&text) {
            evidence.entries.extend(Entry::of_one(vec![clue], &format!("code {text}"), None, None));
        }
    }

    fn logged(&mut self, case: &Case, evidence: &mut Evidence) {
        let made = record(&case.real, &case.truth, &case.setting, case.seed);
        let step = |id: &String| self.machine.test.steps.iter().position(|s| s.id == *id);
        let marks = made.marks.iter().filter_map(|(at, id)| Some((*at, step(id)?))).collect();
        evidence.trace =
            Some(Recording { name: "made up".to_owned(), samples: made.samples, marks, edges: Vec::new() });
        for (id, sign, seen) in &made.seen {
            if !self.asks() {
                continue;
            }
            let said = format!("{id}: {sign}");
            if let Ok(clue) = self.listener.saw(&said, Some(if *seen { "yes" } else { "no" })) {
                evidence.entries.extend(Entry::of_one(vec![clue], &said, None, None));
            }
        }
        self.code(evidence, made.code);
    }

    fn slipped(&mut self) -> bool {
        let slips = self.dice.chance(SLIPS);
        self.slips += usize::from(slips);
        slips
    }

    /// What is said of a step.
    fn of_step(&mut self, id: &str, shown: &Shown) -> String {
        let mut watts = shown.watts;
        if self.slipped() {
            watts = if self.dice.chance(0.5) { watts * 10.0 } else { self.dice.between(0.0, 2000.0).round() };
        }
        let mut text = self.watts(watts);
        let place = self.machine.test.steps.iter().position(|s| s.id == id);
        let usual = place.map_or(Vec::new(), |p| self.usual[p].clone());
        for sign in &shown.signs {
            if self.asks() {
                text.push_str(&format!(", {sign}"));
            }
        }
        for sign in usual.iter().filter(|s| !shown.signs.contains(s)) {
            if self.asks() {
                text.push_str(&format!(", not {sign}"));
            }
        }
        if shown.timed_out {
            text.push_str(", does not end in time");
        }
        if let Some(code) = &shown.code {
            text.push_str(&format!(", code {code}"));
        }
        text
    }

    fn asks(&mut self) -> bool {
        !self.rough || self.dice.chance(ROUGHLY.asks)
    }

    /// Watts as they are typed: in a rough world "2.1 kW" and "140 W" now and then.
    fn watts(&mut self, watts: f64) -> String {
        if !self.rough || !self.dice.chance(ROUGHLY.rounds) {
            return format!("{watts:.0} W");
        }
        match watts {
            w if w >= 1000.0 => format!("{:.1} kW", w / 1000.0),
            w if w >= 100.0 => format!("{:.0} W", (w / 10.0).round() * 10.0),
            w => format!("{w:.0} W"),
        }
    }

    /// Does a check, and enters its answer. A check that cannot be done is passed over.
    pub(crate) fn answer(&mut self, check: &Check, evidence: &mut Evidence) {
        let text = self.text(check);
        let said = text.as_deref().unwrap_or("could not");
        let answer = self.listener.asked(&check.id).and_then(|asked| self.listener.answer(asked, said));
        match answer {
            Ok(Answer::Says(clues)) => {
                let words = format!("{} = {said}", check.id);
                evidence.entries.extend(Entry::of_one(clues, &words, None, Some(&check.id)));
            }
            _ => evidence.declined.push(check.id.clone()),
        }
    }

    fn text(&mut self, check: &Check) -> Option<String> {
        if let Some(step) = check.step {
            let id = self.machine.test.steps[step].id.clone();
            let shown = self.subject.step(&id).ok()?;
            return Some(self.of_step(&id, &shown));
        }
        if let Some([a, b]) = &check.between {
            let off: Vec<&str> = check.unplugged.iter().map(String::as_str).collect();
            let reading = if check.kind == CheckKind::Insulation {
                self.subject.insulation(a, b, &off).ok()?
            } else {
                self.subject.ohms(a, b, &off).ok()?
            };
            return Some(self.ohms(reading));
        }
        let mut words = check.id.split(' ');
        let yes = match (words.next()?, words.next()?, words.next()) {
            ("hand", part, Some(check)) => self.subject.hand_check(part, check).ok()?,
            ("own", check, None) => self.subject.own_check(check).ok()?,
            ("swap", part, None) => self.subject.swap(part).ok()?,
            _ => return None,
        };
        Some(if yes { "yes" } else { "no" }.to_owned())
    }

    fn ohms(&mut self, reading: Reading) -> String {
        let contact = self.dice.between(0.0, CONTACT_OHM);
        if self.slipped() {
            // Another pair of terminals, or one probe on nothing.
            let strange = 10f64.powf(self.dice.between(-1.0, 4.0));
            return if self.dice.chance(0.5) { "OL".to_owned() } else { format!("{strange:.1}") };
        }
        match reading {
            Reading::OverRange { .. } => "OL".to_owned(),
            Reading::Value(v) if v.resolution < 1.0 => format!("{:.1}", v.value + contact),
            Reading::Value(v) => format!("{:.0}", v.value),
        }
    }

    /// Does it work, as the customer sees it?
    pub(crate) fn works(&self) -> bool {
        self.subject.works()
    }

    /// Mends a part: does the machine work now?
    pub(crate) fn mend(&mut self, part: usize) -> bool {
        let id = self.machine.parts[part].id.clone();
        self.subject.swap(&id).unwrap_or(false)
    }
}

fn usual(machine: &Machine) -> Vec<Vec<&'static str>> {
    let conditions = bench::Conditions::at(machine.plate.supply_v);
    let all = bench::predict(machine, &bench::Hypothesis::healthy(), &conditions);
    all.into_iter().map(|p| p.signs).collect()
}
