//! The keys of a machine file, table by table: what the reader accepts and what `wattmend machine schema` prints.

/// The form of a key's value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// Text.
    Text,
    /// A quantity in text, with its unit; the word says which: "minutes" is a bare number.
    Quantity(&'static str),
    /// A bare number.
    Number,
    /// `true` or `false`.
    Flag,
    /// A list of texts.
    Texts,
    /// A text or a list of texts.
    TextOrTexts,
    /// A table whose keys are free names.
    Names(&'static Table),
    /// A table.
    Table(&'static Table),
    /// A list of tables.
    Tables(&'static Table),
    /// Keys and texts, both free.
    TextByName,
    /// Keys free, values numbers.
    NumberByName,
    /// A list of pairs of texts.
    Pairs,
    /// A part: its own keys, and those of its kind.
    Parts,
}

/// A key of a table.
#[derive(Debug, PartialEq, Eq)]
pub struct Key {
    /// The key.
    pub name: &'static str,
    /// What its value looks like.
    pub form: Form,
    /// Must it be there?
    pub must: bool,
    /// What it means.
    pub about: &'static str,
}

/// A table of the file.
#[derive(Debug, PartialEq, Eq)]
pub struct Table {
    /// Its name for messages: `[machine]`.
    pub name: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
}

/// A key that must be there.
pub const fn must(name: &'static str, form: Form, about: &'static str) -> Key {
    Key { name, form, must: true, about }
}

/// A key that may be left out.
pub const fn may(name: &'static str, form: Form, about: &'static str) -> Key {
    Key { name, form, must: false, about }
}

/// The newest format this program reads.
pub const FORMAT: i64 = 1;

/// The whole file.
pub static FILE: Table = Table {
    name: "the file",
    keys: &[
        must("format", Form::Number, "version of the format; this program reads 1"),
        must("machine", Form::Table(&MACHINE), "the rating plate"),
        may("access", Form::Names(&PANEL), "panels, flaps and lids"),
        must("part", Form::Parts, "the parts"),
        may("loom", Form::Names(&LOOM), "wires, bundled as they lie in the machine"),
        may("guard", Form::Tables(&GUARD), "what the board refuses"),
        may("function", Form::Names(&FUNCTION), "ordinary use"),
        must("service-test", Form::Table(&SERVICE_TEST), "the machine's built-in test"),
        may("code", Form::Tables(&CODE), "fault codes"),
        may("check", Form::Tables(&CHECK), "checks that only this model needs"),
    ],
};

/// `[machine]`.
pub static MACHINE: Table = Table {
    name: "[machine]",
    keys: &[
        must("kind", Form::Text, "washing machine, tumble dryer, dishwasher, oven"),
        must("maker", Form::Text, "maker"),
        must("model", Form::Text, "model"),
        may("variants", Form::Texts, "variants that this file covers; parts may name those they exist in"),
        must("supply", Form::Text, "rated voltage and frequency: \"230 V 50 Hz\""),
        may("rated-power", Form::Quantity("power"), "rated power of the plate"),
        must("class", Form::Text, "protection class: I, II or III"),
        may(
            "heat-capacity",
            Form::Quantity("heat capacity"),
            "metal and plastic heated beside the water, J/K",
        ),
        may("note", Form::Text, "anything for a person"),
    ],
};

/// `[access.NAME]`.
pub static PANEL: Table = Table {
    name: "[access]",
    keys: &[
        must("minutes", Form::Number, "minutes to take off and put back"),
        may("after", Form::Texts, "panels that must be off before"),
        may("caution", Form::Text, "what could hurt, and what to do"),
    ],
};

/// `[part.NAME]`: the keys that every part may have. The rest are its kind's.
pub static PART: Table = Table {
    name: "[part]",
    keys: &[
        must("kind", Form::Text, "a part kind of the library"),
        may("behind", Form::TextOrTexts, "panels to take off to reach it"),
        may("order", Form::Text, "order code"),
        may("through", Form::TextOrTexts, "parts that its motion, water or pressure goes through"),
        may("watches", Form::Text, "for a sensor: the part whose speed, level or flow it reports"),
        may("pins", Form::TextByName, "for a part on the board: terminal = pin"),
        may("variants", Form::Texts, "variants that have the part; all where left out"),
        may(
            "rates",
            Form::NumberByName,
            "share of jobs in per cent by fault mode, where better known than the library",
        ),
        may("note", Form::Text, "anything for a person"),
        may("output", Form::Names(&OUTPUT), "for a control board: what it switches"),
        may("input", Form::Names(&INPUT), "for a control board: what it senses"),
    ],
};

/// `[part.BOARD.output]`, one entry.
pub static OUTPUT: Table = Table {
    name: "an output",
    keys: &[
        may("relay", Form::Texts, "the two points a relay joins"),
        may("triac", Form::Texts, "the two points a triac joins"),
        may("changeover", Form::Texts, "common point, point joined at rest, point joined when driven"),
        may("inverter", Form::Texts, "the three points of the motor's phases"),
        may("low-voltage", Form::Texts, "the two points of a low-voltage drive"),
        may("from", Form::Texts, "for an inverter: the two points that feed it"),
        may("motor", Form::Text, "the motor whose speed it sets"),
        may("reverse", Form::Texts, "outputs driven too for turning left"),
        may("rates", Form::NumberByName, "share of jobs in per cent by fault mode"),
        may("order", Form::Text, "order code, where it can be had apart from the board"),
    ],
};

/// `[part.BOARD.input]`, one entry.
pub static INPUT: Table = Table {
    name: "an input",
    keys: &[
        may("volts", Form::Text, "point whose volts against neutral it watches"),
        may("above", Form::Quantity("voltage"), "with `volts`: true above this"),
        may("ohms", Form::Texts, "the two points whose ohms it measures"),
        may("contact", Form::Texts, "the two points whose joining it watches"),
        may("from", Form::Text, "the part whose value it reads"),
        may("over", Form::Texts, "with `from`: the pins the signal comes over"),
        may("plausible", Form::Text, "the range it takes for plausible: \"800R .. 40k\""),
    ],
};

/// `[loom.NAME]`.
pub static LOOM: Table = Table {
    name: "[loom]",
    keys: &[
        must("wires", Form::Texts, "\"J2.1 = element.1\": what each wire joins"),
        may("behind", Form::TextOrTexts, "panels to take off to reach it"),
        may("order", Form::Text, "order code"),
        may("variants", Form::Texts, "variants that have it"),
        may("rates", Form::NumberByName, "share of jobs in per cent by fault mode, for each wire"),
    ],
};

/// `[[guard]]`.
pub static GUARD: Table = Table {
    name: "[[guard]]",
    keys: &[
        may("before", Form::Text, "output that is not switched on unless the needs hold"),
        may("while", Form::Text, "output that is watched while it is driven"),
        must("needs", Form::Texts, "conditions: \"level >= 4 l\", \"water-temp plausible\", \"door-proven\""),
        must("otherwise", Form::Text, "\"keeps off\", \"stops step\" or \"ends test\""),
        may("code", Form::Text, "code shown when any need fails"),
        may("codes", Form::TextByName, "code by need, where they differ"),
    ],
};

/// `[function.NAME]`.
pub static FUNCTION: Table = Table {
    name: "[function]",
    keys: &[
        must("complaints", Form::Texts, "what a customer says when it fails"),
        must("drives", Form::Texts, "what the board drives for it"),
        may("water", Form::Quantity("volume"), "water in the machine at that time"),
        may("until", Form::Text, "condition that must come about"),
        may("within", Form::Quantity("time"), "time for `until`"),
    ],
};

/// `[service-test]`.
pub static SERVICE_TEST: Table = Table {
    name: "[service-test]",
    keys: &[
        must("enter", Form::Text, "how to enter it, in the maker's words"),
        may("before", Form::Texts, "what must be so before"),
        may("leave", Form::Text, "how to leave it"),
        must("step", Form::Tables(&STEP), "the steps in order"),
    ],
};

/// `[[service-test.step]]`.
pub static STEP: Table = Table {
    name: "[[service-test.step]]",
    keys: &[
        must("id", Form::Text, "short name"),
        may("says", Form::Text, "what the step is"),
        may("drives", Form::Texts, "outputs: \"heat\", \"drum 45 rpm right\", \"drum 50 rpm both ways\""),
        may("see", Form::Text, "what should be seen"),
        may("hear", Form::Text, "what should be heard"),
        may("shows-code", Form::Flag, "the step shows the stored code"),
        must("goes-on", Form::Text, "\"by itself\", or what to press"),
        may("until", Form::Text, "condition that ends the step"),
        may("at-most", Form::Quantity("time"), "longest time"),
        may("lasts", Form::Quantity("time"), "usual time"),
        may("ramp", Form::Quantity("time"), "time in which the drum comes up to speed"),
        may("caution", Form::Text, "what could hurt in this step, and what to do"),
        may("then", Form::Table(&THEN), "danger on the way into the next step"),
    ],
};

/// `then` of a step.
pub static THEN: Table = Table {
    name: "then",
    keys: &[
        must("caution", Form::Text, "what can happen, and what to do"),
        must("wait", Form::Text, "what to wait for"),
        may("run-down", Form::Quantity("time"), "time until the drum stands"),
    ],
};

/// `[[code]]`.
pub static CODE: Table = Table {
    name: "[[code]]",
    keys: &[
        must("id", Form::Text, "the code"),
        must("says", Form::Text, "its meaning"),
        may("lamps", Form::Texts, "lamps that show it where there is no display"),
    ],
};

/// `[[check]]`.
pub static CHECK: Table = Table {
    name: "[[check]]",
    keys: &[
        must("id", Form::Text, "short name"),
        must("ask", Form::Text, "question answered yes or no"),
        must("minutes", Form::Number, "minutes, once reached"),
        may("behind", Form::TextOrTexts, "panels to take off"),
        may(
            "power",
            Form::Text,
            "how the machine is supplied meanwhile: \"dead\" (the default), \"closed\" (on, nothing open) or \"live\"",
        ),
        may("caution", Form::Text, "what could hurt, and what to do"),
        must(
            "yes-with",
            Form::Texts,
            "\"part: mode\" faults in which the answer is yes; \"healthy\" where nothing is wrong",
        ),
    ],
};
