-- What was handed over at the end of a job, as JSON: it follows no later change of settings, prices or program. The entry of the
-- log that closed the job has its SHA-256.
CREATE TABLE handed_over (
  job INTEGER PRIMARY KEY REFERENCES job(id),
  record TEXT,
  erased TEXT,
  CHECK ((record IS NULL) = (erased IS NOT NULL))
) STRICT;

CREATE TRIGGER handed_over_is_only_erased BEFORE UPDATE ON handed_over
WHEN NEW.record IS NOT NULL OR OLD.record IS NULL OR NEW.job <> OLD.job
BEGIN SELECT RAISE(ABORT, 'what was handed over is never changed; it can be erased and no more'); END;

CREATE TRIGGER handed_over_is_never_deleted BEFORE DELETE ON handed_over
BEGIN SELECT RAISE(ABORT, 'what was handed over is never changed; it can be erased and no more'); END;

-- Parts that the van carries, by their order code. The price is a decimal number as it was typed; empty: not known.
CREATE TABLE stock (
  id INTEGER PRIMARY KEY,
  code TEXT NOT NULL UNIQUE COLLATE NOCASE,
  what TEXT NOT NULL,
  price TEXT NOT NULL,
  least INTEGER NOT NULL CHECK (least >= 0)
) STRICT;

-- Every change of how many there are: counted, or taken for a job and given back by the entries of its log.
CREATE TABLE stock_change (
  id INTEGER PRIMARY KEY,
  part INTEGER NOT NULL REFERENCES stock(id),
  change INTEGER NOT NULL CHECK (change <> 0),
  at TEXT NOT NULL,
  job INTEGER,
  number INTEGER,
  FOREIGN KEY (job, number) REFERENCES evidence(job, number),
  CHECK ((job IS NULL) = (number IS NULL))
) STRICT;
CREATE INDEX stock_change_by_part ON stock_change (part);
CREATE INDEX stock_change_by_entry ON stock_change (job, number);
