//! One instant: outputs driven as told, the network solved, and what every part then does.
//!
//! What a part does can change the network: a lock that engages closes a contact, a motor that does not start draws
//! its standing current, a motor behind an inverter decides what the inverter draws. The instant is found by
//! repeating until nothing changes; a machine that flips for ever is cut off after [`ROUNDS`], at its last state.

use crate::conditions::Conditions;
use crate::prediction::Trip;
use crate::reach::phase_pins;
use crate::step::State;
use crate::superpose::Rounds;
use circuit::{Complex64, Plug, Resistance, Shorted, Spread, Wiring};
use machine::kind::{Effect, Flows, Medium, Panel, Passage, Situation};
use machine::model::{Drive, InputId, Machine, Otherwise, OutputId, PartId, Plate, Senses};
use std::sync::Arc;

/// Most rounds: a lock, then a motor behind its contact, then the inverter's draw, with room to spare.
const ROUNDS: usize = 8;

/// A winding or lead below this conducts; above it an inverter drives no current through it. Ω.
const PHASE_CONDUCTS_BELOW_OHM: f64 = 200.0;

/// A residual-current device of 30 mA, the usual one for persons, trips at the latest here (IEC 61008-1, from memory). A.
const RESIDUAL_TRIPS_A: f64 = 0.030;

/// A 16 A circuit's breaker goes off at once from about five times its rating (IEC 60898-1 type B, from memory). A.
const BREAKER_TRIPS_A: f64 = 80.0;

/// A branch with less than this carries nothing but rounding, A.
const SILENT_BELOW_A: f64 = 1e-12;

/// A pin reaches a part that reports a value over less than this, Ω.
const REACHES_BELOW_OHM: f64 = 100.0;

/// An instant, solved.
#[derive(Clone, Debug, Default)]
pub(crate) struct Moment {
    pub(crate) plug: Plug,
    /// Current at the plug, A.
    pub(crate) current: Complex64,
    /// Current to earth, A.
    pub(crate) earth: Complex64,
    pub(crate) spread: Spread,
    pub(crate) power_u_w: f64,
    pub(crate) current_u_a: f64,
    pub(crate) earth_a: f64,
    pub(crate) trip: Option<Trip>,
    /// Parts that do anything, in order, with what they do.
    pub(crate) doing: Vec<(PartId, Arc<Effect>)>,
    /// Situations of the parts that the board reads as values, by input.
    pub(crate) sensors: Arc<[(InputId, Situation)]>,
    /// Volts of the board inputs that watch volts, by input.
    pub(crate) input_volts: Arc<[f64]>,
    /// Speed of the drum (after belt and bearing), rpm.
    pub(crate) drum_rpm: f64,
}

impl Moment {
    /// What a part does; none: nothing.
    pub(crate) fn effect(&self, part: PartId) -> Option<&Effect> {
        self.doing.iter().find(|d| d.0 == part).map(|d| d.1.as_ref())
    }

    /// Does the board work?
    pub(crate) fn board_runs(&self, board: PartId) -> bool {
        self.effect(board).is_some_and(|e| e.runs)
    }

    /// Is this wrong with the panel?
    pub(crate) fn panel(&self, what: Panel) -> bool {
        self.doing.iter().any(|d| d.1.panel == what)
    }

    /// Does this board misread its sensors?
    pub(crate) fn misreads(&self, board: PartId) -> bool {
        self.effect(board).is_some_and(|e| e.misreads)
    }

    /// Is the bolt of some lock home?
    pub(crate) fn locked(&self) -> bool {
        self.doing.iter().any(|d| d.1.locks)
    }

    /// What follows from currents and effects: the plug's readings, the drum's speed, protections that go off.
    pub(crate) fn conclude(&mut self, machine: &Machine, modes: &[Option<usize>], supply_v: f64) {
        self.read_plug(supply_v);
        self.drum_rpm = self.drum_speed(machine, modes);
        if self.plug.current_a > BREAKER_TRIPS_A {
            self.trip = Some(Trip::Overcurrent(Vec::new()));
        } else if self.earth_a > RESIDUAL_TRIPS_A {
            self.trip = Some(Trip::Residual);
        }
    }

