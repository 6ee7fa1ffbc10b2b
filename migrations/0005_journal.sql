-- Everything that was written, in order. Each row's hash covers the row before it and its own payload, byte for byte, so
-- a row that was changed, removed or put in between shows.
CREATE TABLE journal (
    seq           INTEGER NOT NULL PRIMARY KEY,
    written_at    INTEGER NOT NULL,
    person_id     TEXT,
    device_id     TEXT,
    act           TEXT    NOT NULL,
    subject_id    TEXT    NOT NULL,
    payload       TEXT    NOT NULL,
    previous_hash TEXT    NOT NULL,
    hash          TEXT    NOT NULL CONSTRAINT journal_hash UNIQUE
) STRICT;
CREATE INDEX journal_by_subject ON journal (subject_id, seq);
CREATE TRIGGER journal_keep BEFORE UPDATE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never edited'); END;
CREATE TRIGGER journal_stay BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never deleted'); END;

-- Answers to requests that carried an Idempotency-Key, kept so that the same request again gets the same answer.
-- Written in the transaction of the effect; purged after 90 days.
CREATE TABLE idempotency_keys (
    person_id   TEXT    NOT NULL,
    route       TEXT    NOT NULL,
    key         TEXT    NOT NULL,
    fingerprint TEXT    NOT NULL,
    status      INTEGER NOT NULL,
    body        TEXT    NOT NULL,
    stored_at   INTEGER NOT NULL,
    PRIMARY KEY (person_id, route, key)
) STRICT, WITHOUT ROWID;
CREATE INDEX idempotency_keys_by_age ON idempotency_keys (stored_at);
