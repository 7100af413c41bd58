//! Logging in: people of the firm by name and passphrase (sessions in the records), and whoever started the bench by its
//! passphrase (sessions end with the program). Guesses come one after the other and are slowed down.

use crate::ServeError;
use crate::assets;
use crate::desk::Desk;
use crate::pages::layout::{Layout, page};
use crate::problem::Problem;
use crate::who::Who;
use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use askama::Template;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::{get, post};
use axum::{Extension, Router};
use jiff::{Timestamp, ToSpan};
use records::{Records, UserId};
use serde::Deserialize;
use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, OnceLock, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::Semaphore;

/// Shortest passphrase, characters.
const SHORTEST: usize = 10;
/// Longest name that is looked up, characters.
const LONGEST_NAME: usize = 100;
/// Guesses that may wait for their turn; who comes after them comes again later.
const WAITING: usize = 8;
/// Longest passphrase that is hashed, bytes.
const LONGEST: usize = 1_000;
/// Wrong passphrases in a row for one name before it waits, and for how long.
const TRIES: u32 = 5;
const PAUSE: Duration = Duration::from_secs(30);
/// Names whose wrong passphrases are counted; past this, all are forgotten, which costs a guesser more than it gains.
const MOST_NAMES: usize = 10_000;
/// Sessions of the bench's own passphrase that are kept; past this all log in again.
const MOST_OWNERS: usize = 200;
/// How long a person stays logged in, hours.
const HOURS: i64 = 14 * 24;
const COOKIE: &str = "wattmend-session";

/// The passphrase of the bench itself: its Argon2id string (RFC 9106).
pub struct Lock(String);

impl Lock {
    /// A lock for this passphrase.
    ///
    /// # Errors
    /// Where it is too short, or this computer gives no random numbers.
    pub fn new(passphrase: &str) -> Result<Lock, ServeError> {
        hashed(passphrase).map(Lock).map_err(|p| ServeError { message: p.message, remedy: p.remedy })
    }
}

/// The Argon2id string of a passphrase, with a salt of its own.
pub(crate) fn hashed(passphrase: &str) -> Result<String, Problem> {
    let passphrase = passphrase.trim();
    if passphrase.chars().count() < SHORTEST || passphrase.len() > LONGEST {
        return Err(Problem::refused(
            format!("the passphrase is shorter than {SHORTEST} characters, or longer than {LONGEST} bytes"),
            "take a few words that do not belong together",
        ));
    }
    let hash = Argon2::default().hash_password(passphrase.as_bytes());
    hash.map(|h| h.to_string()).map_err(|e| Problem::ours(format!("no passphrase could be made ({e})")))
}

/// Is this the passphrase of that string?
fn fits(passphrase: &str, hash: &str) -> bool {
    let passphrase = passphrase.trim();
    passphrase.len() <= LONGEST
        && PasswordHash::new(hash)
            .is_ok_and(|h| Argon2::default().verify_password(passphrase.as_bytes(), &h).is_ok())
}

/// Who comes in, and by what.
pub(crate) struct Gate {
    /// The passphrase of the bench; none where it serves this computer only.
    lock: Option<Arc<Lock>>,
    /// Sessions of who gave it.
    owners: Mutex<HashSet<String>>,
    /// By name, small letters; the bench's own has none.
    tries: Mutex<HashMap<String, Tries>>,
    /// One guess is looked at at a time: hashing is made to take long, and guesses at once would not be counted one by one.
    turn: Semaphore,
    /// Guesses that wait for their turn, and the one that has it.
    queue: Semaphore,
    /// What is sent is encrypted.
    secure: bool,
    /// Takes as long as a true one, for names that nobody has; made when it is needed.
    nobody: OnceLock<String>,
}

#[derive(Default)]
struct Tries {
    wrong: u32,
    shut_until: Option<Instant>,
}

impl Gate {
    pub(crate) fn new(lock: Option<Arc<Lock>>, secure: bool) -> Gate {
        Gate {
            lock,
            owners: Mutex::default(),
            tries: Mutex::default(),
            turn: Semaphore::new(1),
            queue: Semaphore::new(WAITING),
            secure,
            nobody: OnceLock::new(),
        }
    }

