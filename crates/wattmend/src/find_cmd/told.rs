//! Evidence on the command line, in the order in which it was given.

use clap::{Arg, ArgAction, ArgMatches, Command, FromArgMatches};

/// An option that tells something.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Tells {
    Complaint,
    Works,
    Code,
    Lamps,
    Reading,
    Saw,
    Answer,
    Mended,
}

/// What each option is called, takes and means.
const OPTIONS: [(Tells, &str, &str, &str); 8] = [
    (Tells::Complaint, "complaint", "WORDS", "What the customer says fails: \"does not heat\""),
    (Tells::Works, "works", "FUNCTION", "A function that works: fills"),
    (Tells::Code, "code", "CODE", "The code that is shown or stored, or none"),
    (Tells::Lamps, "lamps", "LAMP,…", "The lamps that are lit, where codes are shown so"),
    (
        Tells::Reading,
        "reading",
        "READING",
        "\"element.1 element.2 = OL\", \"J2.1 J2.3 off J2 = 26R4\", \"step warm: 2.02 kW 8,8 A\"",
    ),
    (
        Tells::Saw,
        "saw",
        "STEP: SIGN=yes|no",
        "What was seen, heard or felt in a step: \"right: drum turns\"=no",
    ),
    (
        Tells::Answer,
        "answer",
        "CHECK=ANSWER",
        "The answer to a check by its id: \"hand drum turn\"=yes, or =\"could not\"",
    ),
    (
        Tells::Mended,
        "mended",
        "PART[=yes|no]",
        "A part that was changed or mended, and whether the machine works with it",
    ),
];

/// Evidence on the command line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(crate) struct Told(pub(crate) Vec<(Tells, String)>);

impl Told {
    /// The option's name.
    pub(crate) fn option(tells: Tells) -> String {
        OPTIONS.iter().find(|o| o.0 == tells).map_or(String::new(), |o| format!("--{}", o.1))
    }
}

impl FromArgMatches for Told {
    fn from_arg_matches(matches: &ArgMatches) -> Result<Self, clap::Error> {
        let mut all: Vec<(usize, Tells, String)> = Vec::new();
        for (tells, name, ..) in OPTIONS {
            let places = matches.indices_of(name).into_iter().flatten();
            let values = matches.get_many::<String>(name).into_iter().flatten();
            all.extend(places.zip(values).map(|(place, value)| (place, tells, value.clone())));
        }
        all.sort_by_key(|a| a.0);
        Ok(Told(all.into_iter().map(|(_, tells, value)| (tells, value)).collect()))
    }

    fn update_from_arg_matches(&mut self, matches: &ArgMatches) -> Result<(), clap::Error> {
        *self = Told::from_arg_matches(matches)?;
        Ok(())
    }
}

impl clap::Args for Told {
    fn augment_args(command: Command) -> Command {
        OPTIONS.into_iter().fold(command, |command, (_, name, takes, about)| {
            command.arg(Arg::new(name).long(name).value_name(takes).help(about).action(ArgAction::Append))
        })
    }

    fn augment_args_for_update(command: Command) -> Command {
        Told::augment_args(command)
    }
}

#[cfg(test)]
mod tests {
    use super::{Tells, Told};
    use clap::{Args, Command, FromArgMatches};

    #[test]
    fn the_order_is_kept_across_options() {
        let given = ["find", "--reading", "a", "--mended", "b", "--reading", "c", "--complaint", "d"];
        let matches = Told::augment_args(Command::new("find")).try_get_matches_from(given).unwrap();
        let told = Told::from_arg_matches(&matches).unwrap();
        let order: Vec<(Tells, &str)> = told.0.iter().map(|(t, v)| (*t, v.as_str())).collect();
        assert_eq!(
            order,
            [(Tells::Reading, "a"), (Tells::Mended, "b"), (Tells::Reading, "c"), (Tells::Complaint, "d")]
        );
    }
}
