-- name: readings
-- Readings that stand, each with the limit that holds for it. One in question is told like any other.
SELECT i.id, i.serial, i.at, i.entry, i.fit_id::text AS stretch, i.quantity, i.value, i.unit,
  coalesce(i.reading_limit, d.wear_limit) AS "limit", i.uncertainty,
  i.of_set AND d.position IS NULL AS of_set, i.press_id, i.position, i.entered_at
FROM inspection i
LEFT JOIN position_def d
  ON d.position = i.position AND d.quantity = i.quantity AND d.unit IS NOT DISTINCT FROM i.unit
WHERE i.serial = ANY(%(serials)s) AND i.value IS NOT NULL
  AND i.corrected_by IS NULL AND NOT i.void;

-- name: of_serials
SELECT id, closed_at, closed_by FROM question WHERE serial = ANY(%(serials)s);

-- name: raise
-- One that was closed because the record had been put right is open again when it is asked again.
INSERT INTO question (id, kind, serial, press_id, position, inspection_id, against_id, words, raised_at)
VALUES (%(id)s, %(kind)s, %(serial)s, %(press_id)s, %(position)s, %(inspection_id)s, %(against_id)s,
  %(words)s, %(raised_at)s)
ON CONFLICT (id) DO UPDATE SET words = excluded.words, press_id = excluded.press_id,
  position = excluded.position,
  closed_at = CASE WHEN question.closed_by IS NULL THEN NULL ELSE question.closed_at END,
  reason = CASE WHEN question.closed_by IS NULL THEN NULL ELSE question.reason END;

-- name: settle
UPDATE question SET closed_at = %(at)s, reason = %(reason)s
WHERE id = ANY(%(ids)s) AND closed_at IS NULL;

-- name: page
SELECT q.*, p.name AS press
FROM question q LEFT JOIN press p ON p.id = q.press_id
WHERE (%(id)s::text IS NULL OR q.id = %(id)s)
  AND (%(serial)s::text IS NULL OR q.serial = %(serial)s)
  AND (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(open)s::boolean IS NULL OR (q.closed_at IS NULL) = %(open)s)
  AND (%(after_at)s::timestamptz IS NULL OR (q.raised_at, q.id) > (%(after_at)s, %(after_id)s::text))
ORDER BY q.raised_at, q.id
LIMIT %(limit)s;

-- name: close
UPDATE question SET closed_at = %(at)s, closed_by = %(by)s, reason = %(reason)s
WHERE id = %(id)s AND closed_at IS NULL;

-- name: serials_at
SELECT DISTINCT serial FROM inspection WHERE position = %(position)s AND value IS NOT NULL;
