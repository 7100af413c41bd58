//! What each kind of part looks like. Plain symbols in the manner of IEC 60617, drawn here.

/// The form of a symbol. Everything not listed is a box.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Symbol {
    Plug,
    Box,
    Resistor,
    Thermistor,
    Coil,
    Capacitor,
    Fuse,
    BreakContact,
    MakeContact,
    Triac,
    Motor,
    Lamp,
}

/// The symbol of a part kind by its name. For the eye only: an unknown kind is drawn as a box with its name.
pub(crate) fn symbol_of(kind: &str) -> Symbol {
    match kind {
        "cord" => Symbol::Plug,
        "heating element" => Symbol::Resistor,
        "ntc" | "ptc heater" | "platinum sensor" => Symbol::Thermistor,
        "inlet valve" | "tacho" => Symbol::Coil,
        "capacitor" => Symbol::Capacitor,
        "fuse" => Symbol::Fuse,
        "thermal cut-out" | "thermostat" => Symbol::BreakContact,
        "relay output" | "door switch" => Symbol::MakeContact,
        "triac output" | "low-voltage output" => Symbol::Triac,
        "drain pump"
        | "circulation pump"
        | "fan"
        | "brushed motor"
        | "capacitor-run motor"
        | "three-phase motor"
        | "permanent-magnet motor"
        | "compressor" => Symbol::Motor,
        "lamp" => Symbol::Lamp,
        _ => Symbol::Box,
    }
}

/// The SVG of a symbol about its middle, lying along x from −20 to +20; `M` of a motor is set upright by the caller.
pub(crate) fn body(symbol: Symbol) -> &'static str {
    match symbol {
        Symbol::Resistor => r#"<path d="M-20 0h4M16 0h4"/><rect x="-16" y="-6" width="32" height="12"/>"#,
        Symbol::Thermistor => {
            r#"<path d="M-20 0h4M16 0h4M-14 10h6L10 -10"/><rect x="-16" y="-6" width="32" height="12"/>"#
        }
        Symbol::Coil => r#"<path d="M-20 0h4a4 4 0 0 1 8 0a4 4 0 0 1 8 0a4 4 0 0 1 8 0a4 4 0 0 1 8 0h4"/>"#,
        Symbol::Capacitor => r#"<path d="M-20 0h17M-3 -9v18M3 -9v18M3 0h17"/>"#,
        Symbol::Fuse => r#"<path d="M-20 0h40"/><rect x="-14" y="-5" width="28" height="10"/>"#,
        Symbol::BreakContact => r#"<path d="M-20 0h10L12 -6M10 -9v9h10M-2 -3v9h5"/>"#,
        Symbol::MakeContact => r#"<path d="M-20 0h10L10 -9M10 0h10"/>"#,
        Symbol::Triac => {
            r#"<path d="M-20 0h14M6 0h14M-6 -9v18M6 -9v18M-6 -9l12 5l-12 5M6 -1l-12 5l12 5M6 9l5 3"/>"#
        }
        Symbol::Motor => r#"<path d="M-20 0h10M10 0h10"/><circle r="10"/>"#,
        Symbol::Lamp => r#"<path d="M-20 0h11M9 0h11M-6 -6l12 12M-6 6l12 -12"/><circle r="9"/>"#,
        Symbol::Plug | Symbol::Box => {
            r#"<path d="M-20 0h4M16 0h4"/><rect x="-16" y="-8" width="32" height="16"/>"#
        }
    }
}

/// Protective earth below the point it hangs from.
pub(crate) const EARTH: &str = r#"<path d="M0 0v8M-9 8h18M-6 11.5h12M-3 15h6"/>"#;
