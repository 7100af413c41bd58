//! What a person says of one machine, as clues: one method a form of words. The evidence file and the command line share
//! them, so that the same words mean the same everywhere.

use super::piece::{Piece, named, plain};
use super::{Clue, NotUnderstood, OhmsReading, StepReading, Supply, VoltsReading, complaint};
use bench::{Conditions, Hypothesis, Sweep, find_node};
use machine::diagnostic::nearest;
use machine::model::Machine;
use quantity::{Decoded, Dimension, Reading, parse, parse_reading, parse_toleranced};
use std::cell::OnceCell;

/// Highest supply that is believed, V: line to line of a three-phase supply and a tenth.
const HIGHEST_V: f64 = 440.0;
/// Most water that is believed, l.
const MOST_L: f64 = 200.0;
/// Said of a step that its condition did not end.
const TIMES_OUT: &str = "does not end in time";
/// What may be said of a step: dimension, the most that is believed of it (base unit), how that is written.
const STEP_TAKES: [(Dimension, f64, &str); 4] = [
    (Dimension::Power, 30e3, "30 kW"),
    (Dimension::Current, 100.0, "100 A"),
    (Dimension::Speed, 5000.0, "5000 rpm"),
    (Dimension::Time, 86_400.0, "24 h"),
];

/// Understands what a person says of one machine.
pub struct Listener<'m> {
    machine: &'m Machine,
    /// Signs that some step shows, healthy or with a single fault; worked out when first asked for.
    signs: OnceCell<Vec<&'static str>>,
}

impl<'m> Listener<'m> {
    /// For this machine.
    pub fn new(machine: &'m Machine) -> Self {
        Listener { machine, signs: OnceCell::new() }
    }

