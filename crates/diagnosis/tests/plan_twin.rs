//! The planner against its slow twin: every order of every move, nothing remembered, nothing bounded.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use diagnosis::plan::{
    Access, Component, ComponentCheck, Components, Effect, Effort, Left, Problem, ProblemError, Proof, Step,
    Stock, Structure, Supply, myopic_rule, plan, ratio_rule,
};

/// splitmix64.
struct Random(u64);

impl Random {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ z >> 30).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ z >> 27).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^ z >> 31
    }

    fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn below(&mut self, n: usize) -> usize {
        (self.next() % n as u64) as usize
    }

    fn pick(&mut self, from: &[f64]) -> f64 {
        from[self.below(from.len())]
    }
}

/// A problem with a bit of everything.
fn problem(seed: u64) -> Problem {
    let r = &mut Random(seed);
    let suspects = 2 + r.below(3);
    let weights: Vec<f64> = (0..suspects).map(|_| 0.05 + r.unit()).collect();
    let total: f64 = weights.iter().sum();
    let panels = r.below(4);
    let access: Vec<Access> = (0..panels)
        .map(|i| Access {
            parent: (i > 0 && r.below(2) == 0).then(|| r.below(i)),
            cost: r.pick(&[2.0, 5.0, 11.0]),
        })
        .collect();
    let parts = if r.below(3) == 0 { 1 + r.below(2) } else { 0 };
    let mut steps = Vec::new();
    for i in 0..4 + r.below(2) {
        let is_check = i >= 2 && r.below(3) > 0;
        let effect = if is_check { check(r, suspects) } else { repair(r, suspects) };
        let open: Vec<usize> = (panels > 0 && r.below(2) == 0).then(|| r.below(panels)).into_iter().collect();
        let shut = (open.is_empty() && panels > 0 && r.below(3) == 0).then(|| r.below(panels));
        steps.push(Step {
            cost: r.pick(&[1.0, 3.0, 8.0, 20.0]),
            open,
            closed: shut.into_iter().collect(),
            part: (!is_check && parts > 0 && r.below(3) > 0).then(|| r.below(parts)),
            effect,
        });
    }
    let supply = |r: &mut Random| {
        if r.below(3) == 0 { Supply::AtHand } else { Supply::ToOrder { handling: r.pick(&[1.0, 4.0]) } }
    };
    Problem {
        suspects: weights.iter().map(|w| w / total).collect(),
        access,
        steps,
        proof: if r.below(3) == 0 { Proof::SystemTest { cost: r.pick(&[0.0, 4.0]) } } else { Proof::AtOnce },
        stock: (parts > 0)
            .then(|| Stock { parts: (0..parts).map(|_| supply(r)).collect(), visit: r.pick(&[3.0, 15.0]) }),
        give_up: Some(r.pick(&[25.0, 60.0, 150.0])),
    }
}

fn check(r: &mut Random, suspects: usize) -> Effect {
    let count = 2 + r.below(2);
    let mut outcomes = vec![vec![0.0; suspects]; count];
    for s in 0..suspects {
        let likely = r.below(count);
        let share = r.pick(&[1.0, 0.9, 0.7]);
        for (k, row) in outcomes.iter_mut().enumerate() {
            row[s] = if k == likely { share } else { (1.0 - share) / (count - 1) as f64 };
        }
    }
    Effect::Check { outcomes }
}

fn repair(r: &mut Random, suspects: usize) -> Effect {
    let left = |suspect| Left { probability: r.pick(&[0.0, 0.2, 1.0, 1.0]), suspect };
    Effect::Repair { left: (0..suspects).map(left).collect() }
}

/// The technician's position, as plain as can be: joint weights, never normalised.
#[derive(Clone)]
struct Position {
    weights: Vec<f64>,
    cured: f64,
    done: Vec<bool>,
    open: Vec<bool>,
    parts: Vec<bool>,
    may_return: bool,
}

