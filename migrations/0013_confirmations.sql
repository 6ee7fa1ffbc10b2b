-- A technician's measurement that makes a lawn larger loosens every limit on it, so it counts once somebody of the office has
-- looked at it. `waits` says whether it was held back when it was written; like everything of a measurement it is never edited.
ALTER TABLE measurements ADD COLUMN waits INTEGER NOT NULL DEFAULT 0 CONSTRAINT measurements_waits CHECK (waits IN (0, 1));

-- A technician's measurement that somebody of the office should look at: one that waits, and the first of a section, which counts
-- at once because without it nothing may go down at all. `holds = 0` takes either out.
ALTER TABLE measurements ADD COLUMN to_confirm INTEGER NOT NULL DEFAULT 0 CONSTRAINT measurements_to_confirm CHECK (to_confirm >= waits);

-- What the office said of a measurement that waits: whether it holds, and why. Written once by the office or the owner, never
-- edited: a wrong word is followed by a further measurement.
CREATE TABLE measurement_confirmations (
    measurement_id TEXT    NOT NULL PRIMARY KEY CONSTRAINT measurement_confirmations_measurement REFERENCES measurements (id),
    holds          INTEGER NOT NULL CONSTRAINT measurement_confirmations_holds CHECK (holds IN (0, 1)),
    note           TEXT,
    person_id      TEXT    NOT NULL CONSTRAINT measurement_confirmations_person REFERENCES people (id),
    confirmed_at   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TRIGGER measurement_confirmations_keep BEFORE UPDATE ON measurement_confirmations BEGIN SELECT RAISE(ABORT, 'confirmations are never edited'); END;
CREATE TRIGGER measurement_confirmations_stay BEFORE DELETE ON measurement_confirmations BEGIN SELECT RAISE(ABORT, 'confirmations are never deleted'); END;

-- The measurements by which product is reckoned. Whoever asks for a section's area asks here.
CREATE VIEW counted_measurements AS
SELECT m.seq, m.id, m.section_id, m.area, m.measured_on
FROM measurements AS m
WHERE m.to_confirm = 0
   OR coalesce((SELECT c.holds FROM measurement_confirmations AS c WHERE c.measurement_id = m.id), 1 - m.waits) = 1;

DROP INDEX measurements_by_section;
CREATE INDEX measurements_by_section ON measurements (section_id, measured_on, seq, area, to_confirm, waits, id);
CREATE INDEX measurements_to_confirm_by_seq ON measurements (seq) WHERE to_confirm = 1;

-- Why the owner should look at a record that broke no rule: its visit was cancelled, closed or given to somebody else, or the
-- phone's clock was moved during the work. Written with the record.
ALTER TABLE applications ADD COLUMN review_reason TEXT
    CONSTRAINT applications_review_reason CHECK (review_reason IS NULL OR review_reason IN ('visit_changed', 'clock_moved'));
CREATE INDEX applications_to_review ON applications (seq) WHERE review_reason IS NOT NULL;