    fn read_plug(&mut self, supply_v: f64) {
        self.plug = Plug::new(Complex64::new(supply_v, 0.0), self.current);
        self.power_u_w = self.spread.power_u_w();
        self.current_u_a = self.spread.current_u_a(&self.plug, supply_v);
        self.earth_a = self.earth.norm();
    }

    /// Speed of the drum: of the fastest motor that turns something, less what belt and bearing lose.
    fn drum_speed(&self, machine: &Machine, modes: &[Option<usize>]) -> f64 {
        let mut drum: f64 = 0.0;
        for (id, effect) in &self.doing {
            if let Some(rpm) = effect.turns_rpm {
                let rpm = rpm * chain(machine, modes, *id, Medium::Motion).factor;
                if rpm.abs() > drum.abs() {
                    drum = rpm;
                }
            }
        }
        drum
    }
}

/// How a chain of parts passes on what moves through it.
pub(crate) fn chain(machine: &Machine, modes: &[Option<usize>], part: PartId, medium: Medium) -> Passage {
    machine.parts[part].through.iter().fold(Passage::CLEAR, |so_far, &p| {
        let kind = machine.parts[p].kind;
        let mode = modes[p].map(|m| kind.modes[m].name);
        let next = kind.behaviour.passage(&machine.parts[p].params, mode, medium);
        Passage { factor: so_far.factor * next.factor, load: so_far.load * next.load }
    })
}

/// Stands still what turns a shaft that is held.
pub(crate) fn held(machine: &Machine, modes: &[Option<usize>], part: PartId, effect: &mut Effect) {
    if effect.turns_rpm.is_some() {
        let motion = chain(machine, modes, part, Medium::Motion);
        // Nothing passes and it drags: the shaft itself is held. (Nothing passes and it runs lighter: belt off.)
        if motion.factor == 0.0 && motion.load > 1.0 {
            effect.turns_rpm = Some(0.0);
        }
    }
}

/// The circumstances of a part that nothing drives and nothing turns.
pub(crate) fn at_rest(plate: &Plate, state: &State) -> Situation {
    Situation {
        rated_v: plate.supply_v,
        hz: plate.supply_hz,
        driven: false,
        wanted_rpm: 0.0,
        moving: true,
        locked: state.locked,
        level_l: state.level_l,
        temperature_c: state.temperature_c,
        speed_rpm: 0.0,
        demand_w: 0.0,
        demand_u_w: 0.0,
        drag: 1.0,
    }
}

/// Solves instants of one machine.
#[derive(Clone)]
pub(crate) struct Solver<'m> {
    pub(crate) machine: &'m Machine,
    pub(crate) wiring: Wiring<'m>,
    flows: Flows,
    /// Situation of each part in the instant at hand.
    situations: Vec<Situation>,
    /// What each part does in it.
    effects: Vec<Effect>,
    /// Parts that can do more than conduct, and those that cannot.
    doers: Vec<PartId>,
    conductors: Vec<PartId>,
    /// Parts with current in them in the last round.
    carrying: Vec<bool>,
    /// Parts that carried current or did something in some round of the last instant.
    pub(crate) active: Vec<bool>,
    /// Outputs that hold the door: they stay on when a guard stops a step, since a drum may turn on.
    pub(crate) holds_door: Vec<OutputId>,
}

/// What is wanted of an instant besides, and what is known of it before.
#[derive(Default)]
pub(crate) struct Asked<'a> {
    /// The phases that reach the motors, where they are known.
    pub(crate) phases: Option<&'a [Phases]>,
    /// To be filled in, round by round.
    pub(crate) rounds: Option<&'a mut Rounds>,
    /// An instant in which most parts do the same: what they do is kept once.
    pub(crate) like: Option<&'a Moment>,
}