    /// The machine.
    pub fn machine(&self) -> &'m Machine {
        self.machine
    }

    /// `238 V`, `238 V ±1 %`; half a per cent where no tolerance is given, as a meter that logs volts.
    pub fn supply(&self, text: &str) -> Result<Supply, NotUnderstood> {
        let volts = parse_toleranced(text, Dimension::Voltage)?;
        if !(1.0..=HIGHEST_V).contains(&volts.nominal) {
            return Err(Piece::whole(text)
                .refused("out-of-reach", "no socket has this voltage")
                .mend(format!("give 1 to {HIGHEST_V} V")));
        }
        let stated = volts.standard_uncertainty();
        let u_v = if stated > 0.0 { stated } else { Conditions::at(volts.nominal).supply_u_v };
        Ok(Supply { volts: volts.nominal, u_v })
    }

    /// `5 l`: litres in the machine at the start.
    pub fn water(&self, text: &str) -> Result<f64, NotUnderstood> {
        let litres = parse(text, Dimension::Volume)?;
        if (0.0..=MOST_L).contains(&litres) {
            return Ok(litres);
        }
        Err(Piece::whole(text)
            .refused("out-of-reach", "no machine holds so much water")
            .mend(format!("give 0 to {MOST_L} l")))
    }

    /// What the customer says fails: a complaint of the file, the like of one, or the name of a function.
    pub fn complaint(&self, text: &str) -> Result<Clue, NotUnderstood> {
        let places = complaint::functions(self.machine, text);
        if !places.is_empty() {
            return Ok(Clue::Fails(places));
        }
        let can_be_said: Vec<&str> =
            self.machine.functions.iter().flat_map(|f| f.complaints.iter().map(String::as_str)).collect();
        let remedy = if can_be_said.is_empty() {
            "the machine file has no [function.…] with complaints: add one, or leave the complaint out"
                .to_owned()
        } else {
            format!("say one of: {}", can_be_said.join("; "))
        };
        Err(Piece::whole(text)
            .refused("unknown-complaint", "no function of this machine has such a complaint")
            .mend(remedy))
    }

    /// A function that works, by its name.
    pub fn works(&self, text: &str) -> Result<Clue, NotUnderstood> {
        self.function(text).map(Clue::Works)
    }

    /// How often a function, by its name, was asked for and worked.
    pub fn cycles(&self, function: &str, worked: u32, failed: u32) -> Result<Clue, NotUnderstood> {
        Ok(Clue::Cycles { function: self.function(function)?, worked, failed })
    }

    fn function(&self, text: &str) -> Result<usize, NotUnderstood> {
        let names = self.machine.functions.iter().map(|f| f.name.as_str());
        named(Piece::whole(text), "function", "functions", names)
    }

    /// The code that is shown or stored, or `none`.
    pub fn code(&self, text: &str) -> Result<Clue, NotUnderstood> {
        let piece = Piece::whole(text);
        let ids = || self.machine.codes.iter().map(|c| c.id.as_str());
        if piece.text.eq_ignore_ascii_case("none") && !ids().any(|id| id == piece.text) {
            return Ok(Clue::Code(None));
        }
        let found = named(piece, "code", "codes", ids());
        found.map(|code| Clue::Code(Some(code))).map_err(|e| e.or("none, where it shows no code"))
    }

    /// The lamps that are lit, for a machine that shows its codes so; none lit: no code.
    pub fn lamps(&self, lit: &[&str]) -> Result<Clue, NotUnderstood> {
        let mut lit: Vec<String> = lit.iter().map(|l| plain(l)).collect();
        lit.retain(|l| !l.is_empty());
        lit.sort_unstable();
        lit.dedup();
        if lit.is_empty() {
            return Ok(Clue::Code(None));
        }
        let with_lamps = || self.machine.codes.iter().enumerate().filter(|(_, c)| !c.lamps.is_empty());
        let shows = |lamps: &[String]| {
            let mut lamps: Vec<String> = lamps.iter().map(|l| plain(l)).collect();
            lamps.sort_unstable();
            lamps == lit
        };
        let found: Vec<usize> = with_lamps().filter(|(_, c)| shows(&c.lamps)).map(|(at, _)| at).collect();
        if let [code] = found[..] {
            return Ok(Clue::Code(Some(code)));
        }
        let known: Vec<String> = with_lamps().flat_map(|(_, c)| c.lamps.iter().map(|l| plain(l))).collect();
        let strange = lit.iter().find(|l| !known.contains(l));
        let (message, remedy) = match strange {
            _ if found.len() > 1 => {
                let ids: Vec<&str> = found.iter().map(|&c| self.machine.codes[c].id.as_str()).collect();
                (
                    "more than one code lights these lamps".to_owned(),
                    format!("give the code: {}", ids.join(" or ")),
                )
            }
            _ if known.is_empty() => (
                "this machine shows no code by lamps".to_owned(),
                "give the code as the display shows it".to_owned(),
            ),
            Some(lamp) => (
                format!("no code of this machine lights `{lamp}`"),
                match nearest(lamp, known.iter().map(String::as_str)) {
                    Some(near) => format!("did you mean {near}?"),
                    None => format!("codes by lamps: {}", patterns(self.machine)),
                },
            ),
            None => (
                format!("no code lights {} and no others", lit.join(", ")),
                format!("codes by lamps: {}", patterns(self.machine)),
            ),
        };
        Err(NotUnderstood { rule: "unknown-lamps", span: None, message, remedy })
    }

    /// `element.1 element.2 = OL`, `J2.1 J2.3 off J2 = 26R4`, `insulation element.1 chassis = 2M`,
    /// `volts element.1 element.2 in warm = 229 V`, `step heat: 2.02 kW 8,8 A, drum turns, code F1`. Only a step can say more than one thing.
    pub fn reading(&self, text: &str) -> Result<Vec<Clue>, NotUnderstood> {
        let whole = Piece::whole(text);
        if let Some(step) = whole.after_word("step") {
            let Some((id, values)) = step.split_at_first([':', '=']) else {
                return Err(whole
                    .refused("not-a-reading", "a colon between the step and what was read is missing")
                    .mend("write for instance: step warm: 2.02 kW 8,8 A"));
            };
            return self.of_step(self.step(id)?, values);
        }
        if let (Some(volts), Some(_)) = (whole.after_word("volts"), whole.split_at_last('=')) {
            let Some((asked, shown)) = volts.split_at_last('=') else { return Err(not_volts(volts)) };
            let (names, step) = self.volts_asked(asked)?;
            return Ok(vec![Clue::Volts(VoltsReading { names, step, shown: shown_volts(shown)? })]);
        }
        if let Some((points, shown)) = whole.split_at_last('=') {
            return Ok(vec![Clue::Ohms(self.ohms(points, shown)?)]);
        }
        if let Some((id, values)) = whole.split_at_first([':']) {
            return self.of_step(self.step(id)?, values);
        }
        Err(whole
            .refused("not-a-reading", "this is neither ohms between two points nor what a step read")
            .mend("write for instance: element.1 element.2 = 26R4")
            .or("step warm: 2.02 kW 8,8 A"))
    }

    /// What a step read and showed, parted by `, ` or `;`: values, signs (`not` before one that was missing), the code.
    pub(super) fn of_step(&self, step: usize, text: Piece<'_>) -> Result<Vec<Clue>, NotUnderstood> {
        let mut reading = StepReading { step, ..StepReading::default() };
        let mut clues = Vec::new();
        let mut read = false;
        for piece in text.listed() {
            if plain(piece.text) == TIMES_OUT {
                reading.lasted_s = Some(self.times_out(step, piece)?);
                read = true;
                continue;
            }
            let negated = piece.after_word("not").or_else(|| piece.after_word("no"));
            if negated.is_some_and(|n| n.text == "code") {
                clues.push(Clue::Code(None));
            } else if let Some(code) = piece.after_word("code") {
                clues.push(self.code(code.text).map_err(|e| e.at(code))?);
            } else if piece.text.starts_with(|c: char| c.is_alphabetic()) && !piece.text.starts_with("and ") {
                let sign = self.sign(negated.unwrap_or(piece))?;
                clues.push(Clue::Sign { step, sign, seen: negated.is_none() });
            } else {
                read_into(&mut reading, piece)?;
                read = true;
            }
        }
        if read {
            clues.insert(0, Clue::Step(reading));
        }
        if clues.is_empty() {
            return Err(text
                .refused("nothing-read", "what was read is missing")
                .mend("write for instance 2.02 kW 8,8 A"));
        }
        Ok(clues)
    }

    /// The place of a step by its key.
    pub fn step_named(&self, id: &str) -> Result<usize, NotUnderstood> {
        self.step(Piece::whole(id))
    }

    pub(super) fn step(&self, id: Piece<'_>) -> Result<usize, NotUnderstood> {
        named(id, "step", "steps", self.machine.test.steps.iter().map(|s| s.id.as_str()))
    }

    fn ohms(&self, points: Piece<'_>, shown: Piece<'_>) -> Result<OhmsReading, NotUnderstood> {
        let (points, insulation) = match (points.after_word("insulation"), points.after_word("ohms")) {
            (Some(rest), _) => (rest, true),
            (None, Some(rest)) => (rest, false),
            (None, None) => (points, false),
        };
        let Probes { points, names, unplugged } = self.probes(points)?;
        Ok(OhmsReading { points, names, unplugged, shown: shown_ohms(shown)?, insulation })
    }

    /// `A B in STEP`.
    pub(super) fn volts_asked(&self, text: Piece<'_>) -> Result<([String; 2], usize), NotUnderstood> {
        let words = text.words();
        let Some(at) = words.iter().position(|w| w.text == "in").filter(|at| *at > 0 && at + 1 < words.len())
        else {
            return Err(not_volts(text));
        };
        let Probes { names, unplugged, .. } = self.probes(text.stretch(words[0], words[at - 1]))?;
        if !unplugged.is_empty() {
            return Err(not_volts(text));
        }
        let step = self.step(text.stretch(words[at + 1], words[words.len() - 1]))?;
        Ok((names, step))
    }

    /// `A B` or `A B off X Y`.
    pub(super) fn probes(&self, text: Piece<'_>) -> Result<Probes, NotUnderstood> {
        let words = text.words();
        let (probes, off) = match words.iter().position(|w| w.text == "off") {
            Some(at) => (&words[..at], &words[at + 1..]),
            None => (&words[..], &[][..]),
        };
        let [a, b] = probes else {
            return Err(text
                .refused(
                    "not-two-points",
                    format!("ohms are read between two points; this names {}", probes.len()),
                )
                .mend("write for instance: element.1 element.2 = 26R4")
                .or("J2.1 J2.3 off J2 = 26R4"));
        };
        let node = |at: &Piece<'_>| {
            find_node(self.machine, at.text)
                .map_err(|e| at.refused("unknown-point", e.message).mend(e.remedy))
        };
        let points = [node(a)?, node(b)?];
        if points[0] == points[1] {
            return Err(b
                .refused("not-two-points", "both probes are on the same point")
                .mend("name two points"));
        }
        let unplugged = off.iter().map(|off| self.unplugged(*off)).collect::<Result<_, _>>()?;
        Ok(Probes { points, names: [a.text.to_owned(), b.text.to_owned()], unplugged })
    }

    /// A connector or tab that can be taken off.
    pub fn unpluggable(&self, name: &str) -> Result<String, NotUnderstood> {
        self.unplugged(Piece::whole(name))
    }

    fn unplugged(&self, name: Piece<'_>) -> Result<String, NotUnderstood> {
        if self.machine.joints.iter().any(|j| j.opens_with == name.text || j.name == name.text) {
            return Ok(name.text.to_owned());
        }
        Err(name
            .refused("unknown-connector", format!("nothing called `{}` can be unplugged", name.text))
            .mend(match nearest(name.text, self.machine.unpluggable()) {
                Some(near) => format!("did you mean {near}?"),
                None => "name a connector (J2) or a terminal whose tab you pull (element.1)".to_owned(),
            }))
    }

    /// A step that goes on for as long as the board lets it.
    fn times_out(&self, step: usize, said: Piece<'_>) -> Result<Decoded, NotUnderstood> {
        let step = &self.machine.test.steps[step];
        let value = step.at_most_s.ok_or_else(|| {
            said.refused("no-time-limit", format!("step `{}` has no time limit in the machine file", step.id))
                .mend("say how long it took, such as 2m30s, or leave it out")
        })?;
        Ok(Decoded { value, resolution: 1.0 })
    }

    /// `right: drum turns`, with `= no` where it was not so.
    pub fn saw(&self, text: &str, answer: Option<&str>) -> Result<Clue, NotUnderstood> {
        let whole = Piece::whole(text);
        let (said, seen) = match (answer, whole.split_at_last('=')) {
            (Some(answer), _) => (whole, yes_or_no(Piece::whole(answer)).map_err(NotUnderstood::placeless)?),
            (None, Some((said, answer))) => (said, yes_or_no(answer)?),
            (None, None) => (whole, true),
        };
        let Some((step, sign)) = said.split_at_first([':']) else {
            return Err(said
                .refused("not-an-observation", "the step in which it was seen is missing")
                .mend("write for instance: right: drum turns"));
        };
        let step = self.step(step.after_word("step").unwrap_or(step))?;
        Ok(Clue::Sign { step, sign: self.sign(sign)?, seen })
    }

    /// A sign that some step of this machine shows.
    fn sign(&self, sign: Piece<'_>) -> Result<String, NotUnderstood> {
        let wanted = plain(sign.text);
        if let Some(known) = self.signs().iter().find(|s| plain(s) == wanted) {
            return Ok((*known).to_owned());
        }
        Err(sign
            .refused("unknown-sign", format!("`{}` is no sign that a step of this machine shows", sign.text))
            .mend(match nearest(&wanted, self.signs().iter().copied()) {
                Some(near) => format!("did you mean {near}?"),
                None => format!("signs: {}", self.signs().join(", ")),
            }))
    }

    /// What the steps of this machine show, healthy or with any single fault, sorted.
    pub fn signs(&self) -> &[&'static str] {
        self.signs.get_or_init(|| {
            let mut sweep = Sweep::new(self.machine, &Conditions::at(self.machine.plate.supply_v));
            let singles = self.machine.single_faults().map(|fault| Hypothesis::of([fault]));
            let mut signs: Vec<&'static str> = Vec::new();
            for hypothesis in std::iter::once(Hypothesis::healthy()).chain(singles) {
                for step in sweep.predict(&hypothesis) {
                    for &sign in &sweep.get(step).signs {
                        if !signs.contains(&sign) {
                            signs.push(sign);
                        }
                    }
                }
            }
            signs.sort_unstable();
            signs
        })
    }

    /// `yes` or `no`, as one says it.
    pub fn yes_or_no(&self, text: &str) -> Result<bool, NotUnderstood> {
        yes_or_no(Piece::whole(text))
    }

    /// A part that was mended or changed, and whether the machine works with it.
    pub fn mended(&self, part: &str, works: Option<bool>) -> Result<Clue, NotUnderstood> {
        Ok(Clue::Mended { part: self.part(Piece::whole(part))?, works })
    }

    /// The place of a part by its name.
    pub(super) fn part(&self, name: Piece<'_>) -> Result<usize, NotUnderstood> {
        self.machine.part(name.text).ok_or_else(|| {
            name.refused("unknown-part", format!("this machine has no part `{}`", name.text)).mend(
                match nearest(name.text, self.machine.parts.iter().map(|p| p.id.as_str())) {
                    Some(near) => format!("did you mean {near}?"),
                    None => "`wattmend machine show FILE` lists the parts".to_owned(),
                },
            )
        })
    }
}

