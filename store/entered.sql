-- name: events
-- A pull that a fit implies was entered with that fit.
UPDATE tool_event e SET entered_at = n.at, entered_by = n.by
FROM unnest(%(ids)s::uuid[], %(ats)s::timestamptz[], %(bys)s::text[]) AS n (id, at, by)
WHERE e.id = n.id OR e.implied_by = n.id;

-- name: questions
-- What a reading asks is asked when it is entered.
UPDATE question q SET raised_at = i.entered_at
FROM inspection i
WHERE i.id = q.inspection_id AND i.id = ANY(%(ids)s::text[]);

-- name: inspections
UPDATE inspection i SET entered_at = n.at, entered_by = n.by
FROM unnest(%(ids)s::text[], %(ats)s::timestamptz[], %(bys)s::text[]) AS n (id, at, by)
WHERE i.id = n.id;
