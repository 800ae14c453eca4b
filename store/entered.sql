-- name: events
-- A pull that a fit implies was entered with that fit.
UPDATE tool_event e SET entered_at = n.at, entered_by = n.by
FROM unnest(%(ids)s::uuid[], %(ats)s::timestamptz[], %(bys)s::text[]) AS n (id, at, by)
WHERE e.id = n.id OR e.implied_by = n.id;

-- name: inspections
UPDATE inspection i SET entered_at = n.at, entered_by = n.by
FROM unnest(%(ids)s::text[], %(ats)s::timestamptz[], %(bys)s::text[]) AS n (id, at, by)
WHERE i.id = n.id;