/// A driven inverter, its motor, and how many phases reach it.
pub(crate) type Phases = (PartId, PartId, u8);

impl<'m> Solver<'m> {
    pub(crate) fn new(machine: &'m Machine) -> Self {
        let mut solver = Self::of_dead(machine);
        solver.holds_door = solver.holding_door();
        solver
    }

    /// Another one of the same machine.
    pub(crate) fn anew(&self) -> Self {
        Solver { holds_door: self.holds_door.clone(), ..Self::of_dead(self.machine) }
    }

    /// One that is asked for dead networks only.
    pub(crate) fn of_dead(machine: &'m Machine) -> Self {
        let (conductors, doers) =
            (0..machine.parts.len()).partition(|&p| machine.parts[p].kind.behaviour.only_conducts());
        Solver {
            machine,
            wiring: Wiring::new(machine),
            flows: Flows::default(),
            situations: Vec::new(),
            effects: vec![Effect::default(); machine.parts.len()],
            doers,
            conductors,
            carrying: vec![false; machine.parts.len()],
            active: vec![false; machine.parts.len()],
            holds_door: Vec::new(),
        }
    }

    /// The outputs that throw the bolt of a lock, in a healthy machine.
    fn holding_door(&mut self) -> Vec<OutputId> {
        let machine = self.machine;
        if machine.guards.iter().all(|g| g.otherwise == Otherwise::KeepsOff) {
            return Vec::new();
        }
        let conditions = Conditions::at(machine.plate.supply_v);
        let modes = vec![None; machine.parts.len()];
        let state = State::start(&conditions);
        (0..machine.outputs.len())
            .filter(|&output| {
                let alone = [Drive { output, rpm: 0.0, both_ways: false }];
                self.moment(&modes, &alone, &state, conditions.supply_v, Asked::default()).locked()
            })
            .collect()
    }

    /// The instant in which the board drives these outputs.
    pub(crate) fn moment(
        &mut self,
        modes: &[Option<usize>],
        drives: &[Drive],
        state: &State,
        supply_v: f64,
        asked: Asked<'_>,
    ) -> Moment {
        let mut record = asked.rounds;
        let machine = self.machine;
        let mut moment = Moment::default();
        self.active.fill(false);
        for &part in &self.doers {
            self.effects[part] = Effect::default();
        }
        self.set_situations(modes, drives, state);
        let mut stalled = vec![false; machine.parts.len()];
        let phases = if let Some(known) = asked.phases {
            known.to_vec()
        } else {
            self.wiring.assemble(modes, &self.situations);
            self.phases(drives)
        };
        self.expect_demand(modes, &phases);
        if let Some(rounds) = &mut record {
            rounds.start(&phases);
        }
        let mut shorted = false;
        for _ in 0..ROUNDS {
            self.wiring.assemble(modes, &self.situations);
            if let Err(short) = self.solve(modes, &phases, supply_v, &mut moment, record.as_deref_mut()) {
                moment.trip = Some(Trip::Overcurrent(short.parts));
                shorted = true;
                break;
            }
            if !self.settle(modes, &mut stalled) {
                if let Some(rounds) = &mut record {
                    rounds.settled = true;
                }
                break;
            }
        }
        let nothing = Effect::default();
        let doing = self.doers.iter().map(|&id| (id, &self.effects[id])).filter(|(_, e)| **e != nothing);
        let kept = |id: PartId, e: &Effect| {
            let known = asked.like.and_then(|like| like.doing.iter().find(|d| d.0 == id && *d.1 == *e));
            known.map_or_else(|| Arc::new(e.clone()), |d| Arc::clone(&d.1))
        };
        moment.doing.extend(doing.map(|(id, e)| (id, kept(id, e))));
        let read = machine.inputs.iter().enumerate().filter_map(|(id, input)| match input.senses {
            Senses::Part { part, .. } => Some((id, self.situations[part])),
            _ => None,
        });
        moment.sensors = read.collect();
        if shorted {
            moment.read_plug(supply_v);
        } else {
            moment.conclude(machine, modes, supply_v);
        }
        moment
    }

