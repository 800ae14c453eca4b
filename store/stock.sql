-- name: put
INSERT INTO stock (kind, lead_days, on_order, entered_at, entered_by)
VALUES (%(kind)s, %(lead_days)s, %(on_order)s, %(entered_at)s, %(entered_by)s)
ON CONFLICT (kind) DO UPDATE SET lead_days = excluded.lead_days, on_order = excluded.on_order,
  entered_at = excluded.entered_at, entered_by = excluded.entered_by;

-- name: page
-- Every kind that a position takes or something was said of, with what was said.
SELECT k.kind, s.lead_days, coalesce(s.on_order, '[]') AS on_order, s.entered_at, s.entered_by
FROM (
  SELECT kind FROM position_def WHERE position <> 'press' UNION SELECT kind FROM stock
) k LEFT JOIN stock s USING (kind)
WHERE (%(kind)s::text IS NULL OR k.kind = %(kind)s)
  AND (%(after)s::text IS NULL OR k.kind COLLATE "C" > %(after)s::text)
ORDER BY k.kind COLLATE "C"
LIMIT %(limit)s;

-- name: out_since
-- When each tool that is out was sent.
SELECT DISTINCT ON (e.serial) e.serial, e.at
FROM tool_event e JOIN tool t ON t.serial = e.serial AND t.state = 'out'
WHERE e.type = 'send' AND e.corrected_by IS NULL AND NOT e.void
ORDER BY e.serial, e.at DESC, e.place DESC;

-- name: delays
-- Of past reworks with a promise: days from sending to the promise, and by how much it was late.
SELECT t.kind, extract(epoch FROM s.back_at - s.at) / 86400 AS promised_days,
  extract(epoch FROM e.at - s.back_at) / 86400 AS late_days
FROM tool_event e
JOIN tool t ON t.serial = e.serial
JOIN LATERAL (
  SELECT s.at, s.back_at FROM tool_event s
  WHERE s.serial = e.serial AND s.type = 'send' AND s.at <= e.at
    AND s.corrected_by IS NULL AND NOT s.void
  ORDER BY s.at DESC, s.place DESC LIMIT 1
) s ON s.back_at IS NOT NULL
WHERE e.type = 'rework' AND e.corrected_by IS NULL AND NOT e.void
  AND (%(kind)s::text IS NULL OR t.kind = %(kind)s)
ORDER BY t.kind, late_days;

-- name: dues
SELECT f.kind, p.name AS press, f.position, f.serial, f.made_at, f.due_us, f."interval"
FROM forecast_now f JOIN press p ON p.id = f.press_id
WHERE f.position <> 'press' AND (%(kind)s::text IS NULL OR f.kind = %(kind)s)
ORDER BY f.kind, p.name, f.position;