/// Two probes, and what is off while they are set.
pub(super) struct Probes {
    pub(super) points: [usize; 2],
    pub(super) names: [String; 2],
    pub(super) unplugged: Vec<String>,
}

/// What an ohmmeter or insulation tester shows; `>` before the value is over-range too.
pub(super) fn shown_ohms(shown: Piece<'_>) -> Result<Reading, NotUnderstood> {
    let over = shown.split_at_first(['>']).filter(|(before, _)| before.text.is_empty());
    let value = over.map_or(shown, |(_, value)| value);
    match value.notation(|t| parse_reading(t, Dimension::Resistance))? {
        _ if over.is_some() => Ok(Reading::OverRange { below_zero: false }),
        Reading::Value(v) if v.value < 0.0 => Err(shown
            .refused("out-of-reach", "ohms below 0 mean that the machine is not dead")
            .mend("unplug it, let it discharge, prove it dead, and measure again")),
        reading => Ok(reading),
    }
}

/// What a voltmeter shows.
pub(super) fn shown_volts(shown: Piece<'_>) -> Result<Decoded, NotUnderstood> {
    match shown.notation(|t| parse_reading(t, Dimension::Voltage))? {
        Reading::Value(v) if (0.0..=HIGHEST_V).contains(&v.value) => Ok(v),
        _ => Err(shown
            .refused("out-of-reach", "no appliance has this voltage inside")
            .mend(format!("give 0 to {HIGHEST_V} V, as alternating volts"))),
    }
}

