-- All effects of a batch. Each argument is a JSON array with one element a row.
INSERT INTO decisions (subject, decided_at, body)
SELECT value ->> 'subject', value ->> 'decided_at', value ->> 'body' FROM jsonb_each($1);
INSERT INTO rule_set_texts (hash, code, text)
SELECT value ->> 'hash', value ->> 'code', value ->> 'text' FROM jsonb_each($2);
INSERT INTO clearances (id, property_id, product_id, person_id, device_id, planned_on, verdict, content, fingerprint, granted_at, expires_at)
SELECT value ->> 'id', value ->> 'property_id', value ->> 'product_id', value ->> 'person_id', value ->> 'device_id',
       value ->> 'planned_on', value ->> 'verdict', value ->> 'content', value ->> 'fingerprint', value ->> 'granted_at', value ->> 'expires_at'
FROM jsonb_each($3);
INSERT INTO clearance_lines (clearance_id, section_id, area, product, nitrogen, quick_nitrogen, phosphate, potash, flags, purpose, planned_on, expires_at, division, parts)
SELECT value ->> 'clearance_id', value ->> 'section_id', value ->> 'area', value ->> 'product', value ->> 'nitrogen',
       value ->> 'quick_nitrogen', value ->> 'phosphate', value ->> 'potash', value ->> 'flags', value ->> 'purpose',
       value ->> 'planned_on', value ->> 'expires_at', value ->> 'division', value ->> 'parts'
FROM jsonb_each($4);
INSERT INTO applications (id, property_id, product_id, lot_id, visit_id, clearance_id, person_id, person_name, entered_by, device_id, applied_on, received_at, sent_at, verdict, beyond_the_rules, review_reason, incomplete, particulars, time_zone, pattern, packed, content, fingerprint)
SELECT value ->> 'id', value ->> 'property_id', value ->> 'product_id', value ->> 'lot_id', value ->> 'visit_id', value ->> 'clearance_id',
       value ->> 'person_id', value ->> 'person_name', value ->> 'entered_by', value ->> 'device_id', value ->> 'applied_on', value ->> 'received_at', value ->> 'sent_at',
       value ->> 'verdict', value ->> 'beyond_the_rules', value ->> 'review_reason', value ->> 'incomplete',
       value ->> 'particulars', value ->> 'time_zone', value ->> 'pattern', unhex(value ->> 'packed'), value ->> 'content', value ->> 'fingerprint'
FROM jsonb_each($5);
-- Whoever worked there may read what stands in the book about it.
INSERT INTO assignments (person_id, property_id, since)
SELECT DISTINCT value ->> 'person_id', value ->> 'property_id', value ->> 'received_at' FROM jsonb_each($5) WHERE true
ON CONFLICT (person_id, property_id) DO NOTHING;
INSERT INTO clearance_ends (clearance_id, how, application_id, ended_at)
SELECT value ->> 'clearance_id', value ->> 'how', value ->> 'application_id', value ->> 'ended_at' FROM jsonb_each($6);
INSERT INTO corrections (id, application_id, person_id, device_id, received_at, verdict, beyond_the_rules, leaves_others, sections, content, fingerprint)
SELECT value ->> 'id', value ->> 'application_id', value ->> 'person_id', value ->> 'device_id', value ->> 'received_at',
       value ->> 'verdict', value ->> 'beyond_the_rules', coalesce(value ->> 'leaves_others', 0), value ->> 'sections', value ->> 'content', value ->> 'fingerprint'
FROM jsonb_each($7);
-- By the lines that stand now a corrected record may lack something that it did not.
INSERT INTO asked_again (application_seq)
SELECT a.seq FROM jsonb_each($7) AS c CROSS JOIN applications AS a WHERE a.id = c.value ->> 'application_id' AND a.incomplete = 0
ON CONFLICT (application_seq) DO NOTHING;
INSERT INTO application_lines (record_id, application_id, section_id, applied_on, area, product, nitrogen, quick_nitrogen, phosphate, potash, flags, purpose, division, parts)
SELECT value ->> 'record_id', value ->> 'application_id', value ->> 'section_id', value ->> 'applied_on', value ->> 'area', value ->> 'product',
       value ->> 'nitrogen', value ->> 'quick_nitrogen', value ->> 'phosphate', value ->> 'potash', value ->> 'flags', value ->> 'purpose',
       value ->> 'division', value ->> 'parts'
FROM jsonb_each($8);
INSERT INTO stock_movements (id, product_id, lot_id, kind, mass, moved_on, person_id, record_id, reason, recorded_at)
SELECT value ->> 'id', value ->> 'product_id', value ->> 'lot_id', value ->> 'kind', value ->> 'mass', value ->> 'moved_on',
       value ->> 'person_id', value ->> 'record_id', value ->> 'reason', value ->> 'recorded_at'
FROM jsonb_each($9);
INSERT INTO attempts (id, kind, subject_id, property_id, about_on, person_id, device_id, received_at, content, fingerprint)
SELECT value ->> 'id', value ->> 'kind', value ->> 'subject_id', value ->> 'property_id', value ->> 'about_on', value ->> 'person_id', value ->> 'device_id',
       value ->> 'received_at', value ->> 'content', value ->> 'fingerprint'
FROM jsonb_each($10);
INSERT INTO journal (seq, written_at, person_id, device_id, act, subject_id, payload, previous_hash, hash, pattern, packed)
SELECT value ->> 'seq', value ->> 'written_at', value ->> 'person_id', value ->> 'device_id', value ->> 'act', value ->> 'subject_id',
       value ->> 'payload', value ->> 'previous_hash', value ->> 'hash', value ->> 'pattern', unhex(value ->> 'packed')
FROM jsonb_each($11);
INSERT INTO weather_facts (subject, decided_at, facts)
SELECT value ->> 'subject', value ->> 'decided_at', value ->> 'facts' FROM jsonb_each($12);
-- What was fetched a week ago may have been purged since; the facts it gave stay.
INSERT INTO weather_evidence (subject, fetch)
SELECT e.value ->> 'subject', f.seq FROM jsonb_each($13) AS e JOIN weather_fetches AS f ON f.seq = e.value ->> 'fetch';
INSERT INTO personal_texts (record_id, salt, body)
SELECT value ->> 'record_id', value ->> 'salt', value ->> 'body' FROM jsonb_each($14);