    /// The network of a dead machine with every part in its mode, for an ohmmeter.
    pub(crate) fn dead(&mut self, modes: &[Option<usize>], state: &State) {
        self.set_situations(modes, &[], state);
        self.wiring.assemble(modes, &self.situations);
    }

    fn set_situations(&mut self, modes: &[Option<usize>], drives: &[Drive], state: &State) {
        let rest = at_rest(&self.machine.plate, state);
        let all = &mut self.situations;
        all.clear();
        all.resize(self.machine.parts.len(), rest);
        for (id, part) in self.machine.parts.iter().enumerate() {
            if !part.through.is_empty() {
                let motion = chain(self.machine, modes, id, Medium::Motion).load;
                let water = chain(self.machine, modes, id, Medium::Water).load;
                let air = chain(self.machine, modes, id, Medium::Air).load;
                let pressure = chain(self.machine, modes, id, Medium::Pressure);
                all[id].drag = motion * water * air;
                all[id].level_l = state.level_l * pressure.factor;
            }
        }
        for drive in drives {
            let output = &self.machine.outputs[drive.output];
            for part in std::iter::once(output.part).chain(output.motor) {
                all[part].driven = true;
                all[part].wanted_rpm = drive.rpm;
            }
            if drive.rpm < 0.0 {
                for &other in &output.reverse {
                    all[self.machine.outputs[other].part].driven = true;
                }
            }
        }
    }

    /// How many phases of each driven inverter reach their motor: `(motor, phases)`.
    fn phases(&mut self, drives: &[Drive]) -> Vec<Phases> {
        let mut found = Vec::new();
        for drive in drives {
            let output = &self.machine.outputs[drive.output];
            let Some(motor) = output.motor else { continue };
            let Some([u, v, w]) = phase_pins(self.machine, output.part) else { continue };
            let pairs = [(u, v), (v, w), (w, u)].into_iter().filter(|&(a, b)| {
                matches!(self.wiring.resistance(a, b), Resistance::Ohms(r) if r < PHASE_CONDUCTS_BELOW_OHM)
            });
            let phases = match pairs.count() {
                3 => 3,
                0 => 0,
                _ => 2,
            };
            found.push((output.part, motor, phases));
        }
        found
    }

    /// What the inverters will have to draw if their motors run: a first guess that saves a round.
    fn expect_demand(&mut self, modes: &[Option<usize>], phases: &[Phases]) {
        for &(inverter, motor, phases) in phases {
            let part = &self.machine.parts[motor];
            let mode = modes[motor].map(|m| part.kind.modes[m].name);
            self.flows = Flows { phases, ..Flows::default() };
            let effect = part.kind.behaviour.effect(&part.params, mode, &self.situations[motor], &self.flows);
            let load = chain(self.machine, modes, motor, Medium::Motion).load;
            self.situations[inverter].demand_w = effect.demand_w * load;
            self.situations[inverter].demand_u_w = effect.demand_u_w * load;
        }
    }

