-- The sum of each lot's movements, kept by the trigger below alone: a lot's balance is asked of every list of lots, of every product's
-- page and by the writer, and a lot that is in use for years has as many movements as it has records. `swardbook verify` holds it
-- against the movements.
CREATE TABLE lot_totals (
    lot_id TEXT    NOT NULL PRIMARY KEY CONSTRAINT lot_totals_lot REFERENCES lots (id),
    mass   INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO lot_totals (lot_id, mass) SELECT lot_id, sum(mass) FROM stock_movements WHERE lot_id IS NOT NULL GROUP BY lot_id;
CREATE TRIGGER stock_movements_lot_total AFTER INSERT ON stock_movements WHEN new.lot_id IS NOT NULL BEGIN
    INSERT INTO lot_totals (lot_id, mass) VALUES (new.lot_id, new.mass)
    ON CONFLICT (lot_id) DO UPDATE SET mass = mass + excluded.mass;
END;

-- What came with a lot is one movement of it. The index of all movements of a lot served its sums alone.
DROP INDEX stock_movements_by_lot;
CREATE INDEX stock_movements_received ON stock_movements (lot_id, mass) WHERE kind = 'received';

-- Refused clearances are never on the owner's list, and they are most of what is refused.
CREATE INDEX attempts_to_review ON attempts (seq) WHERE kind <> 'clearance';

-- A record as pages and lists read it: its columns, and beside them what belongs to it. `packed` and its pattern come as they are
-- stored; the clock of an older record is looked for only where the record does not have it.
CREATE VIEW application_reads AS
SELECT a.seq, a.id, a.property_id, a.product_id, a.lot_id, a.visit_id, a.clearance_id, a.person_id, a.person_name, a.entered_by, a.device_id,
    a.applied_on, a.received_at, a.sent_at, a.verdict, a.beyond_the_rules, a.content, a.packed,
    (SELECT p.body FROM text_patterns AS p WHERE p.seq = a.pattern) AS pattern,
    coalesce(a.time_zone, a.particulars ->> 'time_zone', (SELECT p.time_zone FROM properties AS p WHERE p.id = a.property_id)) AS time_zone,
    (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
     FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS lines,
    (SELECT json_group_array(its.id) FROM (SELECT c.id FROM corrections AS c WHERE c.application_id = a.id ORDER BY c.seq) AS its)
        AS correction_ids,
    (SELECT t.body FROM personal_texts AS t WHERE t.record_id = a.id) AS texts
FROM applications AS a;

-- The same view as before, led from the visit to what was recorded for it: the planner otherwise may read every record that a section
-- ever had, where few records of a book name a visit.
DROP VIEW untreated_visit_sections;
CREATE VIEW untreated_visit_sections AS
SELECT s.visit_id, s.section_id FROM visit_sections AS s
WHERE NOT EXISTS (
    SELECT 1 FROM applications AS a CROSS JOIN application_lines AS l
    WHERE a.visit_id = s.visit_id AND l.application_id = a.id AND l.section_id = s.section_id
    GROUP BY l.section_id HAVING sum(l.product) > 0);
