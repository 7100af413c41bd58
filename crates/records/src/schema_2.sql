-- Who uses the records. A user who left keeps the row: entries name it.
CREATE TABLE user (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  role TEXT NOT NULL CHECK (role IN ('technician', 'office', 'apprentice')),
  passphrase TEXT NOT NULL,
  since TEXT NOT NULL,
  left_at TEXT
) STRICT;

-- Who is logged in. Of the token only its SHA-256 stands here; a time is seconds since 1970 (UTC).
CREATE TABLE session (
  token BLOB PRIMARY KEY CHECK (length(token) = 32),
  user INTEGER NOT NULL REFERENCES user(id),
  role TEXT NOT NULL CHECK (role IN ('technician', 'office', 'apprentice')),
  expires INTEGER NOT NULL
) STRICT;

-- The log again, each entry now with who said it and with its link of the chain (chain.rs).
DROP TRIGGER evidence_is_never_changed;
DROP TRIGGER evidence_is_never_deleted;
ALTER TABLE evidence RENAME TO evidence_1;
CREATE TABLE evidence (
  job INTEGER NOT NULL REFERENCES job(id),
  number INTEGER NOT NULL CHECK (number >= 1),
  at TEXT NOT NULL,
  says TEXT NOT NULL,
  supersedes INTEGER CHECK (supersedes < number),
  key TEXT,
  said_by INTEGER REFERENCES user(id),
  chain BLOB NOT NULL CHECK (length(chain) = 32),
  PRIMARY KEY (job, number),
  UNIQUE (job, key),
  UNIQUE (job, supersedes)
) STRICT;

CREATE TRIGGER evidence_is_never_changed BEFORE UPDATE ON evidence
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to'); END;

CREATE TRIGGER evidence_is_never_deleted BEFORE DELETE ON evidence
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to'); END;

-- What a person said in free words, and the key of that entry (it may repeat them). The log holds the salted hash of both, so
-- that they can be erased and the chain still holds.
CREATE TABLE personal (
  job INTEGER NOT NULL,
  number INTEGER NOT NULL,
  salt BLOB,
  key TEXT,
  says TEXT,
  erased TEXT,
  PRIMARY KEY (job, number),
  UNIQUE (job, key),
  FOREIGN KEY (job, number) REFERENCES evidence(job, number),
  CHECK ((says IS NULL) = (salt IS NULL)),
  CHECK ((says IS NULL) = (key IS NULL)),
  CHECK ((says IS NULL) = (erased IS NOT NULL))
) STRICT;

CREATE TRIGGER personal_is_only_erased BEFORE UPDATE ON personal
WHEN NEW.says IS NOT NULL OR OLD.says IS NULL OR NEW.job <> OLD.job OR NEW.number <> OLD.number
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to; words can be erased and no more'); END;

CREATE TRIGGER personal_is_never_deleted BEFORE DELETE ON personal
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to'); END;

-- Where a meter sits. All times below are microseconds since 1970 (UTC).
CREATE TABLE socket (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE
) STRICT;

-- Samples as they came, one row for one call of all sockets (samples/form.rs); folded into chunks after a while.
CREATE TABLE fresh (
  id INTEGER PRIMARY KEY,
  samples BLOB NOT NULL
) STRICT;

-- Samples of one socket, packed, oldest first.
CREATE TABLE chunk (
  id INTEGER PRIMARY KEY,
  socket INTEGER NOT NULL REFERENCES socket(id),
  first INTEGER NOT NULL,
  last INTEGER NOT NULL CHECK (last >= first),
  count INTEGER NOT NULL CHECK (count >= 1),
  crc INTEGER NOT NULL,
  packed BLOB NOT NULL
) STRICT;
CREATE INDEX chunk_by_time ON chunk (socket, first, last);

-- From when a socket's meter was not heard, and why.
CREATE TABLE gap (
  socket INTEGER NOT NULL REFERENCES socket(id),
  since INTEGER NOT NULL,
  why TEXT NOT NULL
) STRICT;
CREATE INDEX gap_by_time ON gap (socket, since);

-- A stretch of a socket's samples that belongs to a job; still open where it has no end.
CREATE TABLE trace (
  id INTEGER PRIMARY KEY,
  job INTEGER NOT NULL REFERENCES job(id),
  socket INTEGER NOT NULL REFERENCES socket(id),
  since INTEGER NOT NULL,
  until INTEGER CHECK (until >= since)
) STRICT;
CREATE INDEX trace_by_job ON trace (job);
CREATE INDEX trace_by_socket ON trace (socket, since);

-- Content of attachments by its SHA-256; what is attached twice lies here once.
CREATE TABLE content (
  sha256 BLOB PRIMARY KEY CHECK (length(sha256) = 32),
  bytes BLOB NOT NULL
) STRICT;

-- Pictures, sounds and recordings of a job. An erased one says when, and nothing else.
CREATE TABLE attachment (
  id INTEGER PRIMARY KEY,
  job INTEGER NOT NULL REFERENCES job(id),
  kind TEXT NOT NULL CHECK (kind IN ('picture', 'sound', 'recording')),
  media_type TEXT NOT NULL,
  name TEXT NOT NULL,
  at TEXT NOT NULL,
  sha256 BLOB REFERENCES content(sha256),
  erased TEXT,
  CHECK ((sha256 IS NULL) = (erased IS NOT NULL))
) STRICT;
CREATE INDEX attachment_by_job ON attachment (job);
CREATE INDEX attachment_by_content ON attachment (sha256);
