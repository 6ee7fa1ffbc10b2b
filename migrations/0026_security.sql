-- What happens at the door: who came in, who tried, what they were let in with, who made whom what. Written in the transaction of
-- what it tells, a failure in one of its own. Never edited. Kept as long as the settings say and then deleted, the oldest first:
-- names and addresses of those who merely tried are nobody's record. What is younger than 90 days is never deleted.
CREATE TABLE security_events (
    seq       INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    at        INTEGER NOT NULL,
    kind      TEXT    NOT NULL,
    -- Whom it is about, and who did it.
    person_id TEXT    CONSTRAINT security_events_person REFERENCES people (id),
    by_id     TEXT    CONSTRAINT security_events_by REFERENCES people (id),
    pass_id   TEXT    CONSTRAINT security_events_pass REFERENCES passes (id),
    -- A name to sign in with that is known, or what a phone or a pass is called.
    name      TEXT,
    -- Of the network from which it came, where the server knows it.
    address   TEXT,
    -- What was read, or what changed.
    detail    TEXT
) STRICT;
CREATE INDEX security_events_by_age ON security_events (at);
CREATE INDEX security_events_by_name ON security_events (name, address, kind);
CREATE TRIGGER security_events_keep BEFORE UPDATE ON security_events BEGIN SELECT RAISE(ABORT, 'the security log is never edited'); END;
CREATE TRIGGER security_events_stay BEFORE DELETE ON security_events
    WHEN OLD.at > (SELECT e.at FROM security_events AS e WHERE e.seq = (SELECT max(m.seq) FROM security_events AS m)) - 90 * 86400000
    BEGIN SELECT RAISE(ABORT, 'the security log of the last 90 days is never deleted'); END;

-- Leave for somebody from outside, such as an inspector, to read: all of the company's lawns, or those of named clients, until a
-- moment. Written by the owner; never edited. Its code is kept as a hash.
CREATE TABLE passes (
    seq           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id            TEXT    NOT NULL CONSTRAINT passes_id UNIQUE,
    name          TEXT    NOT NULL,
    whole_company INTEGER NOT NULL CONSTRAINT passes_whole_company CHECK (whole_company IN (0, 1)),
    code_hash     TEXT    NOT NULL CONSTRAINT passes_code UNIQUE,
    made_by       TEXT    NOT NULL CONSTRAINT passes_person REFERENCES people (id),
    created_at    INTEGER NOT NULL,
    expires_at    INTEGER NOT NULL
) STRICT;
CREATE TRIGGER passes_keep BEFORE UPDATE ON passes BEGIN SELECT RAISE(ABORT, 'passes are never edited'); END;
CREATE TRIGGER passes_stay BEFORE DELETE ON passes BEGIN SELECT RAISE(ABORT, 'passes are never deleted'); END;

-- Whose lawns a pass shows, where it does not show all.
CREATE TABLE pass_clients (
    pass_id   TEXT NOT NULL CONSTRAINT pass_clients_pass REFERENCES passes (id),
    client_id TEXT NOT NULL CONSTRAINT pass_clients_client REFERENCES clients (id),
    PRIMARY KEY (pass_id, client_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX pass_clients_by_client ON pass_clients (client_id, pass_id);
CREATE TRIGGER pass_clients_keep BEFORE UPDATE ON pass_clients BEGIN SELECT RAISE(ABORT, 'passes are never edited'); END;
CREATE TRIGGER pass_clients_stay BEFORE DELETE ON pass_clients BEGIN SELECT RAISE(ABORT, 'passes are never deleted'); END;

-- That a pass was ended before its time.
CREATE TABLE pass_ends (
    pass_id  TEXT    NOT NULL PRIMARY KEY CONSTRAINT pass_ends_pass REFERENCES passes (id),
    ended_by TEXT    NOT NULL CONSTRAINT pass_ends_person REFERENCES people (id),
    ended_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
CREATE TRIGGER pass_ends_keep BEFORE UPDATE ON pass_ends BEGIN SELECT RAISE(ABORT, 'the end of a pass is never edited'); END;
CREATE TRIGGER pass_ends_stay BEFORE DELETE ON pass_ends BEGIN SELECT RAISE(ABORT, 'the end of a pass is never deleted'); END;

-- Which properties somebody may read who may not read all: a technician those they were ever sent to, a pass those of its clients.
CREATE VIEW sight AS
SELECT a.person_id AS viewer, a.property_id FROM assignments AS a
UNION ALL
SELECT c.pass_id, p.id FROM pass_clients AS c JOIN properties AS p ON p.client_id = c.client_id;

-- One-time codes with which somebody who forgot the password sets a new one, so that the owner resets it and never knows it. Kept as
-- hashes, spent once, short-lived.
CREATE TABLE password_codes (
    hash       TEXT    NOT NULL PRIMARY KEY,
    person_id  TEXT    NOT NULL CONSTRAINT password_codes_person REFERENCES people (id),
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX password_codes_by_person ON password_codes (person_id);

-- With what somebody came in, as they would know it again, and when it was used last, to within a minute.
ALTER TABLE tokens ADD COLUMN name TEXT;
ALTER TABLE tokens ADD COLUMN last_used_at INTEGER;

-- Minutes after which a session ends that nobody uses, and days for which the security log is kept.
ALTER TABLE settings ADD COLUMN idle_minutes INTEGER NOT NULL DEFAULT 240 CONSTRAINT settings_idle CHECK (idle_minutes BETWEEN 5 AND 720);
ALTER TABLE settings ADD COLUMN security_log_days INTEGER NOT NULL DEFAULT 400
    CONSTRAINT settings_security_log CHECK (security_log_days BETWEEN 90 AND 3650);
