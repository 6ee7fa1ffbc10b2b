-- What decides which law binds a property: rule sets, the kind of its ground, and who works there. Where it was entered after the
-- property was, what the records of those days lack is asked again.
DROP INDEX dated_entries_of_rule_sets;
CREATE INDEX dated_entries_of_what_binds ON dated_entries (property_id, since, entered_at)
WHERE property_id IS NOT NULL AND id <> property_id
    AND (json_type(facts, '$.rule_sets') IS NOT NULL OR json_type(facts, '$.kind') IS NOT NULL
        OR json_type(facts, '$.worked_by') IS NOT NULL);
