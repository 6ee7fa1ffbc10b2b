-- A technician's measurement that makes a lawn larger loosens every limit on it, so it counts once somebody of the office has
-- looked at it. `waits` says whether it was held back when it was written; like everything of a measurement it is never edited.
ALTER TABLE measurements ADD COLUMN waits INTEGER NOT NULL DEFAULT 0 CONSTRAINT measurements_waits CHECK (waits IN (0, 1));

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
WHERE m.waits = 0 OR EXISTS (SELECT 1 FROM measurement_confirmations AS c WHERE c.measurement_id = m.id AND c.holds = 1);

DROP INDEX measurements_by_section;
CREATE INDEX measurements_by_section ON measurements (section_id, measured_on, seq, area, waits, id);
CREATE INDEX measurements_waiting ON measurements (seq) WHERE waits = 1;
