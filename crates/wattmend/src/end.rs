//! How a command ends: its text, and the exit code that scripts go by.

/// The exit codes as `--help` prints them; `docs/exit-codes.md` says the same at more length.
pub(crate) const EXIT_CODES: &str = "\
Exit codes:
  0  done (warnings may have been printed)
  1  a bug in Wattmend
  2  wrong use of the command line
  3  a file was refused: not readable, or with errors
  4  nothing predicted or found: no such part, fault, step or point, a value that cannot be read,
     or evidence that fits no fault at all
  5  an output could not be written, or is there already
  6  a meter was not heard, or nothing could be read from it";

/// How a command ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum End {
    /// It did what was asked.
    Done,
    /// A bug of ours.
    Bug,
    /// The command line makes no sense.
    WrongUse,
    /// A machine file is not readable or has errors.
    FileRefused,
    /// The request names what the machine has not, or a value that cannot be read.
    AskedWrongly,
    /// An output cannot be written, or would overwrite something.
    NotWritten,
    /// A meter was not heard, or nothing could be read from what it sent.
    Unheard,
}

impl End {
    /// The exit code.
    pub(crate) fn code(self) -> u8 {
        match self {
            End::Done => 0,
            End::Bug => 1,
            End::WrongUse => 2,
            End::FileRefused => 3,
            End::AskedWrongly => 4,
            End::NotWritten => 5,
            End::Unheard => 6,
        }
    }
}

/// What goes to standard output, and how the command ends.
#[derive(Debug)]
pub(crate) struct Done {
    pub(crate) text: String,
    pub(crate) end: End,
}

/// What goes to standard error, and how the command ends.
#[derive(Debug)]
pub(crate) struct Failure {
    pub(crate) text: String,
    pub(crate) end: End,
}

/// What comes of a command.
pub(crate) type Answer = Result<Done, Failure>;

impl Done {
    /// Ends well with this text.
    pub(crate) fn with(text: String) -> Done {
        Done { text, end: End::Done }
    }
}

impl Failure {
    /// One message and what to do about it.
    pub(crate) fn new(end: End, message: &str, remedy: &str) -> Failure {
        Failure { text: format!("error: {message}\n  = to mend: {remedy}\n"), end }
    }

    /// The request cannot be answered for this machine.
    pub(crate) fn asked_wrongly(message: &str, remedy: &str) -> Failure {
        Failure::new(End::AskedWrongly, message, remedy)
    }
}
