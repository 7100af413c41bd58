//! Repair or replace: the sentences, and what must hold of every comparison.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use proptest::prelude::*;
use rust_decimal::Decimal;
use worth::choice::MachineChoice;
use worth::{Assumptions, Currency, Pending, Running, Tilt, Weibull, lifetime, weigh};

fn washer(repair: i64, age: f64) -> Assumptions {
    let eur = Currency::from_code("EUR").unwrap();
    let mut a = Assumptions::usual(
        lifetime("washing machine"),
        eur,
        Decimal::new(repair, 0),
        age,
        Decimal::new(550, 0),
    );
    a.delivery = Decimal::new(40, 0);
    a.disposal = Decimal::new(20, 0);
    a.old_running = Running { energy_kwh: 0.9, water_l: 55.0 };
    a.new_running = Running { energy_kwh: 0.6, water_l: 45.0 };
    a.energy_price = Decimal::new(30, 2);
    a.water_price = Decimal::new(450, 2);
    a
}

#[test]
fn it_is_said_in_plain_sentences() {
    let mut young = washer(62, 4.0);
    young.repair_range = Some((Decimal::new(48, 0), Decimal::new(131, 0)));
    let mut range = washer(180, 9.0);
    range.repair_range = Some((Decimal::new(48, 0), Decimal::new(400, 0)));
    let mut worn = washer(180, 14.0);
    worn.pending =
        vec![Pending { what: "bearing worn".to_owned(), cost: Decimal::new(160, 0), in_years: 1.0 }];
    let all: Vec<String> = [young, range, worn]
        .iter()
        .map(|a| weigh(a).unwrap())
        .map(|w| format!("{:?}: {}", w.tilt, w.says))
        .collect();
    insta::assert_snapshot!(all.join("\n"));
}

#[test]
fn what_is_beyond_belief_is_refused() {
    let refuse = |change: &dyn Fn(&mut Assumptions)| {
        let mut a = washer(62, 4.0);
        change(&mut a);
        weigh(&a).unwrap_err()
    };
    assert!(refuse(&|a| a.age_years = f64::NAN).message.contains("age"));
    assert!(refuse(&|a| a.age_years = 61.0).remedy.contains("60"));
    assert!(refuse(&|a| a.shape = 0.0).message.contains("shape"));
    assert!(refuse(&|a| a.discount = 1.0).message.contains("discount"));
    assert!(refuse(&|a| a.uses_a_year = 0.0).message.contains("uses"));
    assert!(refuse(&|a| a.repair = Decimal::new(-1, 0)).message.contains("below 0"));
    assert!(refuse(&|a| a.pending = vec![Pending { what: String::new(), cost: Decimal::ONE, in_years: f64::NAN }]).message.contains("due"));
}

proptest! {
    /// Cheaper a year over the years left is cheaper over an endless row of machines, and below the break-even: three ways to
    /// the same answer.
    #[test]
    fn cost_a_year_and_present_worth_agree(
        price in 100.0f64..2000.0, run_new in 0.0f64..200.0, run_old in 0.0f64..250.0, discount in 0.002f64..0.2,
        shape in 0.6f64..6.0, mean in 3.0f64..25.0, age in 0.0f64..25.0, repair in 0.0f64..800.0,
    ) {
        let life = Weibull::of_mean(shape, mean).unwrap();
        let c = MachineChoice { price_new: price, run_new, run_old, discount, new_life: life, old_life: life, age };
        let a_year = c.repaired_a_year(repair) - c.new_a_year();
        let worth = c.repair_now(repair).unwrap() - c.replace_now().unwrap();
        let left = c.annuities().1;
        prop_assert!((a_year * left - worth).abs() <= 1e-7 * (1.0 + worth.abs() + c.replace_now().unwrap()));
        prop_assert!((repair - c.break_even() - worth).abs() <= 1e-7 * (1.0 + worth.abs() + c.replace_now().unwrap()));
    }

    /// A life wears out: the older, the fewer years are left (shape above 1); discounting and age only take away.
    #[test]
    fn lives_are_monotone(shape in 1.05f64..8.0, mean in 2.0f64..30.0, age in 0.0f64..40.0, more in 0.1f64..10.0, r in 0.0f64..0.3) {
        let life = Weibull::of_mean(shape, mean).unwrap();
        prop_assert!(life.mean_residual(age + more) <= life.mean_residual(age) * (1.0 + 1e-12));
        prop_assert!(life.annuity(age, r) <= life.mean_residual(age) * (1.0 + 1e-9));
        prop_assert!(life.survives(age, more) <= 1.0 && life.survives(age, more) >= 0.0);
        prop_assert!((life.annuity(age, 0.0) / life.mean_residual(age) - 1.0).abs() < 1e-9);
    }

    /// A dearer repair never leans more to the repair, and what else is due never helps it.
    #[test]
    fn the_tilt_follows_the_price(repair in 0i64..900, more in 1i64..500, age in 0.0f64..20.0) {
        let rank = |t: Tilt| match t { Tilt::Repair => 0, Tilt::Even => 1, Tilt::Replace => 2 };
        let (cheap, dear) = (weigh(&washer(repair, age)).unwrap(), weigh(&washer(repair + more, age)).unwrap());
        prop_assert!(rank(cheap.tilt) <= rank(dear.tilt));
        prop_assert!((cheap.break_even - dear.break_even).abs() < 1e-9);
        let mut due = washer(repair, age);
        due.pending = vec![Pending { what: "bearing".to_owned(), cost: Decimal::new(more, 0), in_years: 2.0 }];
        let due = weigh(&due).unwrap();
        prop_assert!(due.repaired_a_year >= cheap.repaired_a_year && due.break_even <= cheap.break_even);
    }

    /// Twice the use halves what is left, of a machine of the same wear.
    #[test]
    fn use_makes_years_pass_faster(times in 0.5f64..3.0) {
        let mut a = washer(62, 0.0);
        let usual = weigh(&a).unwrap().new_years;
        a.uses_a_year *= times;
        prop_assert!((weigh(&a).unwrap().new_years * times / usual - 1.0).abs() < 1e-9);
    }
}
