-- Visits that are still to be made are few among all that ever were: what is late, what stock is wanted, and where weather is
-- asked for are found among them alone.
CREATE INDEX visits_by_status ON visits (status, planned_on);
-- Where a lot was put down: asked when one is recalled.
CREATE INDEX applications_by_lot ON applications (lot_id, property_id) WHERE lot_id IS NOT NULL;

-- Sections of a visit on which nothing stands recorded: a visit is made once there is none left. Of an application that was taken
-- back, nothing stands.
CREATE VIEW untreated_visit_sections AS
SELECT s.visit_id, s.section_id FROM visit_sections AS s
WHERE NOT EXISTS (
    SELECT 1 FROM applications AS a JOIN application_lines AS l ON l.application_id = a.id
    WHERE a.visit_id = s.visit_id AND l.section_id = s.section_id
    GROUP BY l.section_id HAVING sum(l.product) > 0);

-- Counted up whenever somebody asks whether the book can be written: a write that changes nothing never reaches the disk.
CREATE TABLE disk_proof (
    id      INTEGER NOT NULL PRIMARY KEY CONSTRAINT disk_proof_one_row CHECK (id = 1),
    written INTEGER NOT NULL
) STRICT;
INSERT INTO disk_proof (id, written) VALUES (1, 0);
