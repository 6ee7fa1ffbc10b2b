-- A planned stop. Written by the office.
CREATE TABLE visits (
    seq             INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id              TEXT    NOT NULL CONSTRAINT visits_id UNIQUE,
    property_id     TEXT    NOT NULL CONSTRAINT visits_property REFERENCES properties (id),
    person_id       TEXT    NOT NULL CONSTRAINT visits_person REFERENCES people (id),
    planned_on      TEXT    NOT NULL,
    product_id      TEXT    NOT NULL CONSTRAINT visits_product REFERENCES products (id),
    target_nitrogen INTEGER,
    purpose         TEXT    NOT NULL,
    status          TEXT    NOT NULL CONSTRAINT visits_status CHECK (status IN ('planned', 'done', 'not_done', 'cancelled')),
    reason          TEXT,
    version         INTEGER NOT NULL,
    created_at      INTEGER NOT NULL
) STRICT;
CREATE INDEX visits_by_person ON visits (person_id, planned_on, property_id);
CREATE INDEX visits_by_property ON visits (property_id, planned_on, person_id);

CREATE TABLE visit_sections (
    visit_id   TEXT NOT NULL CONSTRAINT visit_sections_visit REFERENCES visits (id),
    section_id TEXT NOT NULL CONSTRAINT visit_sections_section REFERENCES sections (id),
    PRIMARY KEY (visit_id, section_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX visit_sections_by_section ON visit_sections (section_id);

-- Who was ever sent to a property. Written with each visit and never taken away: a phone may be out of reach when a visit
-- is given to somebody else, and what its holder did there stays theirs to record and to read. A technician sees the
-- properties that stand here beside their name, and no others.
CREATE TABLE assignments (
    person_id   TEXT    NOT NULL CONSTRAINT assignments_person REFERENCES people (id),
    property_id TEXT    NOT NULL CONSTRAINT assignments_property REFERENCES properties (id),
    since       INTEGER NOT NULL,
    PRIMARY KEY (person_id, property_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX assignments_by_property ON assignments (property_id, person_id);

-- The answer the rules gave, word for word. `subject` says what it belongs to: "clearance/", "application/",
-- "correction/" or "attempt/" and the id.
CREATE TABLE decisions (
    subject    TEXT    NOT NULL PRIMARY KEY,
    decided_at INTEGER NOT NULL,
    body       TEXT    NOT NULL
) STRICT;

-- The text of each rule set that a decision was made under, kept once by its hash.
CREATE TABLE rule_set_texts (
    hash TEXT NOT NULL PRIMARY KEY,
    code TEXT NOT NULL,
    text TEXT NOT NULL
) STRICT;

-- Permission that holds room under the caps. It ends by itself at `expires_at`, or earlier by a row in clearance_ends.
CREATE TABLE clearances (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT clearances_id UNIQUE,
    property_id TEXT    NOT NULL CONSTRAINT clearances_property REFERENCES properties (id),
    product_id  TEXT    NOT NULL CONSTRAINT clearances_product REFERENCES products (id),
    person_id   TEXT    NOT NULL CONSTRAINT clearances_person REFERENCES people (id),
    device_id   TEXT    CONSTRAINT clearances_device REFERENCES devices (id),
    planned_on  TEXT    NOT NULL,
    verdict     TEXT    NOT NULL,
    content     TEXT    NOT NULL,
    fingerprint TEXT    NOT NULL,
    granted_at  INTEGER NOT NULL,
    expires_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX clearances_by_person ON clearances (person_id, seq);

-- Room that a clearance holds, a section a row. Areas in hundredths of a square foot, product in millionths of a pound,
-- nutrients in ten-billionths of a pound.
CREATE TABLE clearance_lines (
    clearance_id   TEXT    NOT NULL CONSTRAINT clearance_lines_clearance REFERENCES clearances (id),
    section_id     TEXT    NOT NULL CONSTRAINT clearance_lines_section REFERENCES sections (id),
    area           INTEGER NOT NULL,
    product        INTEGER NOT NULL,
    nitrogen       INTEGER NOT NULL,
    quick_nitrogen INTEGER NOT NULL,
    phosphate      INTEGER NOT NULL,
    potash         INTEGER NOT NULL,
    flags          INTEGER NOT NULL,
    purpose        TEXT    NOT NULL,
    planned_on     TEXT    NOT NULL,
    expires_at     INTEGER NOT NULL,
    PRIMARY KEY (clearance_id, section_id)
) STRICT, WITHOUT ROWID;
CREATE INDEX clearance_lines_by_section ON clearance_lines (section_id, expires_at);

-- How a clearance ended before its time: used by an application, or given back.
CREATE TABLE clearance_ends (
    clearance_id   TEXT    NOT NULL PRIMARY KEY CONSTRAINT clearance_ends_clearance REFERENCES clearances (id),
    how            TEXT    NOT NULL CONSTRAINT clearance_ends_how CHECK (how IN ('used', 'given_back')),
    application_id TEXT,
    ended_at       INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

-- What was put down: the record. `content` is what the phone sent, canonical; `fingerprint` its hash, so that the same
-- again is recognised. `person_id` is who did the work, `person_name` the name at that time, `entered_by` who sent it.
-- Only ever inserted: a mistake is followed by a correction.
CREATE TABLE applications (
    seq              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id               TEXT    NOT NULL CONSTRAINT applications_id UNIQUE,
    property_id      TEXT    NOT NULL CONSTRAINT applications_property REFERENCES properties (id),
    product_id       TEXT    NOT NULL CONSTRAINT applications_product REFERENCES products (id),
    lot_id           TEXT    CONSTRAINT applications_lot REFERENCES lots (id),
    visit_id         TEXT    CONSTRAINT applications_visit REFERENCES visits (id),
    clearance_id     TEXT    CONSTRAINT applications_clearance REFERENCES clearances (id),
    person_id        TEXT    NOT NULL CONSTRAINT applications_person REFERENCES people (id),
    person_name      TEXT    NOT NULL,
    entered_by       TEXT    NOT NULL CONSTRAINT applications_entered_by REFERENCES people (id),
    device_id        TEXT    CONSTRAINT applications_device REFERENCES devices (id),
    applied_on       TEXT    NOT NULL,
    received_at      INTEGER NOT NULL,
    sent_at          INTEGER,
    verdict          TEXT    NOT NULL,
    beyond_the_rules INTEGER NOT NULL CONSTRAINT applications_beyond CHECK (beyond_the_rules IN (0, 1)),
    content          TEXT    NOT NULL,
    fingerprint      TEXT    NOT NULL
) STRICT;
CREATE INDEX applications_by_property ON applications (property_id, seq);
CREATE INDEX applications_by_person ON applications (person_id, seq);
CREATE INDEX applications_by_visit ON applications (visit_id) WHERE visit_id IS NOT NULL;
CREATE INDEX applications_beyond ON applications (seq) WHERE beyond_the_rules = 1;

-- A further record that takes an application back or says what truly happened.
CREATE TABLE corrections (
    seq              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id               TEXT    NOT NULL CONSTRAINT corrections_id UNIQUE,
    application_id   TEXT    NOT NULL CONSTRAINT corrections_application REFERENCES applications (id),
    person_id        TEXT    NOT NULL CONSTRAINT corrections_person REFERENCES people (id),
    device_id        TEXT    CONSTRAINT corrections_device REFERENCES devices (id),
    received_at      INTEGER NOT NULL,
    verdict          TEXT    NOT NULL,
    beyond_the_rules INTEGER NOT NULL CONSTRAINT corrections_beyond CHECK (beyond_the_rules IN (0, 1)),
    content          TEXT    NOT NULL,
    fingerprint      TEXT    NOT NULL
) STRICT;
CREATE INDEX corrections_by_application ON corrections (application_id, seq);
CREATE INDEX corrections_beyond ON corrections (seq) WHERE beyond_the_rules = 1;

-- The ledger of nutrients, a section a row. `record_id` is the application or the correction that wrote it;
-- `application_id` the application it is about. A correction first takes back what stood (negative), then writes what is
-- true, so every total is a plain sum. Units as in clearance_lines. `flags`: 1 enhanced efficiency, 2 organic.
CREATE TABLE application_lines (
    seq            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    record_id      TEXT    NOT NULL,
    application_id TEXT    NOT NULL CONSTRAINT application_lines_application REFERENCES applications (id),
    section_id     TEXT    NOT NULL CONSTRAINT application_lines_section REFERENCES sections (id),
    applied_on     TEXT    NOT NULL,
    area           INTEGER NOT NULL CONSTRAINT application_lines_area CHECK (area > 0),
    product        INTEGER NOT NULL,
    nitrogen       INTEGER NOT NULL,
    quick_nitrogen INTEGER NOT NULL,
    phosphate      INTEGER NOT NULL,
    potash         INTEGER NOT NULL,
    flags          INTEGER NOT NULL,
    purpose        TEXT    NOT NULL
) STRICT;
-- Covers the yearly statement and the facts of a decision.
CREATE INDEX application_lines_by_section ON application_lines
    (section_id, applied_on, application_id, area, nitrogen, quick_nitrogen, phosphate, potash, product, flags, purpose, record_id);
CREATE INDEX application_lines_by_application ON application_lines (application_id);

-- What a phone sent and the rules refused. Kept, so that nothing that may have happened is lost; one row for each
-- different content, however often it is sent. `about_on` is the local day of the work.
CREATE TABLE attempts (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT attempts_id UNIQUE,
    kind        TEXT    NOT NULL CONSTRAINT attempts_kind CHECK (kind IN ('clearance', 'application', 'correction')),
    subject_id  TEXT    NOT NULL,
    property_id TEXT    NOT NULL CONSTRAINT attempts_property REFERENCES properties (id),
    about_on    TEXT    NOT NULL,
    person_id   TEXT    NOT NULL CONSTRAINT attempts_person REFERENCES people (id),
    device_id   TEXT    CONSTRAINT attempts_device REFERENCES devices (id),
    received_at INTEGER NOT NULL,
    content     TEXT    NOT NULL,
    fingerprint TEXT    NOT NULL,
    CONSTRAINT attempts_once UNIQUE (subject_id, fingerprint)
) STRICT;
CREATE INDEX attempts_by_property ON attempts (property_id, about_on);

-- The owner looked at a record that went beyond the rules, and said something about it.
CREATE TABLE reviews (
    record_id   TEXT    NOT NULL PRIMARY KEY,
    person_id   TEXT    NOT NULL CONSTRAINT reviews_person REFERENCES people (id),
    note        TEXT    NOT NULL,
    reviewed_at INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TRIGGER assignments_keep BEFORE UPDATE ON assignments BEGIN SELECT RAISE(ABORT, 'assignments are never edited'); END;
CREATE TRIGGER assignments_stay BEFORE DELETE ON assignments BEGIN SELECT RAISE(ABORT, 'assignments are never deleted'); END;
CREATE TRIGGER decisions_keep BEFORE UPDATE ON decisions BEGIN SELECT RAISE(ABORT, 'decisions are never edited'); END;
CREATE TRIGGER decisions_stay BEFORE DELETE ON decisions BEGIN SELECT RAISE(ABORT, 'decisions are never deleted'); END;
CREATE TRIGGER rule_set_texts_keep BEFORE UPDATE ON rule_set_texts BEGIN SELECT RAISE(ABORT, 'rule set texts are never edited'); END;
CREATE TRIGGER rule_set_texts_stay BEFORE DELETE ON rule_set_texts BEGIN SELECT RAISE(ABORT, 'rule set texts are never deleted'); END;
CREATE TRIGGER clearances_keep BEFORE UPDATE ON clearances BEGIN SELECT RAISE(ABORT, 'clearances are never edited'); END;
CREATE TRIGGER clearances_stay BEFORE DELETE ON clearances BEGIN SELECT RAISE(ABORT, 'clearances are never deleted'); END;
CREATE TRIGGER clearance_lines_keep BEFORE UPDATE ON clearance_lines BEGIN SELECT RAISE(ABORT, 'clearances are never edited'); END;
CREATE TRIGGER clearance_lines_stay BEFORE DELETE ON clearance_lines BEGIN SELECT RAISE(ABORT, 'clearances are never deleted'); END;
CREATE TRIGGER clearance_ends_keep BEFORE UPDATE ON clearance_ends BEGIN SELECT RAISE(ABORT, 'clearances are never edited'); END;
CREATE TRIGGER clearance_ends_stay BEFORE DELETE ON clearance_ends BEGIN SELECT RAISE(ABORT, 'clearances are never deleted'); END;
CREATE TRIGGER applications_keep BEFORE UPDATE ON applications BEGIN SELECT RAISE(ABORT, 'applications are never edited'); END;
CREATE TRIGGER applications_stay BEFORE DELETE ON applications BEGIN SELECT RAISE(ABORT, 'applications are never deleted'); END;
CREATE TRIGGER corrections_keep BEFORE UPDATE ON corrections BEGIN SELECT RAISE(ABORT, 'corrections are never edited'); END;
CREATE TRIGGER corrections_stay BEFORE DELETE ON corrections BEGIN SELECT RAISE(ABORT, 'corrections are never deleted'); END;
CREATE TRIGGER application_lines_keep BEFORE UPDATE ON application_lines BEGIN SELECT RAISE(ABORT, 'records are never edited'); END;
CREATE TRIGGER application_lines_stay BEFORE DELETE ON application_lines BEGIN SELECT RAISE(ABORT, 'records are never deleted'); END;
CREATE TRIGGER attempts_keep BEFORE UPDATE ON attempts BEGIN SELECT RAISE(ABORT, 'attempts are never edited'); END;
CREATE TRIGGER attempts_stay BEFORE DELETE ON attempts BEGIN SELECT RAISE(ABORT, 'attempts are never deleted'); END;
CREATE TRIGGER reviews_keep BEFORE UPDATE ON reviews BEGIN SELECT RAISE(ABORT, 'reviews are never edited'); END;
CREATE TRIGGER reviews_stay BEFORE DELETE ON reviews BEGIN SELECT RAISE(ABORT, 'reviews are never deleted'); END;
