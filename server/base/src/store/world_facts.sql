-- One row a fact: what it is, its id, and its content. $1 sections, $2 properties, $3 products, $4 clearances,
-- applications, corrections and phones, $5 lots, $6 visits, $8 people, $9 equipment, all JSON arrays of ids; $7 now. A section's whole
-- ledger is loaded:
-- some laws ask for the first application ever, and a section sees half a dozen a year.
-- CROSS JOIN keeps the order as written: from the few that are wanted to the many that are stored. Left to itself the
-- planner cannot know how few that is, and reads whole tables.
WITH
    named_applications AS (
        SELECT value AS id FROM json_each($4)
        UNION
        SELECT c.application_id FROM json_each($4) AS w CROSS JOIN corrections AS c WHERE c.id = w.value
    ),
    wanted_sections AS (
        SELECT value AS id FROM json_each($1)
        UNION
        SELECT l.section_id FROM named_applications AS n CROSS JOIN application_lines AS l WHERE l.application_id = n.id
    ),
    wanted_properties AS (
        SELECT value AS id FROM json_each($2)
        UNION
        SELECT a.property_id FROM named_applications AS n CROSS JOIN applications AS a WHERE a.id = n.id
    ),
    wanted_products AS (
        SELECT value AS id FROM json_each($3)
        UNION
        SELECT a.product_id FROM named_applications AS n CROSS JOIN applications AS a WHERE a.id = n.id
    ),
    wanted_people AS (
        SELECT value AS id FROM json_each($8)
        UNION
        SELECT a.person_id FROM named_applications AS n CROSS JOIN applications AS a WHERE a.id = n.id
        UNION
        SELECT a.content ->> 'supervisor_id' FROM named_applications AS n CROSS JOIN applications AS a WHERE a.id = n.id
    ),
    earlier_products AS (
        SELECT a.product_id AS id FROM wanted_sections AS w CROSS JOIN application_lines AS l CROSS JOIN applications AS a
        WHERE l.section_id = w.id AND a.id = l.application_id
        UNION
        SELECT c.product_id FROM wanted_sections AS w CROSS JOIN clearance_lines AS h CROSS JOIN clearances AS c
        WHERE h.section_id = w.id AND h.expires_at > $7 AND c.id = h.clearance_id
    )
SELECT 'property', p.id, json_object(
    'clients', (SELECT json_group_array(json_array(wc.client_id, json((SELECT json_group_array(
            json_array(e.seq, nullif(e.since, '0001-01-01'), e.corrects, json(e.facts))) FROM dated_entries AS e WHERE e.client_id = wc.client_id))))
        FROM (SELECT DISTINCT client_id FROM ownerships WHERE property_id = p.id) AS wc),
    'lawns', (SELECT json_group_array(json_array(s.id, json((SELECT json_group_array(json_array(m.measured_on, m.place, m.area))
            FROM counted_measurements AS m WHERE m.section_id = s.id)))) FROM sections AS s WHERE s.property_id = p.id),
    'history', (SELECT json_group_array(json_array(e.seq, nullif(e.since, '0001-01-01'), e.corrects, json(e.facts)))
        FROM dated_entries AS e WHERE e.property_id = p.id),
    'visited_by', (SELECT json_group_array(v.person_id) FROM assignments AS v WHERE v.property_id = p.id))
FROM wanted_properties AS w CROSS JOIN properties AS p WHERE p.id = w.id
UNION ALL
SELECT 'section', s.id, json_object(
    'property_id', s.property_id,
    'history', (SELECT json_group_array(json_array(e.seq, nullif(e.since, '0001-01-01'), e.corrects, json(e.facts)))
        FROM dated_entries AS e WHERE e.section_id = s.id),
    'measurements', (SELECT json_group_array(json_array(m.measured_on, m.place, m.area, m.id,
            (SELECT x.method FROM measurements AS x WHERE x.id = m.id))) FROM counted_measurements AS m WHERE m.section_id = s.id),
    'soil_reports', (SELECT json_group_array(json_object('id', r.id, 'sampled_on', r.sampled_on, 'place', r.place, 'laboratory', r.laboratory,
            'phosphorus', r.phosphorus, 'phosphate_recommended', r.phosphate_recommended))
        FROM placed_soil_reports AS r WHERE r.section_id = s.id AND r.not_of_this_lawn = 0
            AND NOT EXISTS (SELECT 1 FROM soil_reports AS t WHERE t.corrects = r.id)),
    'divisions', (SELECT json_group_array(json_array(d.seq, d.since, json(d.parts))) FROM divisions AS d WHERE d.section_id = s.id),
    'lines', (SELECT json_group_array(json_array(l.application_id, l.applied_on, l.area, l.product, l.nitrogen,
            l.quick_nitrogen, l.phosphate, l.potash, l.flags, l.purpose, l.division, l.parts, a.product_id))
        FROM application_lines AS l CROSS JOIN applications AS a WHERE l.section_id = s.id AND a.id = l.application_id),
    'held', (SELECT json_group_array(json_array(h.clearance_id, h.planned_on, h.area, h.product, h.nitrogen,
            h.quick_nitrogen, h.phosphate, h.potash, h.flags, h.purpose, h.division, h.parts, c.product_id))
        FROM clearance_lines AS h CROSS JOIN clearances AS c
        WHERE h.section_id = s.id AND h.expires_at > $7 AND c.id = h.clearance_id
          AND NOT EXISTS (SELECT 1 FROM clearance_ends AS e WHERE e.clearance_id = h.clearance_id)))
