-- What the journal's entry, the decision and the particulars of a record say is long, and much the same from record to record. It
-- is written as what differs from a text of its kind that is kept whole, its pattern, and reads byte for byte as it did. Patterns
-- are written as they are met, and never edited: every text packed by one needs it.
CREATE TABLE text_patterns (
    seq  INTEGER NOT NULL PRIMARY KEY,
    -- The act, and the rule sets that it was decided under.
    kind TEXT    NOT NULL,
    body TEXT    NOT NULL
) STRICT;
CREATE INDEX text_patterns_by_kind ON text_patterns (kind, seq);
CREATE TRIGGER text_patterns_keep BEFORE UPDATE ON text_patterns BEGIN SELECT RAISE(ABORT, 'text patterns are never edited'); END;
CREATE TRIGGER text_patterns_stay BEFORE DELETE ON text_patterns BEGIN SELECT RAISE(ABORT, 'text patterns are never deleted'); END;

-- An act's payload, decision, particulars and weather, a line each, as one Zstandard frame with the pattern as its dictionary.
-- Where it stands, the payload is empty, and so are the decision's, the particulars' and the weather's own columns; what was
-- written before stays as it was.
ALTER TABLE journal ADD COLUMN pattern INTEGER CONSTRAINT journal_pattern REFERENCES text_patterns (seq);
ALTER TABLE journal ADD COLUMN packed BLOB CONSTRAINT journal_packed CHECK ((packed IS NULL) = (pattern IS NULL));

-- The clock by which the days of a record are told. It stands in its particulars, which a list of records does not unpack.
ALTER TABLE applications ADD COLUMN time_zone TEXT;
-- The content of a record is packed beside its row, because lists and statements read it. `content` has then only the members that
-- statements of SQL ask for: when the work began, with which machine and under whose supervision.
ALTER TABLE applications ADD COLUMN pattern INTEGER CONSTRAINT applications_pattern REFERENCES text_patterns (seq);
ALTER TABLE applications ADD COLUMN packed BLOB CONSTRAINT applications_packed CHECK ((packed IS NULL) = (pattern IS NULL));

DROP VIEW application_rows;
CREATE VIEW application_rows AS
SELECT a.seq, a.id, a.property_id, a.applied_on, a.beyond_the_rules, coalesce(a.time_zone, a.particulars ->> 'time_zone', p.time_zone) AS time_zone,
    json_object('row', json_object('id', a.id, 'property_id', a.property_id, 'product_id', a.product_id, 'lot_id', a.lot_id,
            'visit_id', a.visit_id, 'clearance_id', a.clearance_id, 'person_id', a.person_id, 'person_name', a.person_name,
            'entered_by', a.entered_by, 'device_id', a.device_id, 'applied_on', a.applied_on, 'received_at', a.received_at,
            'sent_at', a.sent_at, 'verdict', a.verdict, 'beyond_the_rules', a.beyond_the_rules, 'review_reason', a.review_reason,
            'incomplete', a.incomplete, 'particulars', a.particulars, 'time_zone', a.time_zone, 'pattern', a.pattern, 'packed', hex(a.packed), 'content', a.content, 'fingerprint', a.fingerprint),
        'correction_ids', (SELECT json_group_array(its.id)
            FROM (SELECT c.id FROM corrections AS c WHERE c.application_id = a.id ORDER BY c.seq) AS its),
        'texts', (SELECT json(t.body) FROM personal_texts AS t WHERE t.record_id = a.id),
        'pattern', (SELECT p.body FROM text_patterns AS p WHERE p.seq = a.pattern)) AS body,
    (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
     FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS lines
FROM applications AS a JOIN properties AS p ON p.id = a.property_id;
