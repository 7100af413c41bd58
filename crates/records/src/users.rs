//! Who uses the records, in which role, and who is logged in. Times are passed in; passphrases come as Argon2id strings
//! (RFC 9106, PHC string format) and are never seen here.

use crate::error::RecordsError;
use crate::jobs::JobId;
use crate::open::Records;
use jiff::Timestamp;
use rusqlite::{OptionalExtension, Row, params};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

/// Longest name, characters.
const LONGEST_NAME: usize = 100;
/// Longest passphrase string, bytes.
const LONGEST_HASH: usize = 500;
/// Shortest token that a session may have, bytes: nobody guesses 128 bits.
const SHORTEST_TOKEN: usize = 16;

/// Number of a user.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct UserId(pub(crate) i64);

impl UserId {
    /// The user with this number; whether there is one shows when it is used.
    pub fn of(number: i64) -> UserId {
        UserId(number)
    }

    /// Its number, for addresses and forms.
    pub fn number(self) -> i64 {
        self.0
    }
}

/// What a user does; what each may do is for those who ask.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Role {
    /// Works on machines, and answers for it.
    Technician,
    /// Takes calls, writes quotes and bills.
    Office,
    /// Works on machines under a technician.
    Apprentice,
}

impl Role {
    /// All of them.
    pub const ALL: [Role; 3] = [Role::Technician, Role::Office, Role::Apprentice];

    /// As it is written.
    pub fn name(self) -> &'static str {
        match self {
            Role::Technician => "technician",
            Role::Office => "office",
            Role::Apprentice => "apprentice",
        }
    }

    /// The role with this name.
    pub fn of(name: &str) -> Option<Role> {
        Role::ALL.into_iter().find(|r| r.name() == name)
    }
}

/// A user.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct User {
    /// What others name it by.
    pub id: UserId,
    /// The name to log in with.
    pub name: String,
    /// The role.
    pub role: Role,
}

/// A user who is logged in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Session {
    /// The user; the role is the one at the time of logging in.
    pub user: User,
    /// When it ends, to the second.
    pub expires: Timestamp,
}

impl Records {
    /// Adds a user. `passphrase` is the Argon2id string of the passphrase, never the passphrase.
    ///
    /// # Errors
    /// Where the name is taken, empty or too long, the string is none of Argon2id, or the disk refuses.
    pub fn add_user(
        &self,
        name: &str,
        role: Role,
        passphrase: &str,
        at: &jiff::ZonedDateTime,
    ) -> Result<UserId, RecordsError> {
        let name = name.trim();
        if name.is_empty() || name.chars().count() > LONGEST_NAME {
            return Err(RecordsError::new(
                "a user needs a name",
                format!("give one of 1 to {LONGEST_NAME} characters"),
            ));
        }
        is_argon2id(passphrase)?;
        let connection = self.connection();
        let added = connection.execute(
            "INSERT INTO user (name, role, passphrase, since) VALUES (?1, ?2, ?3, ?4) ON CONFLICT (name) DO NOTHING",
            params![name, role.name(), passphrase, at.to_string()],
        )?;
        if added == 0 {
            return Err(RecordsError::new(format!("there is a user {name} already"), "take another name"));
        }
        Ok(UserId(connection.last_insert_rowid()))
    }

