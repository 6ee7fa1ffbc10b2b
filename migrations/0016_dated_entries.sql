-- What stood when: the facts of clients, properties and sections as dated entries. `facts` is a JSON object of the members that
-- the entry says, named and written as in the API; `since` is the first local day on which they are so, 0001-01-01 for the first
-- entry of a thing, which holds for as long as anything is known. What stood on a day is the first entry, with those laid over it
-- whose day has come, in the order of their days. Written by the office; never edited. One that is wrong, in what it says or in
-- its day, is followed by one that takes its place (`corrects`). The rows of clients, properties and sections, and the spans in
-- `ownerships`, are what the entries come to, kept so that nobody has to lay them over each other to list them.
CREATE TABLE dated_entries (
    seq         INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    -- The first entry of a thing has the id of the thing.
    id          TEXT    NOT NULL CONSTRAINT dated_entries_id UNIQUE,
    client_id   TEXT    CONSTRAINT dated_entries_client REFERENCES clients (id),
    property_id TEXT    CONSTRAINT dated_entries_property REFERENCES properties (id),
    section_id  TEXT    CONSTRAINT dated_entries_section REFERENCES sections (id),
    since       TEXT    NOT NULL,
    facts       TEXT    NOT NULL CONSTRAINT dated_entries_facts CHECK (json_type(facts) = 'object'),
    corrects    INTEGER CONSTRAINT dated_entries_corrects REFERENCES dated_entries (seq),
    reason      TEXT,
    -- Nobody for what was brought over from before there were entries: it is what stood on the day of the migration.
    person_id   TEXT    CONSTRAINT dated_entries_person REFERENCES people (id),
    entered_at  INTEGER NOT NULL,
    CONSTRAINT dated_entries_once UNIQUE (corrects),
    CONSTRAINT dated_entries_one_subject
        CHECK ((client_id IS NOT NULL) + (property_id IS NOT NULL) + (section_id IS NOT NULL) = 1),
    CONSTRAINT dated_entries_first
        CHECK ((since = '0001-01-01' AND corrects IS NULL) = (id = coalesce(client_id, property_id, section_id))),
    CONSTRAINT dated_entries_reasoned CHECK (corrects IS NULL OR reason IS NOT NULL)
) STRICT;
CREATE INDEX dated_entries_by_client ON dated_entries (client_id, seq) WHERE client_id IS NOT NULL;
CREATE INDEX dated_entries_by_property ON dated_entries (property_id, seq) WHERE property_id IS NOT NULL;
CREATE INDEX dated_entries_by_section ON dated_entries (section_id, seq) WHERE section_id IS NOT NULL;
CREATE TRIGGER dated_entries_keep BEFORE UPDATE ON dated_entries BEGIN SELECT RAISE(ABORT, 'entries are never edited'); END;
CREATE TRIGGER dated_entries_stay BEFORE DELETE ON dated_entries BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;

ALTER TABLE clients ADD COLUMN email TEXT;

-- Today's value holds from the first day known.
INSERT INTO dated_entries (id, client_id, since, facts, entered_at)
SELECT c.id, c.id, '0001-01-01',
       json_object('name', c.name, 'mailing_address', c.mailing_address, 'phone', c.phone, 'email', NULL, 'cancelled_on', c.cancelled_on),
       CAST(unixepoch('subsec') * 1000 AS INTEGER)
FROM clients AS c ORDER BY c.seq;

-- A coordinate is written with as many digits as give it back.
INSERT INTO dated_entries (id, property_id, since, facts, entered_at)
SELECT p.id, p.id, '0001-01-01',
       json_object(
           'client_id', (SELECT o.client_id FROM ownerships AS o WHERE o.property_id = p.id ORDER BY o.since, o.seq LIMIT 1),
           'name', p.name, 'address', p.address, 'postal_code', p.postal_code,
           'latitude', json(CASE WHEN p.latitude IS NULL THEN 'null' WHEN CAST(printf('%!.15g', p.latitude) AS REAL) = p.latitude
               THEN printf('%!.15g', p.latitude) ELSE printf('%!.17g', p.latitude) END),
           'longitude', json(CASE WHEN p.longitude IS NULL THEN 'null' WHEN CAST(printf('%!.15g', p.longitude) AS REAL) = p.longitude
               THEN printf('%!.15g', p.longitude) ELSE printf('%!.17g', p.longitude) END),
           'time_zone', p.time_zone,
           'place', json(iif(p.state IS NULL, 'null', json_object('state', p.state, 'county', p.county, 'municipality', p.municipality))),
           'rule_sets', json(p.rule_sets), 'local_rules_checked_on', p.local_rules_checked_on),
       CAST(unixepoch('subsec') * 1000 AS INTEGER)
FROM properties AS p ORDER BY p.seq;

-- Every later change of hands.
INSERT INTO dated_entries (id, property_id, since, facts, entered_at)
SELECT lower(hex(randomblob(4)) || '-' || hex(randomblob(2)) || '-4' || substr(hex(randomblob(2)), 2) || '-a' ||
             substr(hex(randomblob(2)), 2) || '-' || hex(randomblob(6))),
       o.property_id, o.since, json_object('client_id', o.client_id), CAST(unixepoch('subsec') * 1000 AS INTEGER)
FROM ownerships AS o
WHERE EXISTS (SELECT 1 FROM ownerships AS b WHERE b.property_id = o.property_id AND (b.since, b.seq) < (o.since, o.seq))
ORDER BY o.seq;

INSERT INTO dated_entries (id, section_id, since, facts, entered_at)
SELECT s.id, s.id, '0001-01-01',
       json_object('name', s.name, 'species', s.species, 'water', s.water,
           'water_distance_ft', iif(s.water_distance IS NULL, NULL, rtrim(rtrim(printf('%d.%02d', s.water_distance / 100, s.water_distance % 100), '0'), '.')),
           'natural_strip_ft', iif(s.natural_strip IS NULL, NULL, rtrim(rtrim(printf('%d.%02d', s.natural_strip / 100, s.natural_strip % 100), '0'), '.')),
           'established_on', s.established_on, 'touches_pavement', json(iif(s.touches_pavement = 1, 'true', 'false')),
           'maintenance', s.maintenance, 'clippings', s.clippings, 'shade', s.shade),
       CAST(unixepoch('subsec') * 1000 AS INTEGER)
FROM sections AS s ORDER BY s.seq;

-- Spans follow the entries, and an entry may be corrected: they are worked out again with each.
DROP TRIGGER ownerships_keep;
DROP TRIGGER ownerships_stay;

-- A hand-over that was taken back on its own day began nothing: the spans are what the entries come to.
DELETE FROM ownerships WHERE EXISTS (
    SELECT 1 FROM ownerships AS l
    WHERE l.property_id = ownerships.property_id AND l.since = ownerships.since AND l.seq > ownerships.seq);
DELETE FROM ownerships WHERE client_id = (
    SELECT b.client_id FROM ownerships AS b
    WHERE b.property_id = ownerships.property_id AND b.since < ownerships.since ORDER BY b.since DESC LIMIT 1);