fn start(problem: &Problem) -> Position {
    let stock = problem.stock.as_ref();
    Position {
        weights: problem.suspects.clone(),
        cured: 0.0,
        done: vec![false; problem.steps.len()],
        open: vec![false; problem.access.len()],
        parts: stock.map_or(vec![], |s| s.parts.iter().map(|p| *p == Supply::AtHand).collect()),
        may_return: stock.is_some(),
    }
}

/// Expected cost times the probability of being here.
fn best(problem: &Problem, at: &Position) -> f64 {
    let down: f64 = at.weights.iter().sum();
    let here = down + at.cured;
    if here == 0.0 {
        return 0.0;
    }
    let mut least = problem.give_up.map_or(f64::INFINITY, |c| c * here);
    if at.cured > 0.0 {
        let Proof::SystemTest { cost } = problem.proof else { unreachable!() };
        let after = Position { cured: 0.0, open: vec![false; at.open.len()], ..at.clone() };
        least = least.min(cost * here + best(problem, &after));
    }
    if let Some(stock) = problem.stock.as_ref().filter(|_| at.may_return && at.cured == 0.0) {
        for set in 1..1_usize << stock.parts.len() {
            let mut after = Position { may_return: false, open: vec![false; at.open.len()], ..at.clone() };
            let mut cost = stock.visit;
            for (i, part) in stock.parts.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1) {
                after.parts[i] = true;
                cost += if let Supply::ToOrder { handling } = part { *handling } else { 0.0 };
            }
            least = least.min(cost * here + best(problem, &after));
        }
    }
    for (i, step) in problem.steps.iter().enumerate() {
        if !at.done[i] && step.part.is_none_or(|p| at.parts.is_empty() || at.parts[p]) {
            least = least.min(after_step(problem, at, i, here));
        }
    }
    least
}

fn after_step(problem: &Problem, at: &Position, i: usize, here: f64) -> f64 {
    let step = &problem.steps[i];
    let mut after = at.clone();
    after.done[i] = true;
    for (a, access) in problem.access.iter().enumerate() {
        // Closing a panel closes what lies under it; parents stand first.
        if step.closed.contains(&a) || access.parent.is_some_and(|p| at.open[p] && !after.open[p]) {
            after.open[a] = false;
        }
    }
    let mut cost = step.cost;
    let mut wanted = step.open.clone();
    while let Some(a) = wanted.pop() {
        if !after.open[a] {
            after.open[a] = true;
            cost += problem.access[a].cost;
        }
        wanted.extend(problem.access[a].parent);
    }
    match &step.effect {
        Effect::Check { .. } if at.cured > 0.0 => f64::INFINITY,
        Effect::Check { outcomes } => {
            let outcome = |row: &Vec<f64>| {
                let weights = row.iter().zip(&at.weights).map(|(p, w)| p * w).collect();
                best(problem, &Position { weights, ..after.clone() })
            };
            cost * here + outcomes.iter().map(outcome).sum::<f64>()
        }
        Effect::Repair { left } => {
            after.weights = vec![0.0; left.len()];
            for (l, w) in left.iter().zip(&at.weights) {
                after.weights[l.suspect] += w * l.probability;
                if problem.proof != Proof::AtOnce {
                    after.cured += w * (1.0 - l.probability);
                }
            }
            cost * here + best(problem, &after)
        }
    }
}

fn assert_agrees(problem: &Problem, what: &str) {
    let expected = best(problem, &start(problem));
    let answer = plan(problem, &Effort { states: 1_000_000, gap: 0.0 }).unwrap();
    assert!(
        (answer.upper - expected).abs() <= 1e-9 * expected,
        "{what}: {} expected {expected}",
        answer.upper
    );
    assert!(
        (answer.lower - expected).abs() <= 1e-9 * expected,
        "{what}: {} expected {expected}",
        answer.lower
    );
    for rule in [ratio_rule(problem).unwrap(), myopic_rule(problem).unwrap()] {
        assert!(answer.upper <= rule.cost + 1e-9, "{what}: a rule is better");
    }
    let little = plan(problem, &Effort { states: 5, gap: 0.0 }).unwrap();
    assert!(little.lower <= expected + 1e-9 && expected <= little.upper + 1e-9, "{what}: {little:?}");
}

