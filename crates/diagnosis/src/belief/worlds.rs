//! What was worked out about the machine so far: caches only, in two worlds, so that two threads can weigh sets of faults at a time.

use super::{Fit, Predictions};
use crate::align::Aligner;
use crate::hypotheses;
use bench::Hypothesis;
use machine::model::PartId;
use rustc_hash::FxHashMap;

/// What changes while sets of faults are weighed.
#[derive(Clone)]
pub(super) struct World<'m> {
    pub(super) predictions: Predictions<'m>,
    pub(super) aligner: Option<Aligner>,
    /// How likely the trace is where a fault comes and goes within it.
    pub(super) comes_and_goes: FxHashMap<Hypothesis, f64>,
    /// One for each thing told.
    pub(super) fits: Vec<FxHashMap<Hypothesis, Fit>>,
}

/// The world that knows all single faults, and a second one that began as its likeness and then went its own way: of several faults
/// together each knows its own share, by [`in_second`].
pub(super) struct Worlds<'m> {
    pub(super) first: World<'m>,
    /// None until there is enough to be weighed at a time.
    second: Option<World<'m>>,
}

/// Fewer questions than this are not worth a thread.
const MANY: usize = 64;

impl<'m> Worlds<'m> {
    pub(super) fn new(predictions: Predictions<'m>) -> Self {
        let nothing = FxHashMap::default();
        let first = World { predictions, aligner: None, comes_and_goes: nothing, fits: Vec::new() };
        Worlds { first, second: None }
    }

    /// Takes up a recording, which the second world has not been held against.
    pub(super) fn record(&mut self, aligner: Aligner) {
        self.first.aligner = Some(aligner);
        self.second = None;
    }

    /// Room for one more thing that was told.
    pub(super) fn push(&mut self) {
        self.both().for_each(|world| world.fits.push(FxHashMap::default()));
    }

    /// Forgets what was told from this place on; what is known of the machine stays.
    pub(super) fn take_back(&mut self, told: usize) {
        self.both().for_each(|world| world.fits.truncate(told));
    }

    fn both(&mut self) -> impl Iterator<Item = &mut World<'m>> {
        std::iter::once(&mut self.first).chain(&mut self.second)
    }

    /// The world that knows a set of several faults with this last part; none: a set of one fault or none.
    pub(super) fn of(&mut self, last: Option<PartId>) -> &mut World<'m> {
        match &mut self.second {
            Some(second) if in_second(last) => second,
            _ => &mut self.first,
        }
    }

    /// What comes of each of these in the world that knows it by its `last` part, as in [`Worlds::of`], in their order; in both at
    /// the same time where that is worth it.
    pub(super) fn each<T: Sync, R: Send>(
        &mut self,
        all: &[T],
        last: impl Fn(&T) -> Option<PartId> + Sync,
        work: impl Fn(&mut World<'m>, &T) -> R + Sync,
    ) -> Vec<R> {
        if all.len() < MANY {
            return all.iter().map(|one| work(self.of(last(one)), one)).collect();
        }
        let Worlds { first, second } = self;
        let second = second.get_or_insert_with(|| first.clone());
        let share = |world: &mut World<'m>, of_second: bool| -> Vec<R> {
            all.iter().filter(|one| in_second(last(one)) == of_second).map(|one| work(world, one)).collect()
        };
        let (here, there) = std::thread::scope(|scope| {
            let other = std::thread::Builder::new().spawn_scoped(scope, || share(second, true));
            let here = share(first, false);
            match other.map(std::thread::ScopedJoinHandle::join) {
                Ok(Ok(there)) => (here, Some(there)),
                Ok(Err(panic)) => std::panic::resume_unwind(panic),
                Err(_) => (here, None),
            }
        });
        // Where no thread was to be had, it is done here.
        let there = there.unwrap_or_else(|| share(second, true));
        let (mut here, mut there) = (here.into_iter(), there.into_iter());
        all.iter().filter_map(|one| if in_second(last(one)) { there.next() } else { here.next() }).collect()
    }
}

/// Is a set of several faults, the last of which is of this part, the second world's? Sets that have it in common share most of what
/// is worked out for them, so they stay together.
fn in_second(last: Option<PartId>) -> bool {
    last.is_some_and(|part| part % 2 == 1)
}

/// The last part of a set of several faults.
pub(super) fn last_of_several(faults: &Hypothesis) -> Option<PartId> {
    if let [.., _, (part, _)] = *faults.faults() { Some(part) } else { None }
}

/// The same of a set of the prior.
pub(super) fn last_in_prior(faults: &hypotheses::Hypothesis) -> Option<PartId> {
    if let [.., _, last] = faults.faults[..] { Some(last.part) } else { None }
}

#[cfg(test)]
mod tests {
    use crate::belief::Belief;
    use crate::evidence::{Entry, Evidence, Listener};
    use crate::hypotheses::{Fault, Hypothesis, Question};
    use crate::setup::Setup;
    use bench::Conditions;

    use super::{MANY, World, last_in_prior};

    /// A likelihood is the same whichever world answers, whatever it was asked before.
    #[test]
    fn two_worlds_answer_as_one() {
        let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../machines/aldermere-tern-81.toml");
        let machine = machine::read::read(&std::fs::read_to_string(path).unwrap(), None).machine.unwrap();
        let listener = Listener::new(&machine);
        let said = "washes cold";
        let mut entries = Entry::of_one(vec![listener.complaint(said).unwrap()], said, None, None);
        let step = &machine.test.steps[machine.test.steps.len() / 2].id;
        let said = format!("step {step}: 30 W");
        entries.extend(Entry::of_one(listener.reading(&said).unwrap(), &said, None, None));
        let evidence = Evidence { entries, ..Evidence::default() };

        let faults: Vec<Fault> = machine.single_faults().map(|(part, mode)| Fault { part, mode }).collect();
        let apart = |a: &Fault, b: &Fault| a.part < b.part;
        let pairs =
            faults.iter().flat_map(|a| faults.iter().filter(move |b| apart(a, b)).map(move |b| (*a, *b)));
        let questions: Vec<Question> = pairs
            .step_by(7)
            .take(40 * MANY)
            .flat_map(|(a, b)| [0, 1].map(|item| (item, Hypothesis { faults: vec![a, b] })))
            .collect();
        let ask = |at_once: usize| -> (Vec<u64>, bool) {
            let mut belief =
                Belief::new(&machine, &Conditions::at(machine.plate.supply_v), &Setup::default()).unwrap();
            belief.add(&evidence);
            let Belief { account, worlds } = &belief;
            let mut worlds = worlds.borrow_mut();
            let few = questions.chunks(at_once);
            let ln = |world: &mut World<'_>, (item, faults): &Question| {
                account.ln_of(world, *item, faults, f64::INFINITY).to_bits()
            };
            let lns = few.flat_map(|few| worlds.each(few, |(_, h)| last_in_prior(h), ln)).collect();
            (lns, worlds.second.is_some())
        };
        let (one, two) = (ask(MANY - 1), ask(10 * MANY));
        assert!(!one.1 && two.1, "the first never needs a second world, the second makes one");
        assert_eq!(one.0.len(), questions.len());
        assert_eq!(one.0, two.0);
    }
}
