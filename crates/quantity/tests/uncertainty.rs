//! Propagation against the GUM's own worked examples.
#![allow(missing_docs, clippy::unwrap_used, reason = "a test")]

use proptest::prelude::*;
use quantity::Toleranced;
use quantity::uncertainty::{CorrelationError, Sources, Uncertain, coverage_factor, of_resolution};

fn near(got: f64, want: f64, tolerance: f64) {
    assert!((got - want).abs() <= tolerance, "{got} is not {want} ± {tolerance}");
}

/// JCGM 100:2008, Table H.2: five simultaneous observations of V/V, I/mA and φ/rad.
const H2: [[f64; 3]; 5] = [
    [5.007, 19.663, 1.0456],
    [4.994, 19.639, 1.0438],
    [5.005, 19.640, 1.0468],
    [4.990, 19.685, 1.0428],
    [4.999, 19.678, 1.0433],
];

/// Means, standard uncertainties of the means and correlations of the observations (JCGM 100, 4.2 and 5.2.3).
fn h2_inputs() -> (Vec<f64>, Vec<f64>, Vec<Vec<f64>>) {
    let n = H2.len() as f64;
    let mean: Vec<f64> = (0..3).map(|i| H2.iter().map(|row| row[i]).sum::<f64>() / n).collect();
    let covariance = |i: usize, j: usize| {
        H2.iter().map(|row| (row[i] - mean[i]) * (row[j] - mean[j])).sum::<f64>() / (n * (n - 1.0))
    };
    let u: Vec<f64> = (0..3).map(|i| covariance(i, i).sqrt()).collect();
    let r = (0..3).map(|i| (0..3).map(|j| covariance(i, j) / (u[i] * u[j])).collect()).collect();
    (mean, u, r)
}

/// JCGM 100:2008, H.2 (simultaneous resistance and reactance). Table H.2 also gives the inputs' summary; Table H.3
/// and H.4 give the results 127.732(71), 219.847(295), 254.260(236) Ω, r = -0.588, -0.485, 0.993. The fourth digits
/// are those of a public uncertainty library on the same observations.
#[test]
fn gum_h2_resistance_reactance_and_impedance() {
    let (values, u, r) = h2_inputs();
    // Table H.2, summary rows.
    near(u[0], 0.0032, 0.000_05);
    near(u[1], 0.0095, 0.000_05);
    near(u[2], 0.000_75, 0.000_005);
    near(r[0][1], -0.36, 0.005);
    near(r[0][2], 0.86, 0.005);
    near(r[1][2], -0.65, 0.005);

    let inputs = Sources::new().correlated(&values, &u, &r).unwrap();
    let (volts, amps, phi) = (&inputs[0], &inputs[1] / 1000.0, &inputs[2]);
    let impedance = volts / &amps;
    let resistance = &impedance * phi.cos();
    let reactance = &impedance * phi.sin();

    near(resistance.value(), 127.7322, 0.001);
    near(reactance.value(), 219.8465, 0.001);
    near(impedance.value(), 254.2597, 0.001);
    near(resistance.standard_uncertainty(), 0.0711, 0.0006);
    near(reactance.standard_uncertainty(), 0.2956, 0.0008);
    near(impedance.standard_uncertainty(), 0.2363, 0.0006);
    near(resistance.correlation(&reactance), -0.5884, 0.0006);
    near(resistance.correlation(&impedance), -0.4853, 0.0006);
    near(reactance.correlation(&impedance), 0.9925, 0.0006);
}

/// R = V²/P with ±0.5 % of V and ±1 % of P, rectangular, uncorrelated (computed from JCGM 100, 5.1.2).
#[test]
fn heater_resistance_from_volts_and_watts() {
    let mut sources = Sources::new();
    let volts = sources.toleranced(&Toleranced::symmetric_relative(239.3, 0.005));
    let watts = sources.toleranced(&Toleranced::symmetric_relative(2200.0, 0.01));
    let ohms = volts.powi(2) / watts;
    near(ohms.value(), 26.0293, 5e-5);
    near(ohms.standard_uncertainty(), 0.2125, 5e-5);
}

/// JCGM 100, 4.3.7: u = a/√3. F.2.2.1: u = d/√12. 4.3.8, asymmetrical: (b₊ + b₋)/√12 about the middle.
#[test]
fn limits_and_resolution() {
    near(Toleranced::symmetric_relative(100.0, 0.01).standard_uncertainty(), 0.5774, 5e-5);
    near(of_resolution(0.1), 0.02887, 5e-6);
    let lopsided = Toleranced { nominal: 100.0, minus: 2.0, plus: 1.0 };
    near(lopsided.expectation(), 99.5, 1e-12);
    near(lopsided.standard_uncertainty(), 0.8660, 5e-5);
}

