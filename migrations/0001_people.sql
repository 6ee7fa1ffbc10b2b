-- The company this book belongs to. One row: one company a database, so nothing else needs to say whose it is.
-- Written once by the set-up; `link_key` signs page cursors, so that none can be forged.
CREATE TABLE company (
    id         INTEGER NOT NULL PRIMARY KEY CONSTRAINT company_one_row CHECK (id = 1),
    name       TEXT    NOT NULL,
    time_zone  TEXT    NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

-- Secrets of this installation that are not anybody's password. One row, made at first start.
-- The set-up code is kept as a hash and is spent when the company is written.
CREATE TABLE installation (
    id              INTEGER NOT NULL PRIMARY KEY CONSTRAINT installation_one_row CHECK (id = 1),
    link_key        BLOB    NOT NULL,
    setup_code_hash TEXT    NOT NULL
) STRICT;

-- Staff. Written by the owner. People are never deleted, because records name them; `active` ends what they may do.
CREATE TABLE people (
    seq           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id            TEXT    NOT NULL CONSTRAINT people_id UNIQUE,
    name          TEXT    NOT NULL,
    role          TEXT    NOT NULL CONSTRAINT people_role CHECK (role IN ('owner', 'office', 'technician')),
    sign_in       TEXT    CONSTRAINT people_sign_in UNIQUE,
    password_hash TEXT,
    active        INTEGER NOT NULL CONSTRAINT people_active CHECK (active IN (0, 1)),
    version       INTEGER NOT NULL,
    created_at    INTEGER NOT NULL,
    -- A name to sign in with and a password come together or not at all.
    CONSTRAINT people_sign_in_whole CHECK ((sign_in IS NULL) = (password_hash IS NULL))
) STRICT;

-- Enrolled phones and scripts. Written when a one-time code is spent; never deleted, because records name them.
CREATE TABLE devices (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT devices_id UNIQUE,
    person_id   TEXT    NOT NULL CONSTRAINT devices_person REFERENCES people (id),
    name        TEXT    NOT NULL,
    enrolled_at INTEGER NOT NULL,
    revoked_at  INTEGER
) STRICT;

-- What a caller shows to be let in: a random token, of which only the hash is kept. A session has no device.
CREATE TABLE tokens (
    hash       TEXT    NOT NULL PRIMARY KEY,
    person_id  TEXT    NOT NULL CONSTRAINT tokens_person REFERENCES people (id),
    device_id  TEXT    CONSTRAINT tokens_device REFERENCES devices (id),
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    ended_at   INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX tokens_by_person ON tokens (person_id);
CREATE INDEX tokens_by_device ON tokens (device_id);

-- One-time codes to enrol a phone. Kept as hashes, spent once, short-lived.
CREATE TABLE enrolment_codes (
    hash       TEXT    NOT NULL PRIMARY KEY,
    person_id  TEXT    NOT NULL CONSTRAINT enrolment_codes_person REFERENCES people (id),
    created_at INTEGER NOT NULL,
    expires_at INTEGER NOT NULL,
    used_at    INTEGER
) STRICT, WITHOUT ROWID;
CREATE INDEX enrolment_codes_by_person ON enrolment_codes (person_id);
