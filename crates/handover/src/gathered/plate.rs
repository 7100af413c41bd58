//! The rating plate.

use crate::record::{Part, Plate};
use machine::model::{self, Class, Machine};
use quantity::{Dimension, format};

impl Plate {
    /// As it stands in the machine file; the serial number stands in none.
    pub fn of(machine: &Machine, variant: Option<&str>, serial: &str) -> Plate {
        let plate = &machine.plate;
        let class = match plate.class {
            Class::I => "class I (earthed metal)",
            Class::II => "class II (double insulation)",
            Class::III => "class III (safety extra-low voltage)",
        };
        let mut ratings = vec![format!("{} V {} Hz", plate.supply_v, plate.supply_hz)];
        ratings.extend(plate.rated_w.map(|w| format(w, Dimension::Power)));
        ratings.push(class.to_owned());
        Plate {
            kind: plate.kind.clone(),
            maker: plate.maker.clone(),
            model: plate.model.clone(),
            variant: variant.unwrap_or_default().to_owned(),
            serial: serial.to_owned(),
            ratings,
        }
    }
}

impl Part {
    /// What a part of a machine file is called on paper.
    pub fn name(part: &model::Part) -> String {
        if part.id == part.kind.name { part.id.clone() } else { format!("{} ({})", part.id, part.kind.name) }
    }
}
