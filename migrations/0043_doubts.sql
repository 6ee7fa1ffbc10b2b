-- What an addition makes doubtful of its record, where it does: that the work went beyond the rules, by a distance that was kept and is
-- told only now, or that less was kept than the record says. Judged when it is written, so that the owner looks at it. Nothing for the
-- additions of earlier versions.
ALTER TABLE record_additions ADD COLUMN doubt TEXT
    CONSTRAINT record_additions_doubt CHECK (doubt IN ('beyond_the_rules', 'shorter_distance'));
CREATE INDEX record_additions_in_doubt ON record_additions (seq) WHERE doubt IS NOT NULL;
