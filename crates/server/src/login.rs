//! The passphrase of a bench that listens on the network, and who has given it. Sessions end with the program.

use crate::ServeError;
use crate::assets;
use crate::pages::layout::{Layout, page};
use crate::problem::Problem;
use argon2::Argon2;
use askama::Template;
use axum::Router;
use axum::extract::{Form, State};
use axum::http::{HeaderMap, HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Redirect, Response};
use axum::routing::get;
use serde::Deserialize;
use std::collections::HashSet;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

/// Shortest passphrase, characters.
const SHORTEST: usize = 10;
/// Wrong passphrases in a row before the lock waits, and for how long.
const TRIES: u32 = 5;
const PAUSE: Duration = Duration::from_secs(30);
/// Sessions that are kept; the oldest are not told from the newest, so past this all log in again.
const MOST_SESSIONS: usize = 200;
const COOKIE: &str = "wattmend-session";

/// The lock of the door: a salted hash of the passphrase (Argon2id, RFC 9106), and the sessions of who gave it.
pub struct Lock {
    salt: [u8; 16],
    hash: [u8; 32],
    sessions: Mutex<HashSet<String>>,
    tries: Mutex<Tries>,
}

#[derive(Default)]
struct Tries {
    wrong: u32,
    shut_until: Option<Instant>,
}

impl Lock {
    /// A lock for this passphrase.
    ///
    /// # Errors
    /// Where it is too short, or this computer gives no random numbers.
    pub fn new(passphrase: &str) -> Result<Lock, ServeError> {
        let passphrase = passphrase.trim();
        if passphrase.chars().count() < SHORTEST {
            return Err(ServeError {
                message: format!("the passphrase is shorter than {SHORTEST} characters"),
                remedy: "take a few words that do not belong together".to_owned(),
            });
        }
        let mut salt = [0; 16];
        getrandom::fill(&mut salt).map_err(no_random)?;
        let hash = hash(passphrase, &salt)?;
        Ok(Lock { salt, hash, sessions: Mutex::default(), tries: Mutex::default() })
    }

    /// Has who sent this given the passphrase?
    pub(crate) fn knows(&self, headers: &HeaderMap) -> bool {
        let sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        let cookies =
            headers.get_all(header::COOKIE).iter().filter_map(|v| v.to_str().ok()).flat_map(|v| v.split(';'));
        cookies
            .filter_map(|c| c.trim().split_once('='))
            .any(|(name, value)| name == COOKIE && sessions.contains(value))
    }

    /// A session for who gives the right passphrase.
    fn open(&self, passphrase: &str) -> Result<String, Problem> {
        // Held while the hash is made: guesses come one after the other, never side by side.
        let mut tries = self.tries.lock().unwrap_or_else(PoisonError::into_inner);
        if tries.shut_until.is_some_and(|until| until > Instant::now()) {
            return Err(Problem {
                status: StatusCode::TOO_MANY_REQUESTS,
                message: "too many wrong passphrases".to_owned(),
                remedy: format!("wait {} s, then try again", PAUSE.as_secs()),
            });
        }
        let given = hash(passphrase.trim(), &self.salt).map_err(|e| Problem::ours(e.message))?;
        // All bytes are looked at, so that the time tells nothing.
        if given.iter().zip(&self.hash).fold(0, |differs, (a, b)| differs | (a ^ b)) != 0 {
            tries.wrong += 1;
            if tries.wrong >= TRIES {
                *tries = Tries { wrong: 0, shut_until: Some(Instant::now() + PAUSE) };
            }
            return Err(Problem {
                status: StatusCode::UNAUTHORIZED,
                message: "this is not the passphrase".to_owned(),
                remedy: "ask who started the bench".to_owned(),
            });
        }
        *tries = Tries::default();
        let mut token = [0; 32];
        getrandom::fill(&mut token).map_err(|e| Problem::ours(no_random(e).message))?;
        let token = token.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat();
        let mut sessions = self.sessions.lock().unwrap_or_else(PoisonError::into_inner);
        if sessions.len() >= MOST_SESSIONS {
            sessions.clear();
        }
        sessions.insert(token.clone());
        Ok(token)
    }
}

fn no_random(e: getrandom::Error) -> ServeError {
    ServeError {
        message: format!("this computer gives no random numbers: {e}"),
        remedy: "listen on 127.0.0.1".to_owned(),
    }
}

fn hash(passphrase: &str, salt: &[u8]) -> Result<[u8; 32], ServeError> {
    let mut hash = [0; 32];
    Argon2::default().hash_password_into(passphrase.as_bytes(), salt, &mut hash).map_err(|e| ServeError {
        message: format!("the passphrase cannot be used: {e}"),
        remedy: "choose another".to_owned(),
    })?;
    Ok(hash)
}

/// May this be asked for without a session?
pub(crate) fn is_open(path: &str) -> bool {
    ["/login", "/bench.css", "/live.css", "/bench.js"].contains(&path)
}

pub(crate) fn routes(lock: Arc<Lock>) -> Router {
    Router::new().route("/login", get(ask).post(open)).with_state(lock)
}

#[derive(Template)]
#[template(path = "login.html")]
struct Ask {
    layout: Layout,
}

async fn ask() -> Result<Response, Problem> {
    page(&Ask {
        layout: Layout { title: "Log in".to_owned(), place: "", demo: false, version: assets::version() },
    })
}

#[derive(Deserialize)]
struct Given {
    passphrase: String,
}

async fn open(State(lock): State<Arc<Lock>>, Form(given): Form<Given>) -> Result<Response, Problem> {
    let opened = tokio::task::spawn_blocking(move || lock.open(&given.passphrase)).await;
    let token = opened.map_err(|_| Problem::ours("the lock broke off"))??;
    let cookie = format!("{COOKIE}={token}; HttpOnly; SameSite=Strict; Path=/");
    let cookie = HeaderValue::from_str(&cookie).map_err(|_| Problem::ours("no cookie could be made"))?;
    let mut answer = Redirect::to("/").into_response();
    answer.headers_mut().insert(header::SET_COOKIE, cookie);
    Ok(answer)
}