/// JCGM 100:2008, Table G.2 (from memory) and the normal quantile for infinite degrees of freedom.
#[test]
fn coverage_factors() {
    let cases = [
        (0.95, 1.0, 12.71, 0.005),
        (0.95, 4.0, 2.78, 0.005),
        (0.95, 10.0, 2.23, 0.005),
        (0.99, 16.0, 2.92, 0.005),
        (0.95, 50.0, 2.01, 0.005),
        (0.95, f64::INFINITY, 1.960, 0.0005),
        (0.9545, f64::INFINITY, 2.0, 0.0005),
        // Truncated to the next lower integer (G.4.2).
        (0.95, 10.9, 2.23, 0.005),
    ];
    for (coverage, degrees, want, tolerance) in cases {
        near(coverage_factor(coverage, degrees), want, tolerance);
    }
    assert!(coverage_factor(f64::NAN, 3.0).is_nan() && coverage_factor(0.95, f64::NAN).is_nan());
    assert!(coverage_factor(1.0, 3.0).is_infinite() && coverage_factor(2.0, f64::INFINITY).is_infinite());
}

/// JCGM 100:2008, H.1.6 (end gauge, from memory): u = 25, 9.7, 2.9, 16.6 nm with 18, 25.6, 50 and 2 degrees of freedom
/// combine to 32 nm with 16; with t₉₉(16) = 2.92 the expanded uncertainty is 93 nm.
#[test]
fn gum_h1_effective_degrees_of_freedom() {
    let mut sources = Sources::new();
    let parts = [(25.0, 18.0), (9.7, 25.6), (2.9, 50.0), (16.6, 2.0)];
    let sum = parts.iter().fold(Uncertain::exact(0.0), |sum, &(u, degrees)| {
        sum + sources.value_with_degrees_of_freedom(0.0, u, degrees)
    });
    near(sum.standard_uncertainty(), 32.0, 0.5);
    assert_eq!(sum.degrees_of_freedom().floor(), 16.0);
    near(sum.expanded_uncertainty(0.99), 93.0, 1.0);
}

#[test]
fn impossible_correlations_are_refused() {
    let mut sources = Sources::new();
    let (values, u) = ([1.0, 2.0, 3.0], [0.1, 0.1, 0.1]);
    let contradiction = vec![vec![1.0, 0.9, -0.9], vec![0.9, 1.0, 0.9], vec![-0.9, 0.9, 1.0]];
    assert_eq!(sources.correlated(&values, &u, &contradiction), Err(CorrelationError::NotACorrelation));
    let lopsided = vec![vec![1.0, 0.5, 0.0], vec![0.4, 1.0, 0.0], vec![0.0, 0.0, 1.0]];
    assert_eq!(sources.correlated(&values, &u, &lopsided), Err(CorrelationError::NotACorrelation));
    assert_eq!(sources.correlated(&values, &u[..2], &lopsided), Err(CorrelationError::Shape));
    let not_a_number = vec![vec![1.0, f64::NAN], vec![f64::NAN, 1.0]];
    assert_eq!(
        sources.correlated(&values[..2], &u[..2], &not_a_number),
        Err(CorrelationError::NotACorrelation)
    );
}

/// Fully correlated readings are one source.
#[test]
fn full_correlation_is_allowed() {
    let one = vec![vec![1.0, 1.0], vec![1.0, 1.0]];
    let both = Sources::new().correlated(&[5.0, 3.0], &[0.2, 0.2], &one).unwrap();
    near((&both[0] - &both[1]).standard_uncertainty(), 0.0, 1e-12);
    near((&both[0] + &both[1]).standard_uncertainty(), 0.4, 1e-12);
}

fn magnitude() -> impl Strategy<Value = f64> {
    0.5..20.0f64
}

proptest! {
    /// What is the same quantity cancels, however it is written.
    #[test]
    fn a_value_cancels_against_itself(value in magnitude(), share in 0.0..0.2f64) {
        let x = Sources::new().value(value, value * share);
        prop_assert!((&x - &x).standard_uncertainty() == 0.0);
        prop_assert!((&x / &x).standard_uncertainty() < 1e-15);
        prop_assert!((x.powi(2).sqrt() - &x).standard_uncertainty() < 1e-12);
        prop_assert!((x.ln().exp() - &x).standard_uncertainty() < 1e-12);
        let unity = x.sin().powi(2) + x.cos().powi(2);
        prop_assert!(unity.standard_uncertainty() < 1e-12);
    }

    /// Every formula's sensitivities agree with a numerical derivative.
    #[test]
    fn sensitivities_are_the_derivatives(a in magnitude(), b in magnitude()) {
        let formula = |x: &Uncertain, y: &Uncertain| (x * y - x / y + 3.0 * x).sin() * (-y).exp() + y.sqrt() - x.ln();
        let u = (0.01, 0.02);
        let mut sources = Sources::new();
        let (x, y) = (sources.value(a, u.0), sources.value(b, u.1));
        let exact = |x: f64, y: f64| formula(&Uncertain::exact(x), &Uncertain::exact(y)).value();
        let h = 1e-6;
        let by_x = (exact(a + h, b) - exact(a - h, b)) / (2.0 * h);
        let by_y = (exact(a, b + h) - exact(a, b - h)) / (2.0 * h);
        let want = (by_x * u.0).hypot(by_y * u.1);
        let got = formula(&x, &y).standard_uncertainty();
        prop_assert!((got - want).abs() <= 1e-6 * (1.0 + want), "{got} {want}");
    }
}
