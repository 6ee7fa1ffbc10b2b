-- Records as the server reads them, each shape written once: whoever decides about a record and whoever shows it read the same.
-- A row has the columns of its table by their names, as the structs of `acts/rows.rs` have them; what is known beside it stands
-- beside it.

CREATE VIEW application_rows AS
SELECT a.seq, a.id, a.property_id, a.applied_on, a.beyond_the_rules, p.time_zone,
    json_object('row', json_object('id', a.id, 'property_id', a.property_id, 'product_id', a.product_id, 'lot_id', a.lot_id,
            'visit_id', a.visit_id, 'clearance_id', a.clearance_id, 'person_id', a.person_id, 'person_name', a.person_name,
            'entered_by', a.entered_by, 'device_id', a.device_id, 'applied_on', a.applied_on, 'received_at', a.received_at,
            'sent_at', a.sent_at, 'verdict', a.verdict, 'beyond_the_rules', a.beyond_the_rules, 'review_reason', a.review_reason,
            'content', a.content, 'fingerprint', a.fingerprint),
        'correction_ids', (SELECT json_group_array(its.id)
            FROM (SELECT c.id FROM corrections AS c WHERE c.application_id = a.id ORDER BY c.seq) AS its)) AS body,
    (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
     FROM application_lines AS l WHERE l.application_id = a.id AND l.record_id = a.id) AS lines
FROM applications AS a JOIN properties AS p ON p.id = a.property_id;

CREATE VIEW correction_rows AS
SELECT c.seq, c.id, c.application_id,
    json_object('id', c.id, 'application_id', c.application_id, 'person_id', c.person_id, 'device_id', c.device_id,
        'received_at', c.received_at, 'verdict', c.verdict, 'beyond_the_rules', c.beyond_the_rules, 'content', c.content,
        'fingerprint', c.fingerprint) AS body,
    (SELECT json_group_array(json_array(l.section_id, l.area, l.product, l.nitrogen, l.quick_nitrogen, l.phosphate, l.potash))
     FROM application_lines AS l WHERE l.application_id = c.application_id AND l.record_id = c.id AND l.product > 0) AS lines
FROM corrections AS c;

CREATE VIEW clearance_rows AS
SELECT c.id, c.property_id, c.product_id,
    json_object('row', json_object('id', c.id, 'property_id', c.property_id, 'product_id', c.product_id, 'person_id', c.person_id,
            'device_id', c.device_id, 'planned_on', c.planned_on, 'verdict', c.verdict, 'content', c.content,
            'fingerprint', c.fingerprint, 'granted_at', c.granted_at, 'expires_at', c.expires_at),
        'ended', (SELECT e.how FROM clearance_ends AS e WHERE e.clearance_id = c.id),
        'lines', (SELECT json_group_array(json_array(l.section_id, l.area, l.product))
            FROM clearance_lines AS l WHERE l.clearance_id = c.id)) AS body
FROM clearances AS c;

-- The names of five operations changed, and a request that is sent again is found by the name under which it was answered. What was
-- answered before must still be found, or it would be done twice.
UPDATE idempotency_keys SET route = 'record_stock_movement' WHERE route = 'create_stock_movement';
UPDATE idempotency_keys SET route = 'record_measurement' WHERE route = 'create_measurement';
UPDATE idempotency_keys SET route = 'record_calibration' WHERE route = 'create_calibration';
UPDATE idempotency_keys SET route = 'record_soil_report' WHERE route = 'create_soil_report';
UPDATE idempotency_keys SET route = 'create_round_visits' WHERE route = 'plan_round_visits';
