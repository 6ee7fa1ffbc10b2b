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
    (SELECT json_group_array(json_array(t.section_id, t.area, t.product, t.nitrogen, t.quick_nitrogen, t.phosphate, t.potash))
     FROM (SELECT l.section_id, l.area, sum(l.product) AS product, sum(l.nitrogen) AS nitrogen, sum(l.quick_nitrogen) AS quick_nitrogen,
                  sum(l.phosphate) AS phosphate, sum(l.potash) AS potash
           FROM application_lines AS l
           WHERE l.application_id = c.application_id
             AND l.seq <= (SELECT max(o.seq) FROM application_lines AS o WHERE o.application_id = c.application_id AND o.record_id = c.id)
           GROUP BY l.section_id, l.area HAVING sum(l.product) > 0 ORDER BY l.section_id, l.area) AS t) AS lines
FROM corrections AS c;
