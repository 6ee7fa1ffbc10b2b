-- What a season's plan asks of a section. 'unknown' is a value of its own: nobody has said.
ALTER TABLE sections ADD COLUMN maintenance TEXT NOT NULL DEFAULT 'unknown'
    CONSTRAINT sections_maintenance CHECK (maintenance IN ('low', 'medium', 'high', 'unknown'));
ALTER TABLE sections ADD COLUMN clippings TEXT NOT NULL DEFAULT 'unknown'
    CONSTRAINT sections_clippings CHECK (clippings IN ('left', 'taken', 'unknown'));
ALTER TABLE sections ADD COLUMN shade TEXT NOT NULL DEFAULT 'unknown'
    CONSTRAINT sections_shade CHECK (shade IN ('light', 'medium', 'heavy', 'unknown'));

-- The company's plan of a season. Written and changed by the office; never deleted, because visits name it. `content` is the
-- JSON of name, year, rounds, products and needs as the office sent it. It promises nothing: what it plans is held against the rules
-- each time it is asked.
CREATE TABLE programmes (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id         TEXT    NOT NULL CONSTRAINT programmes_id UNIQUE,
    content    TEXT    NOT NULL,
    version    INTEGER NOT NULL,
    created_at INTEGER NOT NULL
) STRICT;

-- Which round of which programme a visit is, if it was planned from one. Written with the visit and never changed: by it a
-- round is planned once on a section.
ALTER TABLE visits ADD COLUMN programme_id TEXT CONSTRAINT visits_programme REFERENCES programmes (id);
ALTER TABLE visits ADD COLUMN round TEXT CONSTRAINT visits_round CHECK ((round IS NULL) = (programme_id IS NULL));
CREATE INDEX visits_by_programme ON visits (programme_id, round) WHERE programme_id IS NOT NULL;
CREATE TRIGGER visits_keep_round BEFORE UPDATE OF programme_id, round ON visits
WHEN new.programme_id IS NOT old.programme_id OR new.round IS NOT old.round
BEGIN SELECT RAISE(ABORT, 'the round of a visit is never changed'); END;