    /// The users who did not leave, by name.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn users(&self) -> Result<Vec<User>, RecordsError> {
        let connection = self.connection();
        let mut statement =
            connection.prepare("SELECT id, name, role FROM user WHERE left_at IS NULL ORDER BY name")?;
        let all = statement.query_map([], user)?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// The user with this name and the Argon2id string of the passphrase; none where there is none or it left.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn user_to_log_in(&self, name: &str) -> Result<Option<(User, String)>, RecordsError> {
        let sql = "SELECT id, name, role, passphrase FROM user WHERE name = ?1 AND left_at IS NULL";
        let found = self.connection().query_row(sql, [name.trim()], |row| Ok((user(row)?, row.get(3)?)));
        Ok(found.optional()?)
    }

    /// Who made which entry of a job: the numbers of those of which it is known, with the name.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn authors(&self, job: JobId) -> Result<Vec<(u32, String)>, RecordsError> {
        let connection = self.connection();
        let mut statement = connection.prepare(
            "SELECT e.number, u.name FROM evidence e JOIN user u ON u.id = e.said_by WHERE e.job = ?1 ORDER BY e.number",
        )?;
        let all = statement.query_map([job], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(all.collect::<Result<_, _>>()?)
    }

    /// Gives a user another role. Sessions keep the old one, so they end.
    ///
    /// # Errors
    /// Where there is no such user, or the disk refuses.
    pub fn set_role(&self, id: UserId, role: Role) -> Result<(), RecordsError> {
        self.change_user(id, "UPDATE user SET role = ?2 WHERE id = ?1 AND left_at IS NULL", role.name())
    }

    /// Gives a user another passphrase, as an Argon2id string. Sessions end.
    ///
    /// # Errors
    /// Where there is no such user, the string is none of Argon2id, or the disk refuses.
    pub fn set_passphrase(&self, id: UserId, passphrase: &str) -> Result<(), RecordsError> {
        is_argon2id(passphrase)?;
        self.change_user(id, "UPDATE user SET passphrase = ?2 WHERE id = ?1 AND left_at IS NULL", passphrase)
    }

    /// A user leaves: nobody logs in by that name, sessions end. The name stays, since entries were made by it.
    ///
    /// # Errors
    /// Where there is no such user, or the disk refuses.
    pub fn remove_user(&self, id: UserId, at: &jiff::ZonedDateTime) -> Result<(), RecordsError> {
        let sql = "UPDATE user SET left_at = ?2, passphrase = '' WHERE id = ?1 AND left_at IS NULL";
        self.change_user(id, sql, &at.to_string())
    }

    fn change_user(&self, id: UserId, sql: &str, value: &str) -> Result<(), RecordsError> {
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        if transaction.execute(sql, params![id.0, value])? == 0 {
            return Err(no_user());
        }
        transaction.execute("DELETE FROM session WHERE user = ?1", [id.0])?;
        transaction.commit()?;
        Ok(())
    }

    /// Opens a session until `expires`, for whoever shows this token. Of the token only a hash is kept. Sessions that ended
    /// before `now` go.
    ///
    /// # Errors
    /// Where there is no such user, the token is too short to be safe, or the disk refuses.
    pub fn open_session(
        &self,
        id: UserId,
        token: &str,
        now: Timestamp,
        expires: Timestamp,
    ) -> Result<(), RecordsError> {
        if token.len() < SHORTEST_TOKEN {
            return Err(RecordsError::new("the token of the session is too short", "report this as a bug"));
        }
        let mut connection = self.connection();
        let transaction = connection.transaction()?;
        transaction.execute("DELETE FROM session WHERE expires <= ?1", [now.as_second()])?;
        let opened = transaction.execute(
            "INSERT INTO session (token, user, role, expires)
             SELECT ?1, id, role, ?3 FROM user WHERE id = ?2 AND left_at IS NULL",
            params![hash(token), id.0, expires.as_second()],
        )?;
        if opened == 0 {
            return Err(no_user());
        }
        transaction.commit()?;
        Ok(())
    }

    /// The session of whoever shows this token; none where there is none or it ended.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn session(&self, token: &str, now: Timestamp) -> Result<Option<Session>, RecordsError> {
        let sql = "SELECT u.id, u.name, s.role, s.expires FROM session s JOIN user u ON u.id = s.user
                   WHERE s.token = ?1 AND s.expires > ?2";
        let connection = self.connection();
        let mut statement = connection.prepare(sql)?;
        let found = statement.query_row(params![hash(token), now.as_second()], |row| {
            Ok(Session { user: user(row)?, expires: Timestamp::from_second(row.get(3)?).unwrap_or(now) })
        });
        Ok(found.optional()?)
    }

    /// Ends the session of this token, if there is one.
    ///
    /// # Errors
    /// Where the disk refuses.
    pub fn end_session(&self, token: &str) -> Result<(), RecordsError> {
        self.connection().execute("DELETE FROM session WHERE token = ?1", [hash(token)])?;
        Ok(())
    }
}

fn user(row: &Row<'_>) -> rusqlite::Result<User> {
    let role: String = row.get(2)?;
    // The table holds these three names and no other; the one that may least stands for what cannot be.
    Ok(User { id: UserId(row.get(0)?), name: row.get(1)?, role: Role::of(&role).unwrap_or(Role::Apprentice) })
}

fn hash(token: &str) -> [u8; 32] {
    Sha256::digest(token).into()
}

fn is_argon2id(passphrase: &str) -> Result<(), RecordsError> {
    if passphrase.starts_with("$argon2id$") && passphrase.len() <= LONGEST_HASH {
        return Ok(());
    }
    Err(RecordsError::new("the passphrase was not hashed as it must be", "report this as a bug"))
}

fn no_user() -> RecordsError {
    RecordsError::new("there is no such user", "choose one of the list of users")
}
