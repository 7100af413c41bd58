//! One instant: outputs driven as told, the network solved, and what every part then does.
//!
//! What a part does can change the network: a lock that engages closes a contact, a motor that does not start draws
//! its standing current, a motor behind an inverter decides what the inverter draws. The instant is found by
//! repeating until nothing changes; a machine that flips for ever is cut off after [`ROUNDS`], at its last state.

use crate::prediction::Trip;
use crate::step::State;
use crate::sweep::Heard;
use circuit::{Plug, Resistance, Shorted, Wiring};
use machine::kind::{Effect, Flows, Medium, Panel, Passage, Situation};
use machine::model::{Drive, Machine, PartId};

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

/// An instant, solved.
#[derive(Clone, Debug, Default)]
pub(crate) struct Moment {
    pub(crate) plug: Plug,
    pub(crate) power_u_w: f64,
    pub(crate) current_u_a: f64,
    pub(crate) earth_a: f64,
    pub(crate) trip: Option<Trip>,
    pub(crate) effects: Vec<Effect>,
    pub(crate) situations: Vec<Situation>,
    /// Volts of the board inputs that watch volts, by input.
    pub(crate) input_volts: Vec<f64>,
    /// Speed of the drum (after belt and bearing), rpm.
    pub(crate) drum_rpm: f64,
}

impl Moment {
    /// Does the board work?
    pub(crate) fn board_runs(&self, board: PartId) -> bool {
        self.effects.get(board).is_some_and(|e| e.runs)
    }

    /// Is this wrong with the panel?
    pub(crate) fn panel(&self, what: Panel) -> bool {
        self.effects.iter().any(|e| e.panel == what)
    }

    /// Is the bolt of some lock home?
    pub(crate) fn locked(&self) -> bool {
        self.effects.iter().any(|e| e.locks)
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

/// Solves instants of one machine.
pub(crate) struct Solver<'m> {
    pub(crate) machine: &'m Machine,
    pub(crate) wiring: Wiring<'m>,
    flows: Flows,
    pub(crate) heard: Heard,
    /// Parts with current in them in the last round.
    carrying: Vec<bool>,
}

impl<'m> Solver<'m> {
    pub(crate) fn new(machine: &'m Machine) -> Self {
        Solver {
            machine,
            wiring: Wiring::new(machine),
            flows: Flows::default(),
            heard: Heard::new(machine),
            carrying: vec![false; machine.parts.len()],
        }
    }

    /// The instant in which the board drives these outputs.
    pub(crate) fn moment(
        &mut self,
        modes: &[Option<usize>],
        drives: &[Drive],
        state: &State,
        supply_v: f64,
    ) -> Moment {
        let mut moment = Moment { situations: self.situations(modes, drives, state), ..Moment::default() };
        let mut stalled = vec![false; self.machine.parts.len()];
        self.wiring.assemble(modes, &moment.situations);
        let phases = self.phases(drives);
        self.expect_demand(modes, &phases, &mut moment);
        for _ in 0..ROUNDS {
            self.wiring.assemble(modes, &moment.situations);
            if let Err(shorted) = self.solve(modes, &phases, supply_v, &mut moment) {
                moment.trip = Some(Trip::Overcurrent(shorted.parts));
                return moment;
            }
            if !self.settle(modes, &mut moment, &mut stalled) {
                break;
            }
        }
        moment.drum_rpm = self.drum_speed(modes, &moment);
        if moment.plug.current_a > BREAKER_TRIPS_A {
            moment.trip = Some(Trip::Overcurrent(Vec::new()));
        } else if moment.earth_a > RESIDUAL_TRIPS_A {
            moment.trip = Some(Trip::Residual);
        }
        moment
    }

    /// The network of a dead machine with every part in its mode, for an ohmmeter.
    pub(crate) fn dead(&mut self, modes: &[Option<usize>], state: &State) {
        let situations = self.situations(modes, &[], state);
        self.wiring.assemble(modes, &situations);
    }

    fn situations(&self, modes: &[Option<usize>], drives: &[Drive], state: &State) -> Vec<Situation> {
        let plate = &self.machine.plate;
        let rest = Situation {
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
            drag: 1.0,
        };
        let mut all = vec![rest; self.machine.parts.len()];
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
        all
    }

