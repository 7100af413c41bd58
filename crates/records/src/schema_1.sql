CREATE TABLE customer (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL, phone TEXT NOT NULL, address TEXT NOT NULL
) STRICT;

-- One machine at one customer's. The text of its machine file stands here, so that a job is worked out again as it was.
CREATE TABLE machine (
  id INTEGER PRIMARY KEY,
  maker TEXT NOT NULL, model TEXT NOT NULL, variant TEXT NOT NULL, serial TEXT NOT NULL,
  file_name TEXT NOT NULL, file_text TEXT NOT NULL
) STRICT;

CREATE TABLE job (
  id INTEGER PRIMARY KEY,
  opened TEXT NOT NULL,
  customer INTEGER REFERENCES customer(id),
  machine INTEGER REFERENCES machine(id),
  closed TEXT
) STRICT;

CREATE TABLE evidence (
  job INTEGER NOT NULL REFERENCES job(id),
  number INTEGER NOT NULL CHECK (number >= 1),
  at TEXT NOT NULL,
  says TEXT NOT NULL,
  supersedes INTEGER CHECK (supersedes < number),
  key TEXT NOT NULL,
  PRIMARY KEY (job, number),
  UNIQUE (job, key),
  UNIQUE (job, supersedes)
) STRICT;

CREATE TRIGGER evidence_is_never_changed BEFORE UPDATE ON evidence
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to'); END;

CREATE TRIGGER evidence_is_never_deleted BEFORE DELETE ON evidence
BEGIN SELECT RAISE(ABORT, 'the evidence log is only ever added to'); END;

-- What was worked out of a job's log up to `number`, in one line: a cache for lists.
CREATE TABLE derived (
  job INTEGER PRIMARY KEY REFERENCES job(id),
  number INTEGER NOT NULL,
  says TEXT NOT NULL
) STRICT;

CREATE TABLE setting (
  name TEXT PRIMARY KEY,
  value TEXT NOT NULL
) STRICT;
