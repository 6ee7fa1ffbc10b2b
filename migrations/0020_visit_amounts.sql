-- How much product a visit puts down where no nitrogen states it: lime, potash or phosphate alone. In millionths of a pound on
-- 1,000 sq ft, written and changed with the visit as the target of nitrogen is. A visit has one of the two at most: two amounts
-- would contradict each other.
ALTER TABLE visits ADD COLUMN target_product INTEGER
    CONSTRAINT visits_target CHECK (target_product IS NULL OR (target_product > 0 AND target_nitrogen IS NULL));
