-- What stood of everything that a record names, fixed when it was written: JSON, `Particulars` in `acts/particulars.rs`. Nothing
-- for the records of earlier versions: of them is shown what the dated entries say. The journal holds its hash.
ALTER TABLE applications ADD COLUMN particulars TEXT;
-- Whether the record lacked something that its law asks when it was written. Nothing for earlier records: nobody asked.
ALTER TABLE applications ADD COLUMN incomplete INTEGER
    CONSTRAINT applications_incomplete CHECK (incomplete IN (0, 1));
CREATE INDEX applications_to_complete ON applications (seq) WHERE incomplete IS NOT 0;
-- Rule sets of a property that were entered after it was: for records of days that they changed, what was lacking is asked again.
CREATE INDEX dated_entries_of_rule_sets ON dated_entries (property_id, since, entered_at)
WHERE property_id IS NOT NULL AND id <> property_id AND json_type(facts, '$.rule_sets') IS NOT NULL;

-- Texts about people that belong to a record or to what was added to one: names, addresses, telephone, notes, reasons. They stand
-- here and nowhere else, so that they can be destroyed when the time of keeping is over; the journal holds the SHA-256 of the
-- salt and the text, and without the salt nobody finds a text by trying. Written with the record. The one change there can be is
-- the destruction, which takes salt and text and names its own journal entry.
-- Not among them, and so never destroyed: what was sent with a record that was refused, notes and reason included (`attempts` and
-- their journal entries), the reason of a correction, the words of what was seen, and everything of the records of earlier
-- versions. They stand in plain words in their tables and in the journal.
CREATE TABLE personal_texts (
    record_id    TEXT    NOT NULL PRIMARY KEY,
    salt         TEXT,
    body         TEXT    CONSTRAINT personal_texts_body CHECK (json_type(body) = 'object'),
    -- The journal's number of the destruction. No declared reference: every entry of the journal would look for its texts.
    destroyed_by INTEGER,
    CONSTRAINT personal_texts_whole CHECK ((body IS NULL) = (destroyed_by IS NOT NULL) AND (salt IS NULL) = (body IS NULL))
) STRICT, WITHOUT ROWID;
CREATE TRIGGER personal_texts_keep BEFORE UPDATE ON personal_texts
WHEN NOT (OLD.record_id = NEW.record_id AND OLD.body IS NOT NULL AND NEW.body IS NULL)
BEGIN SELECT RAISE(ABORT, 'personal texts are never edited'); END;
CREATE TRIGGER personal_texts_stay BEFORE DELETE ON personal_texts BEGIN SELECT RAISE(ABORT, 'personal texts are never deleted'); END;

-- What was added to a record after it was written. `seen` is what somebody saw or did later or left out at first, `particulars`
-- what the book says by now of the day of the work; at least one of them. It stands beside what was fixed and changes nothing of
-- it. Written by whoever may read the record.
CREATE TABLE record_additions (
    seq            INTEGER NOT NULL PRIMARY KEY AUTOINCREMENT,
    id             TEXT    NOT NULL CONSTRAINT record_additions_id UNIQUE,
    application_id TEXT    NOT NULL CONSTRAINT record_additions_application REFERENCES applications (id),
    person_id      TEXT    NOT NULL CONSTRAINT record_additions_person REFERENCES people (id),
    device_id      TEXT    CONSTRAINT record_additions_device REFERENCES devices (id),
    entered_at     INTEGER NOT NULL,
    seen           TEXT,
    particulars    TEXT,
    CONSTRAINT record_additions_something CHECK (seen IS NOT NULL OR particulars IS NOT NULL)
) STRICT;
CREATE INDEX record_additions_by_application ON record_additions (application_id, seq);
CREATE TRIGGER record_additions_keep BEFORE UPDATE ON record_additions BEGIN SELECT RAISE(ABORT, 'additions are never edited'); END;
CREATE TRIGGER record_additions_stay BEFORE DELETE ON record_additions BEGIN SELECT RAISE(ABORT, 'additions are never deleted'); END;

DROP VIEW application_rows;
CREATE VIEW application_rows AS
SELECT a.seq, a.id, a.property_id, a.applied_on, a.beyond_the_rules, p.time_zone,
    json_object('row', json_object('id', a.id, 'property_id', a.property_id, 'product_id', a.product_id, 'lot_id', a.lot_id,
            'visit_id', a.visit_id, 'clearance_id', a.clearance_id, 'person_id', a.person_id, 'person_name', a.person_name,
            'entered_by', a.entered_by, 'device_id', a.device_id, 'applied_on', a.applied_on, 'received_at', a.received_at,
            'sent_at', a.sent_at, 'verdict', a.verdict, 'beyond_the_rules', a.beyond_the_rules, 'review_reason', a.review_reason,
            'incomplete', a.incomplete, 'particulars', a.particulars, 'content', a.content, 'fingerprint', a.fingerprint),
        'correction_ids', (SELECT json_group_array(its.id)
            FROM (SELECT c.id FROM corrections AS c WHERE c.application_id = a.id ORDER BY c.seq) AS its),
        'texts', (SELECT json(t.body) FROM personal_texts AS t WHERE t.record_id = a.id)) AS body,
    (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
     FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS lines
FROM applications AS a JOIN properties AS p ON p.id = a.property_id;
