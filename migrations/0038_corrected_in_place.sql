-- Said of a measurement or a soil report that takes another's place: both were entered on the wrong lawn, and neither counts here.
ALTER TABLE measurements ADD COLUMN not_of_this_lawn INTEGER NOT NULL DEFAULT 0
    CONSTRAINT measurements_elsewhere CHECK (not_of_this_lawn = 0 OR (not_of_this_lawn = 1 AND corrects IS NOT NULL));
ALTER TABLE soil_reports ADD COLUMN not_of_this_lawn INTEGER NOT NULL DEFAULT 0
    CONSTRAINT soil_reports_elsewhere CHECK (not_of_this_lawn = 0 OR (not_of_this_lawn = 1 AND corrects IS NOT NULL));

-- Where a measurement stands among those of its day: in the order of writing, and one that takes another's place of the same day stands
-- where that one stood. Otherwise a correction of the first would come before whatever was measured later on that day.
CREATE VIEW placed_measurements AS
SELECT m.*, iif(m.corrects IS NULL, m.seq, (
    WITH RECURSIVE taken (seq, corrects) AS (
        VALUES (m.seq, m.corrects)
        UNION ALL
        SELECT x.seq, x.corrects FROM taken JOIN measurements AS x ON x.id = taken.corrects WHERE x.measured_on = m.measured_on)
    SELECT min(seq) FROM taken)) AS place
FROM measurements AS m;

-- Likewise of soil reports.
CREATE VIEW placed_soil_reports AS
SELECT r.*, iif(r.corrects IS NULL, r.seq, (
    WITH RECURSIVE taken (seq, corrects) AS (
        VALUES (r.seq, r.corrects)
        UNION ALL
        SELECT x.seq, x.corrects FROM taken JOIN soil_reports AS x ON x.id = taken.corrects WHERE x.sampled_on = r.sampled_on)
    SELECT min(seq) FROM taken)) AS place
FROM soil_reports AS r;

-- The measurements by which product is reckoned. Whoever asks for a section's area asks here.
DROP VIEW counted_measurements;
CREATE VIEW counted_measurements AS
SELECT m.seq, m.id, m.section_id, m.area, m.measured_on, m.place
FROM placed_measurements AS m
WHERE (m.to_confirm = 0
       OR coalesce((SELECT c.holds FROM measurement_confirmations AS c WHERE c.measurement_id = m.id), 1 - m.waits) = 1)
  AND m.not_of_this_lawn = 0 AND NOT EXISTS (SELECT 1 FROM measurements AS t WHERE t.corrects = m.id);

-- The soil reports that count. Whoever asks when a section's soil was sampled asks here.
DROP VIEW counted_soil_reports;
CREATE VIEW counted_soil_reports AS
SELECT r.seq, r.id, r.section_id, r.sampled_on, r.place
FROM placed_soil_reports AS r
WHERE r.not_of_this_lawn = 0 AND NOT EXISTS (SELECT 1 FROM soil_reports AS t WHERE t.corrects = r.id);

-- Who said when whose a property is, after it was first entered: what is said after a year has ended may take a property off the
-- statement of whoever was told as its client.
CREATE INDEX dated_entries_of_owners ON dated_entries (entered_at, property_id)
WHERE property_id IS NOT NULL AND id <> property_id AND json_type(facts, '$.client_id') IS NOT NULL;

-- What stood of the sections that a correction names and its record does not: name, turf, measurement and soil report as a JSON array, in
-- the members of what is fixed with a record. Fixed when the correction is written, and nothing for those of earlier versions.
ALTER TABLE corrections ADD COLUMN sections TEXT CONSTRAINT corrections_sections CHECK (sections IS NULL OR json_type(sections) = 'array');

DROP VIEW correction_rows;
CREATE VIEW correction_rows AS
SELECT c.seq, c.id, c.application_id,
    json_object('id', c.id, 'application_id', c.application_id, 'person_id', c.person_id, 'device_id', c.device_id,
        'received_at', c.received_at, 'verdict', c.verdict, 'beyond_the_rules', c.beyond_the_rules, 'leaves_others', c.leaves_others,
        'sections', c.sections, 'content', c.content, 'fingerprint', c.fingerprint) AS body,
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