#[test]
fn plans_of_300_generated_problems_equal_the_long_way() {
    for seed in 0..300 {
        assert_agrees(&problem(seed), &format!("seed {seed}"));
    }
}

/// A suspect in two halves that nothing tells apart: the same plan at the same cost, whatever the effort.
#[test]
fn halves_of_a_suspect_change_nothing() {
    for seed in 0..100 {
        let whole = problem(seed);
        let mut halves = whole.clone();
        let split = seed as usize % whole.suspects.len();
        halves.suspects[split] *= 0.4;
        halves.suspects.push(0.6 * whole.suspects[split]);
        let last = whole.suspects.len();
        for step in &mut halves.steps {
            match &mut step.effect {
                Effect::Check { outcomes } => outcomes.iter_mut().for_each(|row| row.push(row[split])),
                Effect::Repair { left } => left.push(Left { suspect: last, ..left[split] }),
            }
        }
        for states in [5, 1_000_000] {
            let effort = Effort { states, gap: 0.0 };
            let (a, b) = (plan(&whole, &effort).unwrap(), plan(&halves, &effort).unwrap());
            assert_eq!(a.states, b.states, "seed {seed}");
            assert!((a.upper - b.upper).abs() <= 1e-9 * a.upper, "seed {seed}");
            assert!((a.lower - b.lower).abs() <= 1e-9 * a.upper, "seed {seed}");
            assert_eq!(a.choices[0].step, b.choices[0].step, "seed {seed}");
        }
    }
}

/// Several faults at once: the same, in series, in parallel and two of three.
#[test]
fn plans_of_generated_components_equal_the_long_way() {
    for seed in 0..60 {
        let r = &mut Random(seed);
        let of: Vec<Structure> = (0..3).map(Structure::Component).collect();
        let component = |r: &mut Random| Component {
            fault: r.pick(&[0.02, 0.1, 0.3]),
            inspect: (r.below(2) == 0).then(|| r.pick(&[1.0, 4.0])),
            repair: r.pick(&[5.0, 12.0, 30.0]),
        };
        let components = Components {
            components: (0..3).map(|_| component(r)).collect(),
            works: Structure::AtLeast { least: 1 + r.below(3), of },
            checks: vec![ComponentCheck {
                cost: 1.0,
                leak: 0.05,
                links: vec![(0, 0.9), (r.below(2) + 1, 0.6)],
            }],
            give_up: Some(r.pick(&[20.0, 80.0])),
        };
        assert_agrees(&components.problem().unwrap(), &format!("seed {seed}"));
    }
}

#[test]
fn refusals() {
    let good = problem(1);
    let refused = |change: fn(&mut Problem)| {
        let mut bad = good.clone();
        change(&mut bad);
        plan(&bad, &Effort::default()).unwrap_err()
    };
    assert!(matches!(refused(|p| p.suspects[0] = f64::NAN), ProblemError::BadNumber { .. }));
    assert!(matches!(refused(|p| p.suspects[0] += 0.5), ProblemError::BadNumber { .. }));
    assert!(matches!(refused(|p| p.steps[0].cost = -1.0), ProblemError::BadNumber { .. }));
    assert!(matches!(refused(|p| p.steps[0].open = vec![99]), ProblemError::BadReference { .. }));
    assert!(matches!(refused(|p| p.suspects.push(0.0)), ProblemError::BadReference { .. }));
    assert!(matches!(refused(|p| p.steps = vec![p.steps[0].clone(); 200]), ProblemError::TooMany { .. }));
    let hopeless = refused(|p| {
        p.steps.clear();
        p.give_up = None;
    });
    assert_eq!(hopeless, ProblemError::NoEnd);
}
