-- A licence or certificate of a member of staff. Written by the office; a renewal is a further row, so that who held what on a
-- day that has been stays to be read; the row itself changes only to put right what was copied wrongly, each time with a new
-- version. `code` is the word by which rules that free its holder name it, `rule_set` the jurisdiction it counts in. The last
-- day is the last on which it is valid; nothing when it has no end.
CREATE TABLE credentials (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT credentials_id UNIQUE,
    person_id   TEXT    NOT NULL CONSTRAINT credentials_person REFERENCES people (id),
    name        TEXT    NOT NULL,
    number      TEXT    NOT NULL,
    issued_by   TEXT    NOT NULL,
    rule_set    TEXT,
    code        TEXT,
    valid_from  TEXT    NOT NULL,
    valid_until TEXT,
    version     INTEGER NOT NULL,
    created_at  INTEGER NOT NULL,
    CONSTRAINT credentials_days CHECK (valid_until >= valid_from)
) STRICT;
CREATE INDEX credentials_by_person ON credentials (person_id, seq);
