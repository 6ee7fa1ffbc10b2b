-- What weather services said, kept as evidence: from any record one can reach what was known at that moment.

-- The body of an answer, once, by the SHA-256 of what came over the wire; a service often says the same for hours. `bytes` is
-- compressed (gzip). Never edited. Deleted only when no fetch names it any more.
CREATE TABLE weather_bodies (
    seq          INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    sha256       TEXT    NOT NULL CONSTRAINT weather_bodies_sha256 UNIQUE,
    content_type TEXT    NOT NULL,
    bytes        BLOB    NOT NULL
) STRICT;

-- One question to a service and how it went. An answer "not modified" is a new fetch of the same body: that the service still
-- stood by its word is a fact of its own. `path` carries no key. `etag` and `last_modified` are the service's own words, to be
-- given back as they came; how old a forecast is stands in the body, because headers were seen to lie. Never edited. What
-- nothing refers to is deleted after some days; what a record was decided with stays as long as the record.
CREATE TABLE weather_fetches (
    seq           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    provider      TEXT    NOT NULL CONSTRAINT weather_fetches_provider CHECK (provider IN ('us_national_weather_service', 'open_meteo')),
    path          TEXT    NOT NULL,
    asked_at      INTEGER NOT NULL,
    outcome       TEXT    NOT NULL CONSTRAINT weather_fetches_outcome
                          CHECK (outcome IN ('ok', 'not_modified', 'http_error', 'timeout', 'connect', 'bad_body')),
    http_status   INTEGER,
    attempts      INTEGER NOT NULL CONSTRAINT weather_fetches_attempts CHECK (attempts > 0),
    etag          TEXT,
    last_modified TEXT,
    body_sha256   TEXT    CONSTRAINT weather_fetches_body REFERENCES weather_bodies (sha256),
    -- An answer has a body, a failure has none.
    CONSTRAINT weather_fetches_whole CHECK ((outcome IN ('ok', 'not_modified')) = (body_sha256 IS NOT NULL))
) STRICT;
CREATE INDEX weather_fetches_by_path ON weather_fetches (path, provider, asked_at, seq) WHERE body_sha256 IS NOT NULL;
CREATE INDEX weather_fetches_by_age ON weather_fetches (asked_at);
CREATE INDEX weather_fetches_by_body ON weather_fetches (body_sha256);

-- What of it a decision was made with: `facts` is the service's part of the weather as the rules were asked, in the API's form,
-- and `subject` is that of the decision. Never edited.
CREATE TABLE weather_facts (
    subject    TEXT    NOT NULL PRIMARY KEY,
    decided_at INTEGER NOT NULL,
    facts      TEXT    NOT NULL
) STRICT;

-- The fetches behind the facts of a decision, so that the raw answers stay as long as it does. Never edited.
CREATE TABLE weather_evidence (
    subject TEXT    NOT NULL CONSTRAINT weather_evidence_subject REFERENCES weather_facts (subject),
    fetch   INTEGER NOT NULL CONSTRAINT weather_evidence_fetch REFERENCES weather_fetches (seq),
    PRIMARY KEY (subject, fetch)
) STRICT, WITHOUT ROWID;
CREATE INDEX weather_evidence_by_fetch ON weather_evidence (fetch);

-- Rain that fell in the 24 hours after an application began, once it is known. Depths in thousandths of an inch, rounded up.
-- `heavy` puts the record on the owner's list. `covered_s` says for how many seconds of the day there is a measurement. One row
-- a record and service, written when the day is over; never edited.
CREATE TABLE weather_after (
    application_id TEXT    NOT NULL CONSTRAINT weather_after_application REFERENCES applications (id),
    provider       TEXT    NOT NULL CONSTRAINT weather_after_provider CHECK (provider IN ('us_national_weather_service', 'open_meteo')),
    basis          TEXT    NOT NULL CONSTRAINT weather_after_basis CHECK (basis IN ('observed', 'modelled')),
    station        TEXT,
    rain           INTEGER NOT NULL CONSTRAINT weather_after_rain CHECK (rain >= 0),
    wettest_hour   INTEGER NOT NULL CONSTRAINT weather_after_wettest CHECK (wettest_hour >= 0),
    covered_s      INTEGER NOT NULL CONSTRAINT weather_after_covered CHECK (covered_s BETWEEN 0 AND 86400),
    heavy          INTEGER NOT NULL CONSTRAINT weather_after_heavy CHECK (heavy IN (0, 1)),
    fetch          INTEGER NOT NULL CONSTRAINT weather_after_fetch REFERENCES weather_fetches (seq),
    noted_at       INTEGER NOT NULL,
    PRIMARY KEY (application_id, provider)
) STRICT, WITHOUT ROWID;
CREATE INDEX weather_after_by_fetch ON weather_after (fetch);
CREATE INDEX weather_after_heavy_ones ON weather_after (application_id) WHERE heavy = 1;

CREATE TRIGGER weather_bodies_keep BEFORE UPDATE ON weather_bodies BEGIN SELECT RAISE(ABORT, 'weather evidence is never edited'); END;
CREATE TRIGGER weather_bodies_stay BEFORE DELETE ON weather_bodies
WHEN EXISTS (SELECT 1 FROM weather_fetches WHERE body_sha256 = old.sha256)
BEGIN SELECT RAISE(ABORT, 'weather evidence that is referred to is never deleted'); END;
CREATE TRIGGER weather_fetches_keep BEFORE UPDATE ON weather_fetches BEGIN SELECT RAISE(ABORT, 'weather evidence is never edited'); END;
CREATE TRIGGER weather_fetches_stay BEFORE DELETE ON weather_fetches
WHEN EXISTS (SELECT 1 FROM weather_evidence WHERE fetch = old.seq) OR EXISTS (SELECT 1 FROM weather_after WHERE fetch = old.seq)
BEGIN SELECT RAISE(ABORT, 'weather evidence that is referred to is never deleted'); END;
CREATE TRIGGER weather_facts_keep BEFORE UPDATE ON weather_facts BEGIN SELECT RAISE(ABORT, 'weather facts are never edited'); END;
CREATE TRIGGER weather_facts_stay BEFORE DELETE ON weather_facts BEGIN SELECT RAISE(ABORT, 'weather facts are never deleted'); END;
CREATE TRIGGER weather_evidence_keep BEFORE UPDATE ON weather_evidence BEGIN SELECT RAISE(ABORT, 'weather evidence is never edited'); END;
CREATE TRIGGER weather_evidence_stay BEFORE DELETE ON weather_evidence BEGIN SELECT RAISE(ABORT, 'weather evidence is never deleted'); END;
CREATE TRIGGER weather_after_keep BEFORE UPDATE ON weather_after BEGIN SELECT RAISE(ABORT, 'rain after a record is never edited'); END;
CREATE TRIGGER weather_after_stay BEFORE DELETE ON weather_after BEGIN SELECT RAISE(ABORT, 'rain after a record is never deleted'); END;
