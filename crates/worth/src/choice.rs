//! Repair a machine or replace it, in closed form.

use crate::life::Weibull;

/// A machine that may be repaired or replaced. All amounts in one currency, costs of running a year.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MachineChoice {
    /// Price of a new one, delivered, the old one taken away.
    pub price_new: f64,
    /// Running the new one for a year.
    pub run_new: f64,
    /// Running the old one for a year.
    pub run_old: f64,
    /// Discount rate per year, continuous; 0 or more.
    pub discount: f64,
    /// Life of a new one.
    pub new_life: Weibull,
    /// Life of the old one, counted from new.
    pub old_life: Weibull,
    /// Its age, years.
    pub age: f64,
}

impl MachineChoice {
    /// Present worth of 1 a year over the life of a new machine, and over what the old one has left.
    pub fn annuities(&self) -> (f64, f64) {
        (self.new_life.annuity(0.0, self.discount), self.old_life.annuity(self.age, self.discount))
    }

    /// Cost of a new machine spread evenly over the years it is expected to last, with its running: price/A + running.
    pub fn new_a_year(&self) -> f64 {
        self.price_new / self.annuities().0 + self.run_new
    }

    /// Cost of a repair spread evenly over the years that are left, with the running.
    pub fn repaired_a_year(&self, repair: f64) -> f64 {
        repair / self.annuities().1 + self.run_old
    }

    /// Present worth of replacing now and for ever after, as each wears out; nothing without discounting, where it has no
    /// bound.
    ///
    /// ```text
    /// V = (price + running A) / (1 - E[e^(-r X)]) = (price/A + running)/r
    /// ```
    pub fn replace_now(&self) -> Option<f64> {
        (self.discount > 0.0).then(|| self.new_a_year() / self.discount)
    }

    /// Present worth of this repair, the running of the old machine, and replacing for ever after it has worn out:
    /// `R + running A + E[e^(-r X)] V`.
    pub fn repair_now(&self, repair: f64) -> Option<f64> {
        let left = self.annuities().1;
        Some(repair + self.run_old * left + (1.0 - self.discount * left) * self.replace_now()?)
    }

    /// The repair at which both come to the same; below it the repair is the cheaper way. Negative where the old machine
    /// runs at more than a new one costs altogether.
    pub fn break_even(&self) -> f64 {
        (self.new_a_year() - self.run_old) * self.annuities().1
    }
}
