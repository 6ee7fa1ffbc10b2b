-- Records that lacked nothing when they were written and may lack something since: for their day other rule sets, another kind of ground
-- or others who work there were entered or corrected, another version of a rule set came to count, or they were corrected. Kept so that
-- the list of what records lack need not look for them; what each lacks is asked when the list is. Written together with what is the
-- reason, and following from it: `verify` holds it against entries and corrections.
CREATE TABLE asked_again (
    application_seq INTEGER NOT NULL PRIMARY KEY CONSTRAINT asked_again_application REFERENCES applications (seq)
) STRICT;

INSERT INTO asked_again (application_seq)
SELECT DISTINCT i.seq FROM dated_entries AS e INDEXED BY dated_entries_of_what_binds
LEFT JOIN dated_entries AS c ON c.seq = e.corrects CROSS JOIN applications AS i INDEXED BY applications_by_property
WHERE e.property_id IS NOT NULL AND e.id <> e.property_id
  AND (json_type(e.facts, '$.rule_sets') IS NOT NULL OR json_type(e.facts, '$.kind') IS NOT NULL
      OR json_type(e.facts, '$.worked_by') IS NOT NULL)
  AND i.property_id = e.property_id AND i.applied_on >= min(e.since, coalesce(c.since, e.since))
  AND i.received_at <= e.entered_at AND i.incomplete = 0
UNION
SELECT i.seq FROM corrections AS c CROSS JOIN applications AS i WHERE i.id = c.application_id AND i.incomplete = 0
UNION
-- What a version asked that is followed by another is in its text alone, so where one was followed all records of before are asked. The
-- code of a place begins with that of the place around it.
SELECT i.seq FROM rule_set_uses AS u
JOIN dated_entries AS e ON e.property_id IS NOT NULL AND EXISTS (
    SELECT 1 FROM json_each(e.facts, '$.rule_sets') AS r
    WHERE r.value = u.code OR r.value LIKE u.code || '-%' OR u.code = 'company')
CROSS JOIN applications AS i INDEXED BY applications_by_property
WHERE u.how IN ('confirmed', 'unreadable', 'unfit', 'upgraded') AND i.property_id = e.property_id AND i.received_at <= u.since
  AND i.incomplete = 0;
