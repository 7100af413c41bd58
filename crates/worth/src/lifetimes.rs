//! Published lifetimes, read from the one data file.

use serde::Deserialize;
use std::sync::LazyLock;

const DATA: &str = include_str!("lifetimes.toml");

/// How long a kind of appliance lasts.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Lifetime {
    /// The kinds of appliance; none: any other.
    pub kinds: Vec<String>,
    /// Mean life of a new machine, years.
    pub mean_years: f64,
    /// Where that comes from.
    pub mean_source: String,
    /// Shape of the Weibull distribution.
    pub shape: f64,
    /// Where that comes from.
    pub shape_source: String,
    /// Usual uses a year.
    pub uses_a_year: f64,
    /// Where that comes from.
    pub uses_source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Data {
    format: u32,
    lifetime: Vec<Lifetime>,
}

static ALL: LazyLock<Vec<Lifetime>> = LazyLock::new(|| {
    let data: Data = toml::from_str(DATA).expect("the data file is part of the program, and a test reads it");
    assert!(
        data.format == 1 && data.lifetime.last().is_some_and(|l| l.kinds.is_empty()),
        "lifetimes.toml has format 1 and ends in the row for any other kind, and a test reads it"
    );
    data.lifetime
});

/// All of them; the last is that of any other kind.
pub fn lifetimes() -> &'static [Lifetime] {
    &ALL
}

/// That of a kind of appliance, as the rating plate names it.
pub fn lifetime(kind: &str) -> &'static Lifetime {
    let all = lifetimes();
    let wanted = kind.trim().to_lowercase();
    let found = all.iter().position(|l| l.kinds.contains(&wanted));
    &all[found.unwrap_or(all.len() - 1)]
}

#[cfg(test)]
mod tests {
    use super::{lifetime, lifetimes};
    use crate::Weibull;

    #[test]
    fn every_row_is_a_life_with_sources() {
        for l in lifetimes() {
            assert!(Weibull::of_mean(l.shape, l.mean_years).is_ok());
            for source in [&l.mean_source, &l.shape_source, &l.uses_source] {
                assert!(!source.is_empty());
            }
        }
        assert_eq!(lifetime("Dishwasher").mean_years, 12.0);
        assert_eq!(lifetime("mangle").uses_a_year, 200.0);
    }
}
