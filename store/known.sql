-- name: events
-- The whole ledger with when each line was entered, those put right later included. Pulls that a
-- fit implies follow from it.
SELECT e.*, p.name AS press
FROM tool_event e LEFT JOIN press p ON p.id = e.press_id
WHERE e.implied_by IS NULL
ORDER BY e.entry;

-- name: inspections
-- With the share of the limit that was read, as `standing_inspection` has it, and with the two
-- times between which a question about the reading was open.
SELECT i.id, i.entry, i.serial, i.at, i.entered_at, i.corrects, i.void, i.press_strokes,
  i.verdict, l.share, coalesce(i.uncertainty / abs(l.stop), 0) AS margin,
  l.is_own, (i.at AT TIME ZONE p.timezone)::date - date '0001-01-01' + 1 AS session,
  q.kind AS asked, q.raised_at, q.closed_at
FROM inspection i
JOIN press p ON p.id = i.press_id
LEFT JOIN position_def d
  ON d.position = i.position AND d.quantity = i.quantity AND d.unit IS NOT DISTINCT FROM i.unit
CROSS JOIN LATERAL (
  SELECT s.stop, d.position IS NOT NULL AS is_own,
    CASE WHEN NOT i.of_set OR d.position IS NOT NULL
         THEN CASE WHEN abs(i.value) < 1e-9 THEN 0 ELSE i.value END / s.stop END AS share
  FROM (SELECT nullif(coalesce(i.reading_limit, d.wear_limit), 0) AS stop) s
) l
LEFT JOIN LATERAL (
  SELECT * FROM question q
  WHERE q.inspection_id = i.id AND q.kind IN ('implausible', 'backwards')
  ORDER BY q.kind = 'implausible' DESC, q.raised_at LIMIT 1
) q ON true
WHERE i.press_strokes IS NOT NULL
ORDER BY i.at, i.entry;

-- name: imported
SELECT i.id, i.serial, i.kind, i.position, i.press, i.batch, i.entry_strokes, i.entry_low,
  i.strokes, i.strokes_low, i.ended AS "end", i.ended_at, i.mean_speed_mps, i.entered_at,
  i.taken_back_at
FROM imported_life i ORDER BY i.id;

-- name: tools
SELECT serial, kind, size_mm, batch FROM tool;

-- name: presses
SELECT p.name AS press, p.id, p.timezone, p.registered_at, s.latest_at,
  (SELECT min(first_at) FROM boot WHERE press_id = p.id) AS first_at,
  (SELECT max_spm FROM press_rule WHERE press_id = p.id ORDER BY valid_from DESC LIMIT 1) AS max_spm
FROM press p JOIN press_state s ON s.press_id = p.id
ORDER BY p.name;
