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
  AND NOT EXISTS (SELECT 1 FROM measurements AS t WHERE t.corrects = m.id);

-- The soil reports that count. Whoever asks when a section's soil was sampled asks here.
DROP VIEW counted_soil_reports;
CREATE VIEW counted_soil_reports AS
SELECT r.seq, r.id, r.section_id, r.sampled_on, r.place
FROM placed_soil_reports AS r
WHERE NOT EXISTS (SELECT 1 FROM soil_reports AS t WHERE t.corrects = r.id);

-- Who said when whose a property is, after it was first entered: what is said after a year has ended may take a property off the
-- statement of whoever was told as its client.
CREATE INDEX dated_entries_of_owners ON dated_entries (entered_at, property_id)
WHERE property_id IS NOT NULL AND id <> property_id AND json_type(facts, '$.client_id') IS NOT NULL;
