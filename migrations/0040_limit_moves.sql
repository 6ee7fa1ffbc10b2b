-- A change by which more may go down on a lawn than before, or one that is large or unlikely: the area, the distance to water, the turf, the
-- soil report or the rules of a lawn. Written with the change, which counts all the same; the owner looks at it and says so in
-- `reviews`, or has it put right by a further entry. `subject_id` is the measurement, the dated entry or the soil report. What stood
-- before and after is kept in words, as people read it. Never edited.
CREATE TABLE limit_moves (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id          TEXT    NOT NULL CONSTRAINT limit_moves_id UNIQUE,
    what        TEXT    NOT NULL CONSTRAINT limit_moves_what CHECK (what IN ('area', 'water', 'species', 'soil_report', 'rules')),
    why         TEXT    NOT NULL CONSTRAINT limit_moves_why CHECK (why IN ('limit_loosened', 'large_change', 'unlikely_figure')),
    subject_id  TEXT    NOT NULL,
    property_id TEXT    NOT NULL CONSTRAINT limit_moves_property REFERENCES properties (id),
    section_id  TEXT    CONSTRAINT limit_moves_section REFERENCES sections (id),
    person_id   TEXT    NOT NULL CONSTRAINT limit_moves_person REFERENCES people (id),
    moved_at    INTEGER NOT NULL,
    -- The first day on which it is so, where the change names one.
    since       TEXT,
    was         TEXT    NOT NULL,
    becomes     TEXT    NOT NULL,
    reason      TEXT
) STRICT;
CREATE INDEX limit_moves_by_subject ON limit_moves (subject_id);
CREATE INDEX limit_moves_by_property ON limit_moves (property_id);
CREATE INDEX limit_moves_by_section ON limit_moves (section_id);
CREATE TRIGGER limit_moves_keep BEFORE UPDATE ON limit_moves BEGIN SELECT RAISE(ABORT, 'what moved a limit is never edited'); END;
CREATE TRIGGER limit_moves_stay BEFORE DELETE ON limit_moves BEGIN SELECT RAISE(ABORT, 'what moved a limit is never deleted'); END;

-- What somebody on the spot saw of a lawn section: the water near it, or the turf. What makes no limit looser counts at once, by an entry
-- of the section's history; what would let more go down has none until the office has confirmed it. Written by whoever saw it, and never
-- edited: what the office says is a row of its own.
CREATE TABLE sightings (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id         TEXT    NOT NULL CONSTRAINT sightings_id UNIQUE,
    section_id TEXT    NOT NULL CONSTRAINT sightings_section REFERENCES sections (id),
    person_id  TEXT    NOT NULL CONSTRAINT sightings_person REFERENCES people (id),
    seen_on    TEXT    NOT NULL,
    facts      TEXT    NOT NULL CONSTRAINT sightings_facts CHECK (json_type(facts) = 'object'),
    note       TEXT    NOT NULL,
    entry_id   TEXT    CONSTRAINT sightings_entry REFERENCES dated_entries (id),
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX sightings_by_section ON sightings (section_id);
-- Those that the office is asked about.
CREATE INDEX sightings_to_confirm ON sightings (seq) WHERE entry_id IS NULL;
CREATE TRIGGER sightings_keep BEFORE UPDATE ON sightings BEGIN SELECT RAISE(ABORT, 'what was seen is never edited'); END;
CREATE TRIGGER sightings_stay BEFORE DELETE ON sightings BEGIN SELECT RAISE(ABORT, 'what was seen is never deleted'); END;

-- What the office said of one that waited, and the entry by which it counts since. Said once.
CREATE TABLE sighting_confirmations (
    sighting_id  TEXT    NOT NULL PRIMARY KEY CONSTRAINT sighting_confirmations_sighting REFERENCES sightings (id),
    holds        INTEGER NOT NULL CONSTRAINT sighting_confirmations_holds CHECK (holds IN (0, 1)),
    note         TEXT,
    person_id    TEXT    NOT NULL CONSTRAINT sighting_confirmations_person REFERENCES people (id),
    confirmed_at INTEGER NOT NULL,
    entry_id     TEXT    CONSTRAINT sighting_confirmations_entry REFERENCES dated_entries (id),
    CONSTRAINT sighting_confirmations_counts CHECK ((entry_id IS NOT NULL) = holds)
) STRICT, WITHOUT ROWID;
CREATE TRIGGER sighting_confirmations_keep BEFORE UPDATE ON sighting_confirmations BEGIN SELECT RAISE(ABORT, 'what the office said is never edited'); END;
CREATE TRIGGER sighting_confirmations_stay BEFORE DELETE ON sighting_confirmations BEGIN SELECT RAISE(ABORT, 'what the office said is never deleted'); END;
