-- A correction changes the lines that it names and leaves the others as they stand. Those that were stored before this file named
-- every line and took back what they left out: theirs is 0. So it is where a correction names all that stood, and where it takes the
-- whole application back. 1 says that something which it does not name stands on. Written with the correction, never edited.
ALTER TABLE corrections ADD COLUMN leaves_others INTEGER NOT NULL DEFAULT 0
    CONSTRAINT corrections_leaves_others CHECK (leaves_others IN (0, 1));

-- What stands since a correction is no longer what it wrote alone: it is the sum of the ledger up to its last line.
DROP VIEW correction_rows;
CREATE VIEW correction_rows AS
SELECT c.seq, c.id, c.application_id,
    json_object('id', c.id, 'application_id', c.application_id, 'person_id', c.person_id, 'device_id', c.device_id,
        'received_at', c.received_at, 'verdict', c.verdict, 'beyond_the_rules', c.beyond_the_rules, 'leaves_others', c.leaves_others,
        'content', c.content, 'fingerprint', c.fingerprint) AS body,
    (SELECT json_group_array(json_array(t.section_id, t.area, t.product, t.nitrogen, t.quick_nitrogen, t.phosphate, t.potash,
            json((SELECT json_group_array(p.value ->> 0) FROM divisions AS d, json_each(d.parts) AS p
                  WHERE d.seq = t.division AND (t.parts >> p.key) & 1 = 1))))
     FROM (SELECT l.section_id, l.area, l.division, l.parts, sum(l.product) AS product, sum(l.nitrogen) AS nitrogen, sum(l.quick_nitrogen) AS quick_nitrogen,
                  sum(l.phosphate) AS phosphate, sum(l.potash) AS potash
           FROM application_lines AS l
           WHERE l.application_id = c.application_id
             AND l.seq <= (SELECT max(o.seq) FROM application_lines AS o WHERE o.application_id = c.application_id AND o.record_id = c.id)
           GROUP BY l.section_id, l.area, l.division, l.parts HAVING sum(l.product) > 0 ORDER BY l.section_id, l.area) AS t) AS lines
FROM corrections AS c;

-- How a section is divided from a day on: parts that share no ground, by name, and together no more than the section. `parts` is a
-- JSON array of name and area in hundredths of a square foot. The latest day up to that of the work holds; of two with one day, the
-- later entered. Written by the office, never edited: ledger rows name a division and their parts of it by their places in it.
CREATE TABLE divisions (
    seq        INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id         TEXT    NOT NULL CONSTRAINT divisions_id UNIQUE,
    section_id TEXT    NOT NULL CONSTRAINT divisions_section REFERENCES sections (id),
    since      TEXT    NOT NULL,
    parts      TEXT    NOT NULL CONSTRAINT divisions_parts CHECK (json_valid(parts)),
    person_id  TEXT    NOT NULL CONSTRAINT divisions_person REFERENCES people (id),
    created_at INTEGER NOT NULL
) STRICT;
CREATE INDEX divisions_by_section ON divisions (section_id, seq);
CREATE TRIGGER divisions_keep BEFORE UPDATE ON divisions BEGIN SELECT RAISE(ABORT, 'divisions are never edited'); END;
CREATE TRIGGER divisions_stay BEFORE DELETE ON divisions BEGIN SELECT RAISE(ABORT, 'divisions are never deleted'); END;

-- Where a line lies, and where the room lies that a clearance holds: the division, and its parts, a bit each, the lowest for the
-- first. Null: it may lie anywhere on the section.
ALTER TABLE application_lines ADD COLUMN division INTEGER CONSTRAINT application_lines_division REFERENCES divisions (seq);
ALTER TABLE application_lines ADD COLUMN parts INTEGER CONSTRAINT application_lines_parts CHECK ((parts IS NULL) = (division IS NULL) AND (parts IS NULL OR parts > 0));
ALTER TABLE clearance_lines ADD COLUMN division INTEGER CONSTRAINT clearance_lines_division REFERENCES divisions (seq);
ALTER TABLE clearance_lines ADD COLUMN parts INTEGER CONSTRAINT clearance_lines_parts CHECK ((parts IS NULL) = (division IS NULL) AND (parts IS NULL OR parts > 0));

DROP INDEX application_lines_by_section;
CREATE INDEX application_lines_by_section ON application_lines
    (section_id, applied_on, application_id, area, nitrogen, quick_nitrogen, phosphate, potash, product, flags, purpose, record_id, division, parts);
