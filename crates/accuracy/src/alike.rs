//! Faults that nothing tells apart.

use bench::{Conditions, Hypothesis, Ohms};
use diagnosis::check::CheckKind;
use diagnosis::next::candidates;
use diagnosis::setup::Setup;
use machine::model::Machine;

/// Watts or ohms closer than this are one reading: in proportion, and in the unit.
const SAME: (f64, f64) = (0.02, 0.5);

/// Same parts, and no step, code, ohms or look tells the modes apart.
pub(crate) fn alike(machine: &Machine, a: &Hypothesis, b: &Hypothesis) -> bool {
    if a == b {
        return true;
    }
    let parts = |h: &Hypothesis| h.faults().iter().map(|f| f.0).collect::<Vec<_>>();
    if parts(a) != parts(b) {
        return false;
    }
    let conditions = Conditions::at(machine.plate.supply_v);
    let of = |h| bench::predict(machine, h, &conditions);
    let same = |x: f64, y: f64| (x - y).abs() <= SAME.0 * x.abs().max(y.abs()) + SAME.1;
    let steps = of(a).iter().zip(&of(b)).all(|(p, q)| {
        same(p.power_w.value, q.power_w.value)
            && p.signs == q.signs
            && p.code == q.code
            && p.timed_out == q.timed_out
    });
    steps
        && candidates(machine, &Setup::default(), &parts(a)).iter().all(|check| {
            match (&check.between, check.kind) {
                (Some([x, y]), _) => {
                    let read = |h| bench::ohms_between(machine, h, (x, y), &check.unplugged);
                    match (read(a), read(b)) {
                        (Ok(Ohms::Ohms { value: p, .. }), Ok(Ohms::Ohms { value: q, .. })) => same(p, q),
                        (Ok(p), Ok(q)) => p == q,
                        _ => true,
                    }
                }
                (None, CheckKind::Observation) => looks_alike(machine, &check.id, a, b),
                _ => true,
            }
        })
}

fn looks_alike(machine: &Machine, id: &str, a: &Hypothesis, b: &Hypothesis) -> bool {
    let mode = |h: &Hypothesis, part: usize| {
        h.faults().iter().find(|f| f.0 == part).map_or("", |f| machine.parts[part].kind.modes[f.1].name)
    };
    let words: Vec<&str> = id.split(' ').collect();
    match words[..] {
        ["hand", part, check] => {
            let Some(part) = machine.part(part) else { return true };
            let checks = &machine.parts[part].kind.checks;
            let yes_in = checks.iter().find(|c| c.id == check).map_or(&[][..], |c| c.yes_in);
            yes_in.contains(&mode(a, part)) == yes_in.contains(&mode(b, part))
        }
        ["own", check] => {
            let Some(own) = machine.checks.iter().find(|c| c.id == check) else { return true };
            let yes = |h: &Hypothesis| own.yes_with.iter().any(|(p, m)| mode(h, *p) == m);
            yes(a) == yes(b)
        }
        _ => true,
    }
}
