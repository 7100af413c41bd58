//! What the board ends up driving in a step: its guards ask first, and watch while it runs.

use crate::moment::Moment;
use crate::sense::holds;
use crate::step::{Instants, State};
use machine::kind::Panel;
use machine::model::{CodeId, Drive, Moment as When, Otherwise, OutputId};
use std::sync::Arc;

/// What the board ended up driving in a step.
pub(crate) struct Driven {
    pub(crate) moment: Arc<Moment>,
    pub(crate) drives: Vec<Drive>,
    pub(crate) refused: Vec<OutputId>,
    pub(crate) jerked: bool,
    /// A guard ended it: nothing more is tried in this step.
    pub(crate) stopped: bool,
    /// Power before a guard that watches stopped something, W.
    pub(crate) tried_w: Option<f64>,
}

/// Drives outputs as far as the guards let it.
pub(crate) fn drive<'m>(instants: &mut impl Instants<'m>, wanted: &[Drive], state: &mut State) -> Driven {
    let machine = instants.machine();
    let idle = instants.moment(&[], state);
    if idle.trip.is_some() {
        // It went off as the machine was switched on: nothing is driven any more, and nothing is seen or heard.
        let moment = Arc::new(Moment { doing: Vec::new(), ..Moment::clone(&idle) });
        let (drives, refused) = (Vec::new(), Vec::new());
        return Driven { moment, drives, refused, jerked: false, stopped: true, tried_w: None };
    }
    // Whoever cannot press a key neither enters the test nor goes on in it.
    let deaf = idle.panel(Panel::Deaf);
    state.over |= deaf;
    let alive = wanted.iter().filter(|d| !deaf && idle.board_runs(machine.outputs[d.output].board)).cloned();
    let (mut waiting, mut drives): (Vec<Drive>, Vec<Drive>) =
        alive.partition(|d| machine.guards.iter().any(|g| g.output == d.output && g.moment == When::Before));
    let mut moment = if drives.is_empty() { idle } else { instants.moment(&drives, state) };
    let (mut refused, mut stopped) = (Vec::new(), false);
    // Guards that hold let their outputs on together; what comes on may let more guards hold.
    while !waiting.is_empty() {
        let (ready, rest): (Vec<Drive>, Vec<Drive>) =
            waiting.into_iter().partition(|d| failing(instants, When::Before, d, &moment, state).is_none());
        waiting = rest;
        if ready.is_empty() {
            break;
        }
        drives.extend(ready);
        moment = instants.moment(&drives, state);
    }
    for (place, drive) in waiting.iter().enumerate() {
        let Some((otherwise, code)) = failing(instants, When::Before, drive, &moment, state) else {
            continue;
        };
        refused.push(drive.output);
        state.code = state.code.or(code);
        if carry_out(instants, otherwise, &mut drives, &mut refused, state) {
            refused.extend(waiting[place + 1..].iter().map(|d| d.output));
            stopped = true;
            moment = instants.moment(&drives, state);
            break;
        }
    }
    let mut driven = Driven { moment, drives, refused, jerked: false, stopped, tried_w: None };
    watch(instants, &mut driven, state);
    driven
}

/// The guards that watch while outputs are driven.
fn watch<'m>(instants: &mut impl Instants<'m>, driven: &mut Driven, state: &mut State) {
    let machine = instants.machine();
    let watched = |d: &&Drive| machine.guards.iter().any(|g| g.output == d.output && g.moment == When::While);
    let drives: Vec<Drive> = driven.drives.iter().filter(watched).cloned().collect();
    for drive in drives {
        let failing = failing(instants, When::While, &drive, &driven.moment, state);
        let Some((otherwise, code)) = failing else { continue };
        driven.jerked |= drive.rpm != 0.0 && driven.moment.plug.current_a > 0.0;
        driven.tried_w.get_or_insert(driven.moment.plug.power_w);
        driven.refused.push(drive.output);
        driven.drives.retain(|d| d.output != drive.output);
        state.code = state.code.or(code);
        let all_off = carry_out(instants, otherwise, &mut driven.drives, &mut driven.refused, state);
        driven.stopped |= all_off || drive.both_ways;
        driven.moment = instants.moment(&driven.drives, state);
    }
}

/// The first need of the output's guards that does not hold: what the guard does, and the code.
fn failing<'m>(
    instants: &mut impl Instants<'m>,
    when: When,
    drive: &Drive,
    moment: &Moment,
    state: &State,
) -> Option<(Otherwise, Option<CodeId>)> {
    let machine = instants.machine();
    for guard in machine.guards.iter().filter(|g| g.output == drive.output && g.moment == when) {
        for (need, code) in &guard.needs {
            if !holds(instants, need, moment, state, drive.rpm, false) {
                return Some((guard.otherwise, *code));
            }
        }
    }
    None
}

/// Carries out what a guard does beyond refusing its own output; true if all is off now but what holds the door.
fn carry_out<'m>(
    instants: &impl Instants<'m>,
    what: Otherwise,
    drives: &mut Vec<Drive>,
    refused: &mut Vec<OutputId>,
    state: &mut State,
) -> bool {
    if what == Otherwise::KeepsOff {
        return false;
    }
    state.over |= what == Otherwise::EndsTest;
    let off = drives.extract_if(.., |d| !instants.holds_door(d.output));
    refused.extend(off.map(|d| d.output));
    true
}
