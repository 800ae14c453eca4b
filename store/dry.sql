-- name: add
INSERT INTO dry_window (id, press_id, starts_at, ends_at, reason, entered_at, entered_by)
SELECT %(id)s, p.id, %(starts_at)s, %(ends_at)s, %(reason)s, %(entered_at)s, %(entered_by)s
FROM press p WHERE p.name = %(press)s
ON CONFLICT (id) DO NOTHING
RETURNING id;

-- name: page
-- Those that reach into a window of time; the window holds `from`, not `to`.
SELECT w.id, p.name AS press, w.press_id, w.starts_at, w.ends_at, w.reason, w.entered_at,
       w.entered_by, w.taken_back_at, w.taken_back_by
FROM dry_window w JOIN press p ON p.id = w.press_id
WHERE (%(id)s::text IS NULL OR w.id = %(id)s)
  AND (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(counting)s::bool IS NULL OR (w.taken_back_at IS NULL) = %(counting)s)
  AND (%(from)s::timestamptz IS NULL OR w.ends_at > %(from)s)
  AND (%(to)s::timestamptz IS NULL OR w.starts_at < %(to)s)
  AND (%(after_at)s::timestamptz IS NULL OR (w.starts_at, w.id) > (%(after_at)s, %(after_id)s::text))
ORDER BY w.starts_at, w.id LIMIT %(limit)s;

-- name: take_back
UPDATE dry_window SET taken_back_at = %(at)s, taken_back_by = %(by)s
WHERE id = %(id)s AND taken_back_at IS NULL RETURNING id;
