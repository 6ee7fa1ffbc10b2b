-- Who pays. Written by the office. Never deleted: records and statements name them. `cancelled_on` ends the service.
CREATE TABLE clients (
    seq             INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id              TEXT    NOT NULL CONSTRAINT clients_id UNIQUE,
    name            TEXT    NOT NULL,
    mailing_address TEXT    NOT NULL,
    phone           TEXT,
    cancelled_on    TEXT,
    version         INTEGER NOT NULL,
    created_at      INTEGER NOT NULL
) STRICT;

-- The site. Its zone turns a moment into the local day that decides the law. `state`, `county` and `municipality` are codes
-- of where it lies, whether or not the server has a rule set for each; `rule_sets` is a JSON array of the codes of those that
-- bind there. Both are confirmed by a person. `local_rules_checked_on` is the day on which somebody asked county and
-- municipality what rules of their own they have.
CREATE TABLE properties (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT properties_id UNIQUE,
    client_id   TEXT    NOT NULL CONSTRAINT properties_client REFERENCES clients (id),
    name        TEXT    NOT NULL,
    address     TEXT    NOT NULL,
    postal_code TEXT    NOT NULL,
    latitude    REAL    CONSTRAINT properties_latitude CHECK (latitude BETWEEN -90 AND 90),
    longitude   REAL    CONSTRAINT properties_longitude CHECK (longitude BETWEEN -180 AND 180),
    time_zone   TEXT    NOT NULL,
    state        TEXT,
    county       TEXT    CONSTRAINT properties_county CHECK (county IS NULL OR state IS NOT NULL),
    municipality TEXT    CONSTRAINT properties_municipality CHECK (municipality IS NULL OR state IS NOT NULL),
    rule_sets   TEXT    NOT NULL,
    local_rules_checked_on TEXT,
    version     INTEGER NOT NULL,
    created_at  INTEGER NOT NULL,
    CONSTRAINT properties_place CHECK ((latitude IS NULL) = (longitude IS NULL))
) STRICT;
CREATE INDEX properties_by_client ON properties (client_id, seq);

-- Whose a property is, and since which local day. Written with the property and whenever it changes hands, never edited, so
-- that the statements of past years stay with the client of those years. The first row has no beginning. The nitrogen that
-- went down stays with the land, whoever pays.
CREATE TABLE ownerships (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    property_id TEXT    NOT NULL CONSTRAINT ownerships_property REFERENCES properties (id),
    client_id   TEXT    NOT NULL CONSTRAINT ownerships_client REFERENCES clients (id),
    since       TEXT    NOT NULL
) STRICT;
CREATE INDEX ownerships_by_property ON ownerships (property_id, since, seq, client_id);
CREATE INDEX ownerships_by_client ON ownerships (client_id, property_id);
CREATE TRIGGER ownerships_keep BEFORE UPDATE ON ownerships BEGIN SELECT RAISE(ABORT, 'ownerships are never edited'); END;
CREATE TRIGGER ownerships_stay BEFORE DELETE ON ownerships BEGIN SELECT RAISE(ABORT, 'ownerships are never deleted'); END;

-- The smallest piece of lawn with its own measurement, soil report and yearly total. Lengths in hundredths of a foot.
-- `water` says whether somebody looked: 'none' is a statement, 'unknown' is not.
CREATE TABLE sections (
    seq              INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id               TEXT    NOT NULL CONSTRAINT sections_id UNIQUE,
    property_id      TEXT    NOT NULL CONSTRAINT sections_property REFERENCES properties (id),
    name             TEXT    NOT NULL,
    species          TEXT,
    water            TEXT    NOT NULL CONSTRAINT sections_water CHECK (water IN ('none', 'near', 'unknown')),
    water_distance   INTEGER CONSTRAINT sections_water_distance CHECK (water_distance >= 0),
    natural_strip    INTEGER CONSTRAINT sections_natural_strip CHECK (natural_strip >= 0),
    established_on   TEXT,
    touches_pavement INTEGER NOT NULL CONSTRAINT sections_touches_pavement CHECK (touches_pavement IN (0, 1)),
    version          INTEGER NOT NULL,
    created_at       INTEGER NOT NULL,
    CONSTRAINT sections_water_whole CHECK ((water = 'near') = (water_distance IS NOT NULL))
) STRICT;
CREATE INDEX sections_by_property ON sections (property_id, seq);

-- A section's area, in hundredths of a square foot, from a day on. Superseded by a later one, never edited, so that a
-- record keeps the area it was made with.
CREATE TABLE measurements (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT measurements_id UNIQUE,
    section_id  TEXT    NOT NULL CONSTRAINT measurements_section REFERENCES sections (id),
    area        INTEGER NOT NULL CONSTRAINT measurements_area CHECK (area > 0),
    measured_on TEXT    NOT NULL,
    method      TEXT    NOT NULL,
    measured_by TEXT    NOT NULL,
    note        TEXT,
    created_at  INTEGER NOT NULL
) STRICT;
CREATE INDEX measurements_by_section ON measurements (section_id, measured_on, seq, area);

-- What a laboratory answered about one section. Rates in millionths of a pound on 1,000 sq ft. A newer report
-- supersedes by its date; a wrong one is followed by a corrected one, never edited.
CREATE TABLE soil_reports (
    seq                   INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id                    TEXT    NOT NULL CONSTRAINT soil_reports_id UNIQUE,
    section_id            TEXT    NOT NULL CONSTRAINT soil_reports_section REFERENCES sections (id),
    sampled_on            TEXT    NOT NULL,
    laboratory            TEXT    NOT NULL,
    laboratory_number     TEXT,
    extractant            TEXT    NOT NULL,
    cores                 INTEGER CONSTRAINT soil_reports_cores CHECK (cores > 0),
    ph                    INTEGER CONSTRAINT soil_reports_ph CHECK (ph BETWEEN 0 AND 1400),
    phosphorus            TEXT,
    phosphate_recommended INTEGER,
    potash_recommended    INTEGER,
    created_at            INTEGER NOT NULL
) STRICT;
CREATE INDEX soil_reports_by_section ON soil_reports (section_id, sampled_on);

CREATE TRIGGER measurements_keep BEFORE UPDATE ON measurements BEGIN SELECT RAISE(ABORT, 'measurements are never edited'); END;
CREATE TRIGGER measurements_stay BEFORE DELETE ON measurements BEGIN SELECT RAISE(ABORT, 'measurements are never deleted'); END;
CREATE TRIGGER soil_reports_keep BEFORE UPDATE ON soil_reports BEGIN SELECT RAISE(ABORT, 'soil reports are never edited'); END;
CREATE TRIGGER soil_reports_stay BEFORE DELETE ON soil_reports BEGIN SELECT RAISE(ABORT, 'soil reports are never deleted'); END;
