//! What drain pumps and circulation pumps have in common: a coil that turns a wheel in water.

use super::{Behaviour, Branch, Effect, Flows, Params, Path, Situation};

/// Where the pumps' share of jobs (7.5 %, drain and circulation together) comes from.
pub(super) const RATE_SOURCE: &str = "from memory: Tecchio et al. 2019 (pumps 7.5 %), split between drain and circulation \
                                      pump by common practice, no source";

/// Share of rated volts from which the motor starts. Common practice, no source.
const STARTS_AT: f64 = 0.7;

/// Watts of a blocked motor against healthy: the same to 1.6 times, so watts alone prove little. Common practice, no
/// source.
const JAMMED_WATTS: f64 = 1.3;

/// Watts with the wheel loose on its shaft: it moves little water. Common practice, no source.
const LOOSE_WATTS: f64 = 0.8;

/// Ohms and impedance of a coil with shorted turns against healthy. Common practice, no source.
const SHORTED: f64 = 0.3;

/// Flow left with the wheel loose. Common practice, no source.
const LOOSE_FLOW: f64 = 0.1;

/// A pump: parameters `coil`, `draws`, `power-factor` and `flow`; modes `jammed`, `coil open`, `coil short`,
/// `impeller loose`, `weak` and `leaking`.
pub(super) struct Pump {
    /// Flow left with wheel or bearing worn, as a share.
    pub(super) weak_flow: f64,
    /// Its water leaves the machine; else it goes round.
    pub(super) out: bool,
    /// Share of its flow above which one sees what it does.
    pub(super) seen_above: f64,
    /// What one sees then.
    pub(super) sign: &'static str,
}

impl Behaviour for Pump {
    fn electrics(&self, params: &Params, mode: Option<&str>, situation: &Situation, out: &mut Vec<Branch>) {
        let factor = match mode {
            Some("jammed") => JAMMED_WATTS,
            Some("impeller loose") => LOOSE_WATTS,
            Some("coil short") => 1.0 / SHORTED,
            _ => 1.0,
        };
        let short = if mode == Some("coil short") { SHORTED } else { 1.0 };
        let (ac, dc) = if mode == Some("coil open") {
            (Path::Open, Path::Open)
        } else {
            let watts = params.nominal("draws") * factor * situation.drag;
            let ac = Path::load(watts, situation.rated_v, params.nominal("power-factor"));
            (ac, Path::resistor(params.nominal("coil") * short))
        };
        let (u_rel, ac_u_rel) = (params.u_rel("coil"), params.u_rel("draws"));
        out.push(Branch { name: "coil", from: "1", to: "2", ac, dc, u_rel, ac_u_rel });
    }

    fn effect(&self, params: &Params, mode: Option<&str>, situation: &Situation, flows: &Flows) -> Effect {
        let volts = flows.volts.first().copied().unwrap_or(0.0);
        let sound = mode != Some("coil open") && situation.rated_v > 0.0;
        let energised = sound && volts >= STARTS_AT * situation.rated_v;
        let runs = energised && !matches!(mode, Some("jammed" | "coil short"));
        let share = match mode {
            Some("impeller loose") => LOOSE_FLOW,
            Some("weak") => self.weak_flow,
            _ => 1.0,
        };
        let wet = situation.level_l > 0.0;
        let share = if runs && wet { share } else { 0.0 };
        let moved = params.nominal("flow") * share;
        let mut signs = Vec::new();
        if energised {
            signs.push("hums");
        }
        if share > self.seen_above && moved > 0.0 {
            signs.push(self.sign);
        }
        if mode == Some("leaking") && wet {
            signs.push("leaks");
        }
        Effect { water_out_l_min: if self.out { moved } else { 0.0 }, runs, signs, ..Effect::default() }
    }
}
