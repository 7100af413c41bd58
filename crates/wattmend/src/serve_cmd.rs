//! `wattmend serve`: the bench in the browser.

use crate::end::{Answer, Done, End, Failure};
use server::{Desk, Door, Lock, ServeError, Tls};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// Where the bench listens where nothing else is asked for.
const AT: &str = "127.0.0.1:8423";

#[derive(clap::Args)]
pub(crate) struct Arguments {
    /// Folder of the records and of your own machine files; made where it is not there
    #[arg(long, value_name = "DIR")]
    data: Option<PathBuf>,
    /// Address and port to listen on; beyond this computer only with a passphrase
    #[arg(long, value_name = "ADDR:PORT", default_value = AT)]
    listen: SocketAddr,
    /// File whose first line is the passphrase that a bench on the network asks for
    #[arg(long, value_name = "FILE")]
    passphrase_file: Option<PathBuf>,
    /// File of the sockets and their meters (docs/meters.md); else meters.toml in the folder of the records
    #[arg(long, value_name = "FILE", conflicts_with = "demo")]
    meters: Option<PathBuf>,
    /// Encrypt with a certificate that is made for you; a browser warns once, compare the fingerprint that is printed
    #[arg(long, conflicts_with_all = ["cert", "key"])]
    tls: bool,
    /// Encrypt with your own certificate (PEM); with --key
    #[arg(long, value_name = "FILE", requires = "key")]
    cert: Option<PathBuf>,
    /// Key of your own certificate (PEM)
    #[arg(long, value_name = "FILE", requires = "cert")]
    key: Option<PathBuf>,
    /// A scratch copy with an invented harbour town, to try everything; gone when the program ends
    #[arg(long, conflicts_with = "data")]
    demo: bool,
}

/// Runs it until it is told to end.
pub(crate) fn run(arguments: &Arguments) -> Answer {
    let door = arguments.door()?;
    let scratch = if arguments.demo { Some(Scratch::make()?) } else { None };
    let folder = match (&scratch, &arguments.data) {
        (Some(scratch), _) => scratch.0.clone(),
        (None, Some(folder)) => folder.clone(),
        (None, None) => own_folder()?,
    };
    let desk = Arc::new(Desk::open(&folder, arguments.demo)?);
    if let Some(meters) = &arguments.meters {
        std::fs::metadata(meters).map_err(|e| {
            Failure::new(
                End::FileRefused,
                &format!("{}: {e}", meters.display()),
                "name a file of meters with --meters",
            )
        })?;
        desk.use_meters(meters);
    }
    if arguments.demo {
        server::demo_meters(&folder)?;
        server::scenario(desk.records(), &server::now())
            .map_err(|e| Failure::new(End::NotWritten, &e.message, &e.remedy))?;
    }
    let tls = arguments.tls(&folder)?;
    server::serve(desk, door, arguments.listen, tls.as_ref(), |at| {
        let scheme = if tls.is_some() { "https" } else { "http" };
        println!(
            "The bench is at {scheme}://{at}/ (end it with Ctrl-C). Records: {}",
            shown(&folder, arguments.demo)
        );
        if let Some(tls) = &tls {
            println!("Fingerprint of its certificate (SHA-256): {}", tls.fingerprint);
        }
    })?;
    Ok(Done::with(String::new()))
}

fn shown(folder: &Path, demo: bool) -> String {
    if demo { "a scratch copy, gone at the end".to_owned() } else { folder.display().to_string() }
}

impl Arguments {
    /// With which certificate, if any.
    fn tls(&self, folder: &Path) -> Result<Option<Tls>, Failure> {
        match (&self.cert, &self.key) {
            (Some(cert), Some(key)) => Ok(Some(Tls::own(cert, key)?)),
            _ if self.tls => Ok(Some(Tls::made(folder, self.listen)?)),
            _ => Ok(None),
        }
    }

    /// Who may come in.
    fn door(&self) -> Result<Door, Failure> {
        let Some(file) = &self.passphrase_file else {
            return if self.listen.ip().is_loopback() {
                Ok(Door::ThisComputer)
            } else {
                Err(Failure::new(
                    End::WrongUse,
                    &format!("a bench on the network ({}) needs a passphrase", self.listen),
                    "write one of at least 10 characters into a file that only you may read, and name it with \
                     --passphrase-file; add --tls, or use it only in a network that you trust",
                ))
            };
        };
        let refused = |what: String| {
            Failure::new(End::FileRefused, &what, "name a text file whose first line is the passphrase")
        };
        let text = std::fs::read_to_string(file).map_err(|e| refused(format!("{}: {e}", file.display())))?;
        let lock = Lock::new(text.lines().next().unwrap_or_default())?;
        Ok(Door::Network(Arc::new(lock)))
    }
}

/// The folder of a user who named none (XDG Base Directory Specification 0.8, XDG_DATA_HOME).
pub(crate) fn own_folder() -> Result<PathBuf, Failure> {
    let set = |name: &str| std::env::var_os(name).map(PathBuf::from).filter(|p| p.is_absolute());
    let data = set("XDG_DATA_HOME").or_else(|| set("HOME").map(|home| home.join(".local/share")));
    data.map(|data| data.join("wattmend")).ok_or_else(|| {
        Failure::new(End::WrongUse, "no folder for the records is known", "name one with --data DIR")
    })
}

/// A folder of its own that is deleted at the end.
struct Scratch(PathBuf);

impl Scratch {
    fn make() -> Result<Scratch, Failure> {
        let folder = std::env::temp_dir().join(format!("wattmend-demo-{}", std::process::id()));
        // Made new: a folder that somebody else put there is not used.
        std::fs::create_dir(&folder).map_err(|e| {
            Failure::new(
                End::NotWritten,
                &format!("the scratch folder {} cannot be made: {e}", folder.display()),
                "set TMPDIR to a folder that you may write to",
            )
        })?;
        Ok(Scratch(folder))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        // What cannot be deleted lies in the folder for temporary files, which the system empties.
        let _ = std::fs::remove_dir_all(&self.0);
    }
}

impl From<ServeError> for Failure {
    fn from(error: ServeError) -> Failure {
        Failure::new(End::NotWritten, &error.message, &error.remedy)
    }
}
