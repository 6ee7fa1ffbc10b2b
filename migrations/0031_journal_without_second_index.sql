-- The journal without an index over its hashes, which nothing asks: each entry's hash is worked out from the one before it, so that
-- none stands twice, and `verify` does so again. A hash falls anywhere in such an index, so each record rewrote pages all over it.
CREATE TABLE journal_kept (
    seq           INTEGER NOT NULL PRIMARY KEY,
    written_at    INTEGER NOT NULL,
    person_id     TEXT,
    device_id     TEXT,
    act           TEXT    NOT NULL,
    subject_id    TEXT    NOT NULL,
    payload       TEXT    NOT NULL,
    previous_hash TEXT    NOT NULL,
    hash          TEXT    NOT NULL,
    pattern       INTEGER CONSTRAINT journal_pattern REFERENCES text_patterns (seq),
    packed        BLOB    CONSTRAINT journal_packed CHECK ((packed IS NULL) = (pattern IS NULL))
) STRICT;
INSERT INTO journal_kept (seq, written_at, person_id, device_id, act, subject_id, payload, previous_hash, hash, pattern, packed)
SELECT seq, written_at, person_id, device_id, act, subject_id, payload, previous_hash, hash, pattern, packed FROM journal ORDER BY seq;
DROP TABLE journal;
ALTER TABLE journal_kept RENAME TO journal;
CREATE INDEX journal_by_subject ON journal (subject_id, seq);
CREATE TRIGGER journal_keep BEFORE UPDATE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never edited'); END;
CREATE TRIGGER journal_stay BEFORE DELETE ON journal BEGIN SELECT RAISE(ABORT, 'the journal is never deleted'); END;