    /// Who sent this; none: nobody who may come in.
    pub(crate) async fn who(&self, desk: &Arc<Desk>, headers: &HeaderMap) -> Result<Option<Who>, Problem> {
        if let Some(token) = token(headers) {
            if self.owners.lock().unwrap_or_else(PoisonError::into_inner).contains(&token) {
                return Ok(Some(Who::Owner));
            }
            let session = desk.with_records(move |r| r.session(&token, Timestamp::now())).await?;
            if let Some(session) = session {
                return Ok(Some(Who::Person(session.user)));
            }
        }
        if self.lock.is_none() && desk.with_records(Records::users).await?.is_empty() {
            return Ok(Some(Who::Owner));
        }
        Ok(None)
    }

    /// The same, in its turn and where hashing holds nobody else up.
    async fn open_in_turn(
        self: &Arc<Self>,
        desk: &Arc<Desk>,
        given: Given,
    ) -> Result<(String, Option<i64>), Problem> {
        let busy = || Problem {
            status: StatusCode::TOO_MANY_REQUESTS,
            message: "too many are logging in at once".to_owned(),
            remedy: "wait a few seconds, then try again".to_owned(),
        };
        let _place = self.queue.try_acquire().map_err(|_| busy())?;
        let _turn = self.turn.acquire().await.map_err(|_| busy())?;
        let (gate, desk) = (self.clone(), desk.clone());
        let opened =
            tokio::task::spawn_blocking(move || gate.open(&desk, &given.name, &given.passphrase)).await;
        opened.map_err(|_| Problem::ours("the lock broke off"))?
    }

    /// A session for who gives the right passphrase: its token, and how many seconds it lasts (none: with the program).
    fn open(&self, desk: &Desk, name: &str, passphrase: &str) -> Result<(String, Option<i64>), Problem> {
        let name = name.trim();
        if name.chars().count() > LONGEST_NAME {
            return Err(Problem::refused(
                format!("no name here is longer than {LONGEST_NAME} characters"),
                "type the name as it stands in Settings, under People",
            ));
        }
        let user = if name.is_empty() { None } else { desk.records().user_to_log_in(name)? };
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        if tries.len() >= MOST_NAMES {
            tries.clear();
        }
        let mine = tries.entry(name.to_lowercase()).or_default();
        if mine.shut_until.is_some_and(|until| until > Instant::now()) {
            return Err(Problem {
                status: StatusCode::TOO_MANY_REQUESTS,
                message: "too many wrong passphrases".to_owned(),
                remedy: format!("wait {} s, then try again", PAUSE.as_secs()),
            });
        }
        let hash = match (&user, &self.lock) {
            (Some((_, hash)), _) => hash,
            (None, Some(lock)) if name.is_empty() => &lock.0,
            // Where it fails, an unknown name is refused sooner than a known one, and no more.
            _ => self.nobody.get_or_init(|| hashed("nobody has this passphrase").unwrap_or_default()),
        };
        let is_known = user.is_some() || (name.is_empty() && self.lock.is_some());
        if !(fits(passphrase, hash) && is_known) {
            mine.wrong += 1;
            if mine.wrong >= TRIES {
                *mine = Tries { wrong: 0, shut_until: Some(Instant::now() + PAUSE) };
            }
            return Err(Problem {
                status: StatusCode::UNAUTHORIZED,
                message: "name and passphrase do not belong together".to_owned(),
                remedy: "try again, or ask who looks after the bench".to_owned(),
            });
        }
        *mine = Tries::default();
        drop(tries);
        let token = new_token()?;
        let Some((user, _)) = user else {
            let mut owners = self.owners.lock().unwrap_or_else(PoisonError::into_inner);
            if owners.len() >= MOST_OWNERS {
                owners.clear();
            }
            owners.insert(token.clone());
            return Ok((token, None));
        };
        open_session(desk.records(), user.id, &token)?;
        Ok((token, Some(HOURS * 3600)))
    }