    /// How many phases of each driven inverter reach their motor: `(motor, phases)`.
    fn phases(&mut self, drives: &[Drive]) -> Vec<(PartId, PartId, u8)> {
        let mut found = Vec::new();
        for drive in drives {
            let output = &self.machine.outputs[drive.output];
            let Some(motor) = output.motor else { continue };
            self.heard.phases_of[drive.output] = true;
            let part = &self.machine.parts[output.part];
            let pin = |name: &str| {
                part.kind.terminals.iter().position(|t| t.name == name).and_then(|i| part.terminals[i])
            };
            let (Some(u), Some(v), Some(w)) = (pin("u"), pin("v"), pin("w")) else { continue };
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
    fn expect_demand(
        &mut self,
        modes: &[Option<usize>],
        phases: &[(PartId, PartId, u8)],
        moment: &mut Moment,
    ) {
        for &(inverter, motor, phases) in phases {
            let part = &self.machine.parts[motor];
            let mode = modes[motor].map(|m| part.kind.modes[m].name);
            self.flows = Flows { phases, ..Flows::default() };
            let effect =
                part.kind.behaviour.effect(&part.params, mode, &moment.situations[motor], &self.flows);
            moment.situations[inverter].demand_w =
                effect.demand_w * chain(self.machine, modes, motor, Medium::Motion).load;
        }
    }

    fn solve(
        &mut self,
        modes: &[Option<usize>],
        phases: &[(PartId, PartId, u8)],
        supply_v: f64,
        moment: &mut Moment,
    ) -> Result<(), Shorted> {
        let machine = self.machine;
        let solved = self.wiring.solve(supply_v)?;
        moment.plug = solved.plug();
        moment.power_u_w = solved.power_u_w();
        moment.current_u_a = solved.current_u_a();
        moment.earth_a = solved.earth_current_a();
        moment.input_volts.clear();
        for input in &machine.inputs {
            moment.input_volts.push(match input.senses {
                machine::model::Senses::Volts { node, .. } => solved.volts_of(node),
                _ => 0.0,
            });
        }
        moment.effects.clear();
        for (id, part) in machine.parts.iter().enumerate() {
            solved.flows(id, &mut self.flows);
            self.flows.phases = phases.iter().find(|p| p.1 == id).map_or(0, |p| p.2);
            let mode = modes[id].map(|m| part.kind.modes[m].name);
            let effect = part.kind.behaviour.effect(&part.params, mode, &moment.situations[id], &self.flows);
            self.carrying[id] = self.flows.amps.iter().any(|a| a.0.abs() + a.1.abs() > SILENT_BELOW_A);
            if self.carrying[id] || effect != Effect::default() {
                self.heard.active[id] = true;
            }
            moment.effects.push(effect);
        }
        for &(inverter, motor, _) in phases {
            through_inverter(moment, inverter, motor);
        }
        for (id, effect) in moment.effects.iter_mut().enumerate().filter(|(_, e)| e.turns_rpm.is_some()) {
            let motion = chain(machine, modes, id, Medium::Motion);
            // Nothing passes and it drags: the shaft itself is held. (Nothing passes and it runs lighter: belt off.)
            if motion.factor == 0.0 && motion.load > 1.0 {
                effect.turns_rpm = Some(0.0);
            }
        }
        Ok(())
    }

    /// Puts what the parts did into their situations; true if that changed anything.
    fn settle(&self, modes: &[Option<usize>], moment: &mut Moment, stalled: &mut [bool]) -> bool {
        let mut changed = false;
        for output in &self.machine.outputs {
            if let Some(motor) = output.motor {
                let load = chain(self.machine, modes, motor, Medium::Motion).load;
                let demand = moment.effects[motor].demand_w * load + moment.effects[output.part].demand_w;
                if (moment.situations[output.part].demand_w - demand).abs() > 1e-6 {
                    moment.situations[output.part].demand_w = demand;
                    changed = true;
                }
            }
        }
        for (id, part) in self.machine.parts.iter().enumerate() {
            let (effect, situation) = (&moment.effects[id], &mut moment.situations[id]);
            if situation.locked != effect.locks && part.kind.terminals.len() > 2 {
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

    /// Speed of the drum: of the fastest motor that turns something, less what belt and bearing lose.
    fn drum_speed(&self, modes: &[Option<usize>], moment: &Moment) -> f64 {
        let mut drum: f64 = 0.0;
        for (id, effect) in moment.effects.iter().enumerate() {
            if let Some(rpm) = effect.turns_rpm {
                let rpm = rpm * chain(self.machine, modes, id, Medium::Motion).factor;
                if rpm.abs() > drum.abs() {
                    drum = rpm;
                }
            }
        }
        drum
    }
}

/// A motor turns only as its inverter lets it.
fn through_inverter(moment: &mut Moment, inverter: PartId, motor: PartId) {
    let drive = moment.effects[inverter].clone();
    if !drive.runs {
        moment.effects[motor] = Effect::default();
    } else if drive.signs.contains(&"jerks") {
        moment.effects[motor] = Effect { turns_rpm: Some(0.0), ..Effect::default() };
    }
}
