-- Visits that are still to be made are few among all that ever were: what is late, what stock is wanted, and where weather is
-- asked for are found among them alone.
CREATE INDEX visits_by_status ON visits (status, planned_on);
-- Where a lot was put down: asked when one is recalled.
CREATE INDEX applications_by_lot ON applications (lot_id, property_id) WHERE lot_id IS NOT NULL;