    fn cookie(&self, token: &str, lasts: Option<i64>) -> Result<HeaderValue, Problem> {
        let secure = if self.secure { "; Secure" } else { "" };
        let lasts = lasts.map_or(String::new(), |s| format!("; Max-Age={s}"));
        let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/{secure}{lasts}");
        HeaderValue::from_str(&cookie).map_err(|_| Problem::ours("no cookie could be made"))
    }

    /// Logs in whoever was just added as the first of the people: the cookie.
    pub(crate) async fn first_one(&self, desk: &Arc<Desk>, id: UserId) -> Result<HeaderValue, Problem> {
        let token = new_token()?;
        let cookie = self.cookie(&token, Some(HOURS * 3600))?;
        desk.with_records(move |r| open_session(r, id, &token)).await?;
        Ok(cookie)
    }
}

fn open_session(records: &Records, id: UserId, token: &str) -> Result<(), records::RecordsError> {
    let now = Timestamp::now();
    let expires = now.checked_add(HOURS.hours()).unwrap_or(Timestamp::MAX);
    records.open_session(id, token, now, expires)
}

fn new_token() -> Result<String, Problem> {
    let mut token = [0; 32];
    getrandom::fill(&mut token)
        .map_err(|e| Problem::ours(format!("this computer gives no random numbers ({e})")))?;
    Ok(token.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat())
}

fn token(headers: &HeaderMap) -> Option<String> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok());
    let mut pairs = cookies.flat_map(|v| v.split(';')).filter_map(|c| c.trim().split_once('='));
    pairs.find(|(name, _)| *name == COOKIE).map(|(_, value)| value.to_owned())
}

/// May this be asked for without a session?
pub(crate) fn is_open(path: &str) -> bool {
    ["/login", "/bench.css", "/live.css", "/bench.js", "/phrases.js"].contains(&path)
}

pub(crate) fn routes() -> Router<Arc<Desk>> {
    Router::new().route("/login", get(ask).post(open)).route("/logout", post(leave))
}

#[derive(Template)]
#[template(path = "login.html")]
struct Ask {
    layout: Layout,
    by_name: bool,
    /// The bench has a passphrase of its own.
    has_own: bool,
    refused: Option<Problem>,
    name: String,
}

impl Ask {
    async fn page(
        desk: &Arc<Desk>,
        gate: &Gate,
        name: String,
        refused: Option<Problem>,
    ) -> Result<Response, Problem> {
        let by_name = !desk.with_records(Records::users).await?.is_empty();
        let layout = Layout {
            title: "Log in".to_owned(),
            place: "",
            demo: false,
            version: assets::version(),
            who: String::new(),
            phrases: desk.language.now().version.clone(),
        };
        page(&Ask { layout, by_name, has_own: gate.lock.is_some(), refused, name })
    }
}

async fn ask(
    State(desk): State<Arc<Desk>>,
    Extension(gate): Extension<Arc<Gate>>,
) -> Result<Response, Problem> {
    Ask::page(&desk, &gate, String::new(), None).await
}

#[derive(Deserialize)]
struct Given {
    #[serde(default)]
    name: String,
    passphrase: String,
}

async fn open(
    State(desk): State<Arc<Desk>>,
    Extension(gate): Extension<Arc<Gate>>,
    Form(given): Form<Given>,
) -> Result<Response, Problem> {
    let name: String = given.name.chars().take(LONGEST_NAME).collect();
    match gate.open_in_turn(&desk, given).await {
        Ok((token, lasts)) => {
            let mut answer = Redirect::to("/").into_response();
            answer.headers_mut().insert(header::SET_COOKIE, gate.cookie(&token, lasts)?);
            Ok(answer)
        }
        Err(problem) => {
            let status = problem.status;
            Ok((status, Ask::page(&desk, &gate, name, Some(problem)).await?).into_response())
        }
    }
}

async fn leave(
    State(desk): State<Arc<Desk>>,
    Extension(gate): Extension<Arc<Gate>>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    if let Some(token) = token(&headers) {
        gate.owners.lock().unwrap_or_else(PoisonError::into_inner).remove(&token);
        desk.with_records(move |r| r.end_session(&token)).await?;
    }
    let mut answer = Redirect::to("/login").into_response();
    answer.headers_mut().insert(header::SET_COOKIE, gate.cookie("", Some(0))?);
    Ok(answer)
}
