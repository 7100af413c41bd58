//! What one solve costs: a washing machine of 60 nodes, wires and contacts as shorts or with resistance.
//!
//! `cargo bench -p circuit`
#![allow(missing_docs, clippy::unwrap_used, reason = "a benchmark")]

use std::hint::black_box;

use circuit::{BranchId, Element, Network, NodeId, Solver, Supply};
use criterion::{Criterion, criterion_group, criterion_main};

const HERTZ: f64 = 50.0;
const LINE: NodeId = NodeId(0);
const NEUTRAL: NodeId = NodeId(1);
const EARTH: NodeId = NodeId(2);

/// A network that grows: each call of `node` gives a new one.
struct Harness {
    network: Network,
    next: u32,
    wire: Element,
}

impl Harness {
    fn node(&mut self) -> NodeId {
        self.next += 1;
        NodeId(self.next - 1)
    }

    fn join(&mut self, from: NodeId, to: NodeId, element: Element) -> BranchId {
        self.network.add(from, to, element).unwrap()
    }

    /// Board output, wire, connector, load, connector, return wire; leak to earth. Gives the output's contact.
    fn load(&mut self, feed: NodeId, back: NodeId, element: Element, on: bool) -> BranchId {
        let [output, pin, far] = [(); 3].map(|()| self.node());
        let contact = self.join(feed, output, if on { self.wire } else { Element::OPEN });
        self.join(output, pin, self.wire);
        self.join(pin, far, element);
        self.join(far, back, self.wire);
        self.join(far, EARTH, Element::OPEN);
        contact
    }
}

struct Machine {
    network: Network,
    supply: Supply,
    heater_contact: BranchId,
}

fn washing_machine(wire: Element) -> Machine {
    let mut h = Harness { network: Network::new(60), next: 3, wire };
    let [board_line, board_neutral, locked, filter_line, casing] = [(); 5].map(|()| h.node());
    h.join(LINE, filter_line, wire);
    h.join(LINE, NEUTRAL, Element::capacitor(0.47e-6, HERTZ));
    h.join(LINE, NEUTRAL, Element::resistor(1e6));
    h.join(filter_line, EARTH, Element::capacitor(10e-9, HERTZ));
    h.join(NEUTRAL, EARTH, Element::capacitor(10e-9, HERTZ));
    h.join(casing, EARTH, wire);
    h.join(EARTH, NEUTRAL, Element::resistor(0.6));
    h.join(filter_line, board_line, wire);
    h.join(board_neutral, NEUTRAL, wire);
    h.join(board_line, board_neutral, Element::resistor(9e3));
    h.join(board_line, board_neutral, Element::resistor(1.2e3));
    h.join(board_line, locked, wire);
    let heater_contact = h.load(locked, board_neutral, Element::resistor(26.4), true);
    h.join(NodeId(h.next - 1), casing, Element::resistor(2.2e6));
    for _ in 0..3 {
        h.load(locked, board_neutral, Element::coil(3750.0, 14.0, HERTZ), true);
    }
    for on in [true, false] {
        h.load(locked, board_neutral, Element::coil(150.0, 1.15, HERTZ), on);
    }
    motor(&mut h, locked, board_neutral);
    while h.next < 58 {
        // Sensor circuits of the low-voltage side, which float.
        let [a, b] = [(); 2].map(|()| h.node());
        h.join(a, b, Element::resistor(4.8e3));
        h.join(a, b, wire);
        h.join(NodeId(a.0 - 2), a, wire);
    }
    let supply = Supply { line: LINE, neutral: NEUTRAL, volts: 230.0, source_ohm: 0.4 };
    Machine { network: h.network, supply, heater_contact }
}

/// Inverter stage and a three-phase motor in star behind a connector.
fn motor(h: &mut Harness, feed: NodeId, back: NodeId) {
    let [bus, star] = [(); 2].map(|()| h.node());
    h.join(feed, bus, h.wire);
    h.join(bus, back, Element::resistor(180.0));
    for _ in 0..3 {
        let [output, pin, terminal] = [(); 3].map(|()| h.node());
        h.join(bus, output, Element::OPEN);
        h.join(output, pin, h.wire);
        h.join(pin, terminal, h.wire);
        h.join(terminal, star, Element::coil(5.3, 0.04, HERTZ));
        h.join(terminal, EARTH, Element::resistor(1e8));
    }
}

fn solve(c: &mut Criterion) {
    for (name, wire) in [("wires are shorts", Element::SHORT), ("wires of 10 mΩ", Element::resistor(0.01))] {
        let mut machine = washing_machine(wire);
        let mut solver = Solver::new();
        let closed = machine.network.branches()[machine.heater_contact.0 as usize].element;
        let mut group = c.benchmark_group(name);
        group.bench_function("solve", |b| {
            b.iter(|| solver.solve(black_box(&machine.network), &machine.supply).unwrap().plug());
        });
        group.bench_function("open a contact, solve, close it, solve", |b| {
            b.iter(|| {
                machine.network.set(machine.heater_contact, Element::OPEN).unwrap();
                let cold = solver.solve(&machine.network, &machine.supply).unwrap().plug();
                machine.network.set(machine.heater_contact, closed).unwrap();
                (cold, solver.solve(&machine.network, &machine.supply).unwrap().plug())
            });
        });
        group.bench_function("two-point resistance", |b| {
            b.iter(|| solver.resistance_ohm(black_box(&machine.network), LINE, NEUTRAL));
        });
        group.finish();
        println!("{} nodes, {} branches", machine.network.node_count(), machine.network.branches().len());
    }
}

criterion_group!(benches, solve);
criterion_main!(benches);
