//! What was on when: heater intervals, spins and how the drum came up to them, turns of the drum, and the states between.
//!
//! All levels are found from the recording itself, so a scaled recording gives the same intervals. A compressor that
//! runs flat from switch-on can't be told from a heater by power alone.

mod heater;
mod own;
mod rows;
mod run_up;
mod spin;
mod states;
mod stream;

pub use heater::{HeaterOn, Stage};
pub use run_up::RunUp;
pub use spin::{Pulse, Spin};
pub use states::{Kind, State};
pub use stream::{Change, Run, Stream, runs};

pub(crate) use rows::quantile;
pub(crate) use stream::QUIET_S;

use rows::Rows;

/// What was found in one run.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Loads {
    /// Heater intervals in order.
    pub heater_on: Vec<HeaterOn>,
    /// The final spin, where there is one.
    pub spins: Vec<Spin>,
    /// Spins between rinses, before the final one; none are looked for where there is no final spin.
    pub interim_spins: Vec<Spin>,
    /// How the drum came up to speed in each of these, in order, the final one last.
    pub run_ups: Vec<RunUp>,
    /// Turns of the drum, and other loads as short, outside heater intervals.
    pub pulses: Vec<Pulse>,
    /// The whole of it as states, in order and without a hole.
    pub states: Vec<State>,
}

impl Loads {
    /// All spins in order, the final one last, each with how the drum came up to it where that shows.
    pub fn spins_and_run_ups(&self) -> impl Iterator<Item = (&Spin, Option<&RunUp>)> {
        let ups = self.run_ups.iter().map(Some).chain(std::iter::repeat(None));
        self.interim_spins.iter().chain(&self.spins).zip(ups)
    }
}

/// No meter for a socket reads in coarser steps, in watts; larger ones are loads that switch.
const COARSEST_W: f64 = 5.0;

/// Loads of one run of a machine; for a recording of days use [`runs`] or [`Stream`], which part it into runs first.
///
/// `time_s` and `power_w` go row by row; rows may repeat a moment or stand out of order. `volts` is the mains voltage
/// at the socket while the heater is on, where known, for ohms.
pub fn loads(time_s: &[f64], power_w: &[f64], volts: Option<f64>) -> Loads {
    let rows = Rows::new(time_s, power_w);
    if rows.len() < 4 {
        return Loads::default();
    }
    let meter_step_w = crate::cut::noise(&rows.power_w).step.min(COARSEST_W);
    // What turns is found first with the heater in, whose edges are longer than turns, to know the motor's size.
    let turning = spin::turning_w(&spin::motor(&rows, &[], meter_step_w).pulses);
    let on = heater::intervals(&rows, turning, meter_step_w);
    let motor = spin::motor(&rows, &on, meter_step_w);
    let mut loads = Loads { heater_on: heater::read(&rows, &on, volts), ..Loads::default() };
    if let Some(last) = spin::final_spin(&rows, &motor, &on, meter_step_w) {
        let interim = spin::interim_spins(&rows, &motor, &on, &last);
        loads.interim_spins = interim.iter().map(|(spin, _)| spin.over(rows.base_w)).collect();
        let ups = interim.into_iter().map(|(_, up)| up).chain(spin::final_run_up(&rows, &last));
        loads.run_ups = ups.map(|up| up.over(rows.base_w)).collect();
        loads.spins = vec![last.over(rows.base_w)];
    }
    loads.pulses = motor.pulses;
    loads.states = states::states(&rows, &motor.held_w, &loads);
    loads
}
