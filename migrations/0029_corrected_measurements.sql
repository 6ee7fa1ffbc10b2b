-- A measurement or a soil report that is wrong in its day or in what it says is corrected by a further one, which says why and takes
-- its place: the corrected one stays to be read and counts no more. Written by the office, and like everything of both never edited.
ALTER TABLE measurements ADD COLUMN corrects TEXT CONSTRAINT measurements_corrects REFERENCES measurements (id);
ALTER TABLE measurements ADD COLUMN reason TEXT CONSTRAINT measurements_reason CHECK ((corrects IS NULL) = (reason IS NULL));
CREATE UNIQUE INDEX measurements_by_corrects ON measurements (corrects) WHERE corrects IS NOT NULL;

ALTER TABLE soil_reports ADD COLUMN corrects TEXT CONSTRAINT soil_reports_corrects REFERENCES soil_reports (id);
ALTER TABLE soil_reports ADD COLUMN reason TEXT CONSTRAINT soil_reports_reason CHECK ((corrects IS NULL) = (reason IS NULL));
CREATE UNIQUE INDEX soil_reports_by_corrects ON soil_reports (corrects) WHERE corrects IS NOT NULL;

-- The measurements by which product is reckoned. Whoever asks for a section's area asks here.
DROP VIEW counted_measurements;
CREATE VIEW counted_measurements AS
SELECT m.seq, m.id, m.section_id, m.area, m.measured_on
FROM measurements AS m
WHERE (m.to_confirm = 0
       OR coalesce((SELECT c.holds FROM measurement_confirmations AS c WHERE c.measurement_id = m.id), 1 - m.waits) = 1)
  AND NOT EXISTS (SELECT 1 FROM measurements AS t WHERE t.corrects = m.id);

-- The soil reports that count. Whoever asks when a section's soil was sampled asks here.
CREATE VIEW counted_soil_reports AS
SELECT r.seq, r.id, r.section_id, r.sampled_on
FROM soil_reports AS r
WHERE NOT EXISTS (SELECT 1 FROM soil_reports AS t WHERE t.corrects = r.id);