FROM wanted_sections AS w CROSS JOIN sections AS s WHERE s.id = w.id
UNION ALL
SELECT 'product', p.id, json_object(
    'name', p.name,
    'label', json(p.label),
    'net_weight', p.net_weight,
    'status', p.status,
    'label_files', (SELECT json_group_array(json_array(f.created_at, f.id, f.dated, f.sha256))
        FROM product_files AS f WHERE f.product_id = p.id AND f.kind = 'label'),
    'balance', coalesce((SELECT t.mass FROM stock_totals AS t WHERE t.product_id = p.id), 0))
FROM wanted_products AS w CROSS JOIN products AS p WHERE p.id = w.id
UNION ALL
SELECT 'earlier_product', p.id, p.label FROM earlier_products AS w CROSS JOIN products AS p WHERE p.id = w.id
UNION ALL
SELECT 'lot', l.id, json_object('product_id', l.product_id, 'lot_number', l.lot_number) FROM json_each($5) AS w CROSS JOIN lots AS l WHERE l.id = w.value
UNION ALL
SELECT 'visit', v.id, json_object('property_id', v.property_id, 'product_id', v.product_id, 'planned_on', v.planned_on,
    'person_id', v.person_id, 'status', v.status, 'section_ids', (SELECT json_group_array(s.section_id) FROM visit_sections AS s WHERE s.visit_id = v.id))
FROM json_each($6) AS w CROSS JOIN visits AS v WHERE v.id = w.value
UNION ALL
SELECT 'clearance', c.id, c.body FROM json_each($4) AS w CROSS JOIN clearance_rows AS c WHERE c.id = w.value
UNION ALL
SELECT 'application', a.id, a.body FROM named_applications AS n CROSS JOIN application_rows AS a WHERE a.id = n.id
UNION ALL
SELECT 'correction', c.id, json_object('row', json(c.body),
    'texts', (SELECT json(t.body) FROM personal_texts AS t WHERE t.record_id = c.id))
FROM json_each($4) AS w CROSS JOIN correction_rows AS c WHERE c.id = w.value
UNION ALL
SELECT 'person', p.id, json_object(
    'name', p.name,
    'credentials', (SELECT json_group_array(json_object('name', c.name, 'number', c.number, 'issued_by', c.issued_by, 'rule_set', c.rule_set, 'code', c.code,
            'valid_from', c.valid_from, 'valid_until', c.valid_until))
        FROM credentials AS c WHERE c.person_id = p.id))
FROM wanted_people AS w CROSS JOIN people AS p WHERE p.id = w.id
UNION ALL
SELECT 'equipment', e.id, json_object('name', e.name, 'kind', e.kind, 'has_deflector', e.has_deflector, 'active', e.active,
    'limit_days', e.limit_days, 'calibrations', (SELECT json_group_array(json_array(c.calibrated_on, c.seq, c.id, c.product_id, c.person_id, c.setting,
            c.result ->> 'product_lb_per_1000_sqft'))
        FROM wanted_products AS wp CROSS JOIN wanted_people AS wb CROSS JOIN calibrations AS c
        WHERE c.equipment_id = e.id AND c.product_id = wp.id AND c.person_id = wb.id AND c.finds = 'rate'))
FROM json_each($9) AS w CROSS JOIN equipment AS e WHERE e.id = w.value
UNION ALL
SELECT 'addition', x.id, '' FROM json_each($4) AS w CROSS JOIN record_additions AS x WHERE x.id = w.value
UNION ALL
SELECT 'kept_since', x.application_id, json_array(x.seen ->> 'kept_from_water_ft', x.seen ->> 'kept_from_drains_ft')
FROM named_applications AS n CROSS JOIN record_additions AS x WHERE x.application_id = n.id
    AND coalesce(x.seen ->> 'kept_from_water_ft', x.seen ->> 'kept_from_drains_ft') IS NOT NULL
UNION ALL
SELECT 'device', d.id, d.name FROM json_each($4) AS w CROSS JOIN devices AS d WHERE d.id = w.value
UNION ALL
SELECT 'attempt', t.subject_id, json_array(t.fingerprint, (SELECT p.salt FROM personal_texts AS p WHERE p.record_id = t.id))
FROM json_each($4) AS w CROSS JOIN attempts AS t WHERE t.subject_id = w.value
UNION ALL
SELECT 'rule_set_text', r.hash, r.code FROM rule_set_texts AS r
UNION ALL
SELECT 'head', CAST(j.seq AS TEXT), j.hash FROM journal AS j WHERE j.seq = (SELECT max(seq) FROM journal)
