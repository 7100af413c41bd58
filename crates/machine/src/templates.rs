//! Commented starting files for new machines, one a kind of appliance.

/// A starting file.
#[derive(Debug)]
pub struct Template {
    /// What `wattmend machine new` calls it.
    pub name: &'static str,
    /// What it is for.
    pub about: &'static str,
    /// The file.
    pub text: &'static str,
}

/// All starting files. Each reads without an error (`tests/templates.rs`).
pub static ALL: [Template; 5] = [
    Template {
        name: "washing-machine-brushed",
        about: "washing machine with a brushed motor on a triac",
        text: include_str!("templates/washing-machine-brushed.toml"),
    },
    Template {
        name: "washing-machine-inverter",
        about: "washing machine with a motor on an inverter",
        text: include_str!("templates/washing-machine-inverter.toml"),
    },
    Template {
        name: "tumble-dryer",
        about: "tumble dryer with heater and condenser",
        text: include_str!("templates/tumble-dryer.toml"),
    },
    Template {
        name: "dishwasher",
        about: "dishwasher with circulation pump and heater",
        text: include_str!("templates/dishwasher.toml"),
    },
    Template {
        name: "oven",
        about: "oven with upper and lower heat, grill and fan",
        text: include_str!("templates/oven.toml"),
    },
];

/// The starting file with this name.
pub fn by_name(name: &str) -> Option<&'static Template> {
    ALL.iter().find(|t| t.name == name)
}
