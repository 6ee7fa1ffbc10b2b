-- The book of a plain server: what a good programmer would make in a day, with the same facts, keys, idempotency, caps, stock and
-- hash chain as ours, and texts kept as the JSON that they are. Both peers use it, and .ci/bench fills it.
CREATE TABLE people (id TEXT PRIMARY KEY, name TEXT NOT NULL, role TEXT NOT NULL) STRICT;
CREATE TABLE tokens (hash TEXT PRIMARY KEY, person_id TEXT NOT NULL REFERENCES people (id)) STRICT, WITHOUT ROWID;
CREATE TABLE clients (id TEXT PRIMARY KEY, name TEXT NOT NULL, mailing_address TEXT NOT NULL, created_at INTEGER NOT NULL) STRICT;
CREATE TABLE properties (
    id TEXT PRIMARY KEY, client_id TEXT NOT NULL REFERENCES clients (id), name TEXT NOT NULL, address TEXT NOT NULL,
    postal_code TEXT NOT NULL, time_zone TEXT NOT NULL, rule_sets TEXT NOT NULL, kind TEXT NOT NULL, version INTEGER NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX properties_by_client ON properties (client_id);
-- Area in hundredths of a square foot, the cap in millionths of a pound of nitrogen on 1,000 square feet and year.
CREATE TABLE sections (
    id TEXT PRIMARY KEY, property_id TEXT NOT NULL REFERENCES properties (id), name TEXT NOT NULL, species TEXT NOT NULL,
    area INTEGER NOT NULL, measured_on TEXT NOT NULL, sampled_on TEXT, cap INTEGER NOT NULL
) STRICT;
CREATE INDEX sections_by_property ON sections (property_id);
-- Parts of a label in hundredths of a percent.
CREATE TABLE products (
    id TEXT PRIMARY KEY, name TEXT NOT NULL, grade TEXT NOT NULL, nitrogen INTEGER NOT NULL, slow_nitrogen INTEGER NOT NULL,
    phosphate INTEGER NOT NULL, potash INTEGER NOT NULL
) STRICT;
CREATE TABLE stock_totals (product_id TEXT PRIMARY KEY REFERENCES products (id), mass INTEGER NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE applications (
    seq INTEGER PRIMARY KEY, id TEXT NOT NULL UNIQUE, property_id TEXT NOT NULL REFERENCES properties (id),
    product_id TEXT NOT NULL REFERENCES products (id), person_id TEXT NOT NULL REFERENCES people (id), applied_on TEXT NOT NULL,
    received_at TEXT NOT NULL, verdict TEXT NOT NULL, content TEXT NOT NULL, fingerprint TEXT NOT NULL
) STRICT;
CREATE INDEX applications_by_property ON applications (property_id, seq);
CREATE INDEX applications_by_person ON applications (person_id, seq);
CREATE TABLE decisions (application_id TEXT PRIMARY KEY REFERENCES applications (id), body TEXT NOT NULL) STRICT;
-- Masses in millionths of a pound.
CREATE TABLE application_lines (
    seq INTEGER PRIMARY KEY, application_id TEXT NOT NULL REFERENCES applications (id),
    section_id TEXT NOT NULL REFERENCES sections (id), applied_on TEXT NOT NULL, area INTEGER NOT NULL, product INTEGER NOT NULL,
    nitrogen INTEGER NOT NULL, quick_nitrogen INTEGER NOT NULL, phosphate INTEGER NOT NULL, potash INTEGER NOT NULL
) STRICT;
CREATE INDEX lines_by_section ON application_lines
    (section_id, applied_on, nitrogen, quick_nitrogen, phosphate, potash, area, product, application_id);
CREATE INDEX lines_by_application ON application_lines (application_id);
CREATE TABLE stock_movements (
    seq INTEGER PRIMARY KEY, product_id TEXT NOT NULL REFERENCES products (id), mass INTEGER NOT NULL, application_id TEXT,
    moved_on TEXT NOT NULL
) STRICT;
CREATE INDEX stock_movements_by_product ON stock_movements (product_id, seq);
CREATE TABLE journal (
    seq INTEGER PRIMARY KEY, written_at TEXT NOT NULL, person_id TEXT NOT NULL, act TEXT NOT NULL, subject_id TEXT NOT NULL,
    payload TEXT NOT NULL, previous_hash TEXT NOT NULL, hash TEXT NOT NULL
) STRICT;
CREATE INDEX journal_by_subject ON journal (subject_id);
