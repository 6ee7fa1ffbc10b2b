-- A spreader or sprayer of the company. Written by the office; never deleted, because calibrations and records name it:
-- `active` ends its use. Its kind never changes: a machine of another kind is another machine. Weights in millionths of a pound,
-- volumes in millionths of a gallon, lengths in hundredths of a foot. `limit_days` and `limit_applications` say when a
-- calibration of it is old, where the company has set that; both or neither.
CREATE TABLE equipment (
    seq                INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id                 TEXT    NOT NULL CONSTRAINT equipment_id UNIQUE,
    name               TEXT    NOT NULL,
    kind               TEXT    NOT NULL CONSTRAINT equipment_kind
                               CHECK (kind IN ('drop_spreader', 'rotary_spreader', 'boom_sprayer', 'spray_gun')),
    has_deflector      INTEGER NOT NULL CONSTRAINT equipment_has_deflector CHECK (has_deflector IN (0, 1)),
    hopper             INTEGER CONSTRAINT equipment_hopper CHECK (hopper > 0),
    tank               INTEGER CONSTRAINT equipment_tank CHECK (tank > 0),
    swath              INTEGER CONSTRAINT equipment_swath CHECK (swath > 0),
    limit_days         INTEGER CONSTRAINT equipment_limit_days CHECK (limit_days > 0),
    limit_applications INTEGER CONSTRAINT equipment_limit_applications CHECK (limit_applications > 0),
    active             INTEGER NOT NULL CONSTRAINT equipment_active CHECK (active IN (0, 1)),
    version            INTEGER NOT NULL,
    created_at         INTEGER NOT NULL,
    CONSTRAINT equipment_holds_one CHECK (hopper IS NULL OR tank IS NULL),
    CONSTRAINT equipment_limits_whole CHECK ((limit_days IS NULL) = (limit_applications IS NULL))
) STRICT;

-- What a machine really put down for one product and one operator (`person_id`) on a day. `test` is what was measured and
-- `result` what followed from it then, with its derivations, both in the API's form, so that a formula that is told
-- otherwise later rewrites nothing. Only ever inserted: another measurement is another calibration.
CREATE TABLE calibrations (
    seq           INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id            TEXT    NOT NULL CONSTRAINT calibrations_id UNIQUE,
    equipment_id  TEXT    NOT NULL CONSTRAINT calibrations_equipment REFERENCES equipment (id),
    product_id    TEXT    NOT NULL CONSTRAINT calibrations_product REFERENCES products (id),
    person_id     TEXT    NOT NULL CONSTRAINT calibrations_person REFERENCES people (id),
    calibrated_on TEXT    NOT NULL,
    setting       TEXT,
    -- A row of pans finds the swath and how even it is, everything else finds a rate; each supersedes only its like.
    finds         TEXT    NOT NULL CONSTRAINT calibrations_finds CHECK (finds IN ('rate', 'swath')),
    test          TEXT    NOT NULL,
    result        TEXT    NOT NULL,
    note          TEXT,
    entered_by    TEXT    NOT NULL CONSTRAINT calibrations_entered_by REFERENCES people (id),
    created_at    INTEGER NOT NULL
) STRICT;
CREATE INDEX calibrations_in_force ON calibrations (equipment_id, product_id, person_id, finds, calibrated_on, seq);
CREATE INDEX calibrations_by_product ON calibrations (product_id, person_id);

-- Which machine a record names. It stands in the record's content, which is never edited; this column reads it from there, so
-- that there is nothing beside the content that could differ from it.
ALTER TABLE applications ADD COLUMN equipment_id TEXT GENERATED ALWAYS AS (content ->> 'equipment_id') VIRTUAL
    CONSTRAINT applications_equipment REFERENCES equipment (id);
CREATE INDEX applications_by_equipment ON applications (equipment_id, product_id, person_id, applied_on)
    WHERE equipment_id IS NOT NULL;
-- The drift of a period asks for its records.
CREATE INDEX applications_by_day ON applications (applied_on);

-- A label or a safety data sheet, the bytes as they came, once by their SHA-256.
CREATE TABLE file_bodies (
    sha256     TEXT    NOT NULL PRIMARY KEY,
    media_type TEXT    NOT NULL CONSTRAINT file_bodies_media_type CHECK (media_type IN ('application/pdf', 'image/png', 'image/jpeg')),
    bytes      BLOB    NOT NULL CONSTRAINT file_bodies_size CHECK (length(bytes) BETWEEN 1 AND 4194304)
) STRICT;

-- Which product a file belongs to and what it is. A newer one stands beside the older: what a technician could read last year
-- can be read for ever.
CREATE TABLE product_files (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id         TEXT    NOT NULL CONSTRAINT product_files_id UNIQUE,
    product_id TEXT    NOT NULL CONSTRAINT product_files_product REFERENCES products (id),
    kind       TEXT    NOT NULL CONSTRAINT product_files_kind CHECK (kind IN ('label', 'safety_data_sheet')),
    dated      TEXT,
    sha256     TEXT    NOT NULL CONSTRAINT product_files_body REFERENCES file_bodies (sha256),
    person_id  TEXT    NOT NULL CONSTRAINT product_files_person REFERENCES people (id),
    created_at INTEGER NOT NULL,
    CONSTRAINT product_files_once UNIQUE (product_id, kind, sha256)
) STRICT;
CREATE INDEX product_files_by_body ON product_files (sha256);

CREATE TRIGGER equipment_kind_keep BEFORE UPDATE OF id, kind ON equipment
BEGIN SELECT RAISE(ABORT, 'the kind of a machine is never edited'); END;
CREATE TRIGGER equipment_stay BEFORE DELETE ON equipment BEGIN SELECT RAISE(ABORT, 'equipment is never deleted'); END;
CREATE TRIGGER calibrations_keep BEFORE UPDATE ON calibrations BEGIN SELECT RAISE(ABORT, 'calibrations are never edited'); END;
CREATE TRIGGER calibrations_stay BEFORE DELETE ON calibrations BEGIN SELECT RAISE(ABORT, 'calibrations are never deleted'); END;
CREATE TRIGGER file_bodies_keep BEFORE UPDATE ON file_bodies BEGIN SELECT RAISE(ABORT, 'files are never edited'); END;
CREATE TRIGGER file_bodies_stay BEFORE DELETE ON file_bodies BEGIN SELECT RAISE(ABORT, 'files are never deleted'); END;
CREATE TRIGGER product_files_keep BEFORE UPDATE ON product_files BEGIN SELECT RAISE(ABORT, 'files are never edited'); END;
CREATE TRIGGER product_files_stay BEFORE DELETE ON product_files BEGIN SELECT RAISE(ABORT, 'files are never deleted'); END;
