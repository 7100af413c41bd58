//! The parameters of one part, after reading: values in base units, each known to be of the form its kind asks for.

use quantity::Toleranced;
use std::collections::BTreeMap;

/// A parameter's value.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// A quantity in the base unit of its dimension.
    Quantity(Toleranced),
    /// A quantity and the condition at which it holds.
    RatedAt(Toleranced, f64),
    /// Lower and upper end.
    Range(f64, f64),
    /// Pairs, ascending in the first.
    Table(Vec<(f64, f64)>),
    /// A word, a part's name or free words.
    Text(String),
    /// Yes or no.
    Flag(bool),
}

/// The parameters of a part by name. The reader puts in every obligatory one and every default, so a kind may rely
/// on those; asking for an absent optional one gives `None`, or a neutral zero from the short forms.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Params(BTreeMap<&'static str, Value>);

impl Params {
    /// Sets a value.
    pub fn set(&mut self, name: &'static str, value: Value) {
        self.0.insert(name, value);
    }

    /// The value, where the file or a default gives one.
    pub fn get(&self, name: &str) -> Option<&Value> {
        self.0.get(name)
    }

    /// A quantity (also of a rated one), or exactly zero where absent.
    pub fn quantity(&self, name: &str) -> Toleranced {
        match self.get(name) {
            Some(Value::Quantity(q) | Value::RatedAt(q, _)) => *q,
            _ => Toleranced::exact(0.0),
        }
    }

    /// The nominal value of a quantity, or 0.
    pub fn nominal(&self, name: &str) -> f64 {
        self.quantity(name).nominal
    }

    /// Relative standard uncertainty of a quantity, or 0.
    pub fn u_rel(&self, name: &str) -> f64 {
        let q = self.quantity(name);
        if q.nominal == 0.0 { 0.0 } else { (q.standard_uncertainty() / q.nominal).abs() }
    }

    /// The condition of a rated quantity: the 230 of `"1850 W at 230 V"`.
    pub fn rated_at(&self, name: &str) -> Option<f64> {
        match self.get(name) {
            Some(Value::RatedAt(_, at)) => Some(*at),
            _ => None,
        }
    }

    /// A table, or an empty one.
    pub fn table(&self, name: &str) -> &[(f64, f64)] {
        match self.get(name) {
            Some(Value::Table(rows)) => rows,
            _ => &[],
        }
    }

    /// A word, or the empty one.
    pub fn text(&self, name: &str) -> &str {
        match self.get(name) {
            Some(Value::Text(t)) => t,
            _ => "",
        }
    }

    /// A flag, or false.
    pub fn flag(&self, name: &str) -> bool {
        matches!(self.get(name), Some(Value::Flag(true)))
    }
}

/// Piecewise linear reading of a table ascending in its first column; beyond its ends the end values hold.
/// An empty table reads 0.
pub fn interpolate(table: &[(f64, f64)], x: f64) -> f64 {
    let Some(&(first_x, first_y)) = table.first() else { return 0.0 };
    if x <= first_x {
        return first_y;
    }
    for pair in table.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        if x <= x1 {
            return if x1 > x0 { y0 + (y1 - y0) * (x - x0) / (x1 - x0) } else { y1 };
        }
    }
    table.last().map_or(0.0, |&(_, y)| y)
}