    fn solve(
        &mut self,
        modes: &[Option<usize>],
        phases: &[Phases],
        supply_v: f64,
        moment: &mut Moment,
        record: Option<&mut Rounds>,
    ) -> Result<(), Shorted> {
        let machine = self.machine;
        let solved = self.wiring.solve(supply_v)?;
        moment.current = solved.current();
        moment.earth = solved.earth_current();
        moment.spread = solved.spread();
        let volts = machine.inputs.iter().map(|input| match input.senses {
            Senses::Volts { node, .. } => solved.volts_of(node),
            _ => 0.0,
        });
        moment.input_volts = volts.collect();
        for &id in &self.conductors {
            self.active[id] |= solved.amps(id).any(|a| a.l1_norm() > SILENT_BELOW_A);
        }
        let nothing = Effect::default();
        for &id in &self.doers {
            let part = &machine.parts[id];
            solved.flows(id, &mut self.flows);
            self.flows.phases = phases.iter().find(|p| p.1 == id).map_or(0, |p| p.2);
            let mode = modes[id].map(|m| part.kind.modes[m].name);
            let effect = part.kind.behaviour.effect(&part.params, mode, &self.situations[id], &self.flows);
            self.carrying[id] = self.flows.amps.iter().any(|a| a.0.abs() + a.1.abs() > SILENT_BELOW_A);
            self.active[id] |= self.carrying[id] || effect != nothing;
            self.effects[id] = effect;
        }
        if let Some(rounds) = record {
            rounds.note(machine, &self.situations, &solved);
        }
        for &(inverter, motor, _) in phases {
            through_inverter(&mut self.effects, inverter, motor);
        }
        for &id in &self.doers {
            held(machine, modes, id, &mut self.effects[id]);
        }
        Ok(())
    }

    /// Puts what the parts did into their situations; true if that changed anything.
    fn settle(&mut self, modes: &[Option<usize>], stalled: &mut [bool]) -> bool {
        let mut changed = false;
        for output in &self.machine.outputs {
            if let Some(motor) = output.motor {
                let load = chain(self.machine, modes, motor, Medium::Motion).load;
                let (takes, own) = (&self.effects[motor], &self.effects[output.part]);
                let demand = takes.demand_w * load + own.demand_w;
                let demand_u = (takes.demand_u_w * load).hypot(own.demand_u_w);
                let situation = &mut self.situations[output.part];
                if (situation.demand_w - demand).abs() > 1e-6
                    || (situation.demand_u_w - demand_u).abs() > 1e-6
                {
                    situation.demand_w = demand;
                    situation.demand_u_w = demand_u;
                    changed = true;
                }
            }
        }
        for &id in &self.doers {
            let part = &self.machine.parts[id];
            let (effect, situation) = (&self.effects[id], &mut self.situations[id]);
            if situation.locked != effect.locks && part.kind.behaviour.has_bolt() {
                situation.locked = effect.locks;
                changed = true;
            }
            // A motor that would not run is taken to stand still, once and for all in this instant. Only with current
            // in it: before a lock has closed its contact, no motor can be judged.
            if self.carrying[id]
                && part.kind.behaviour.can_stall()
                && situation.moving
                && !effect.runs
                && !stalled[id]
            {
                stalled[id] = true;
                situation.moving = false;
                changed = true;
            }
        }
        changed
    }
}

/// A motor turns only as its inverter lets it.
fn through_inverter(effects: &mut [Effect], inverter: PartId, motor: PartId) {
    if !effects[inverter].runs {
        effects[motor] = Effect::default();
    } else if effects[inverter].signs.contains(&"jerks") {
        effects[motor] = Effect { turns_rpm: Some(0.0), ..Effect::default() };
    }
}

impl Solver<'_> {
    /// Ohms over which the board measures at an input, in the network as last assembled; for a part read as a value:
    /// nought if each pin reaches it, else no end.
    pub(crate) fn input_ohms(&mut self, input: InputId) -> f64 {
        let ohms = |reads: Resistance| match reads {
            Resistance::Ohms(r) => r,
            Resistance::Open => f64::INFINITY,
        };
        match &self.machine.inputs[input].senses {
            Senses::Volts { .. } => f64::INFINITY,
            Senses::Ohms(a, b) | Senses::Contact(a, b) => ohms(self.wiring.resistance(*a, *b)),
            Senses::Part { part, pins } => {
                let terminals = &self.machine.parts[*part].terminals;
                let wiring = &mut self.wiring;
                let reached = pins.iter().all(|&pin| {
                    terminals.iter().flatten().any(|&t| ohms(wiring.resistance(pin, t)) < REACHES_BELOW_OHM)
                });
                if reached { 0.0 } else { f64::INFINITY }
            }
        }
    }
}