fn not_volts(text: Piece<'_>) -> NotUnderstood {
    text.refused("not-a-reading", "volts are read between two points while a step runs, all plugs in place")
        .mend("write for instance: volts element.1 element.2 in warm = 229 V")
}

/// `yes` or `no`.
pub(super) fn yes_or_no(answer: Piece<'_>) -> Result<bool, NotUnderstood> {
    match plain(answer.text).as_str() {
        "yes" | "y" | "true" => Ok(true),
        "no" | "n" | "false" => Ok(false),
        _ => Err(answer
            .refused("not-yes-or-no", format!("`{}` is neither yes nor no", answer.text))
            .mend("answer yes or no; leave it out where you are not sure")),
    }
}

/// `2.02 kW 8,8 A`, in any order; `and` may stand between.
fn read_into(reading: &mut StepReading, text: Piece<'_>) -> Result<(), NotUnderstood> {
    let mut rest: &[Piece<'_>] = &text.words();
    while let Some(first) = rest.first() {
        if first.text == "and" {
            rest = &rest[1..];
            continue;
        }
        let (taken, dimension, value) = first_value(text, rest)?;
        let place = match dimension {
            Dimension::Power => &mut reading.power_w,
            Dimension::Current => &mut reading.current_a,
            Dimension::Speed => &mut reading.speed_rpm,
            _ => &mut reading.lasted_s,
        };
        let piece = text.stretch(rest[0], rest[taken - 1]);
        if place.replace(value).is_some() {
            return Err(piece
                .refused("read-twice", format!("a second {} for the same step", dimension.name()))
                .mend("give each once; what was read another time is another entry"));
        }
        rest = &rest[taken..];
    }
    Ok(())
}

/// The value that the words begin with: the longest stretch that is one, since `1 min 20 s` is one value.
fn first_value(all: Piece<'_>, words: &[Piece<'_>]) -> Result<(usize, Dimension, Decoded), NotUnderstood> {
    // No value takes more words: "1 h 20 min 5 s".
    const LONGEST: usize = 6;
    for taken in (1..=words.len().min(LONGEST)).rev() {
        let piece = all.stretch(words[0], words[taken - 1]).without_comma();
        for (dimension, most, written) in STEP_TAKES {
            // A display shows bare numbers; here the unit says what was read, so it must be there.
            if parse(piece.text, dimension).is_err() {
                continue;
            }
            let Reading::Value(value) = piece.notation(|t| parse_reading(t, dimension))? else { continue };
            if !(0.0..=most).contains(&value.value) {
                return Err(piece
                    .refused("out-of-reach", format!("no appliance has this {}", dimension.name()))
                    .mend(format!("give 0 to {written}")));
            }
            return Ok((taken, dimension, value));
        }
    }
    let stretch = all.stretch(words[0], words[words.len().min(2) - 1]).without_comma();
    let wanted = "watts (2.02 kW), amperes (8,8 A), the drum's speed (50 rpm) or how long it took (48 s)";
    let what = match quantity::parse_any(stretch.text) {
        Ok((_, other)) => format!("{} is not read here", other.name()),
        Err(error) => error.message,
    };
    Err(stretch.refused("notation", what).mend(format!("of a step give {wanted}")))
}

/// "wash, done: LOW; …".
fn patterns(machine: &Machine) -> String {
    let with_lamps = machine.codes.iter().filter(|c| !c.lamps.is_empty());
    with_lamps.map(|c| format!("{} for {}", c.lamps.join(" + "), c.id)).collect::<Vec<_>>().join("; ")
}
