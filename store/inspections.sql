-- name: insert
INSERT INTO inspection (id, serial, at, verdict, quantity, value, unit, reading_limit, uncertainty,
  of_set, by, note, corrects, void, entered_at, entered_by)
VALUES (%(id)s, %(serial)s, %(at)s, %(verdict)s, %(quantity)s, %(value)s, %(unit)s,
  %(reading_limit)s, %(uncertainty)s, %(of_set)s, %(by)s, %(note)s, %(corrects)s, %(void)s, %(entered_at)s, %(entered_by)s);

-- name: get
SELECT i.*, p.name AS press, s.share
FROM inspection i LEFT JOIN press p ON p.id = i.press_id LEFT JOIN standing_inspection s ON s.id = i.id
WHERE i.id = %(id)s;

-- name: mark_corrected
UPDATE inspection SET corrected_by = %(by)s WHERE id = %(id)s;

-- name: is_serial
SELECT EXISTS (SELECT 1 FROM tool WHERE serial = %(serial)s)
    OR EXISTS (SELECT 1 FROM press WHERE name = %(serial)s) AS known;

-- name: page
SELECT i.*, p.name AS press, s.share
FROM inspection i LEFT JOIN press p ON p.id = i.press_id LEFT JOIN standing_inspection s ON s.id = i.id
WHERE (%(serial)s::text IS NULL OR i.serial = %(serial)s)
  AND (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(from)s::timestamptz IS NULL OR i.at >= %(from)s)
  AND (%(to)s::timestamptz IS NULL OR i.at < %(to)s)
  AND (%(after_at)s::timestamptz IS NULL OR (i.at, i.entry) > (%(after_at)s, %(after_entry)s::bigint))
ORDER BY i.at, i.entry
LIMIT %(limit)s;

-- name: reseat
-- An inspection tells of the stretch that the tool was in then, or had last come out of (read on
-- the bench); after a rework it tells of none. The strokes are those at its time, at most those at
-- the pull.
UPDATE inspection i SET fit_id = n.fit_id, press_id = n.press_id, position = n.position,
  strokes_at = n.strokes_at, press_strokes = NULL
FROM (
  SELECT o.id, f.id AS fit_id, f.press_id, f.position, least(o.at, f.pulled_at) AS strokes_at
  FROM inspection o
  JOIN LATERAL (
    SELECT * FROM fit f WHERE f.serial = o.serial AND f.fitted_at <= o.at
    ORDER BY f.ordinal DESC LIMIT 1
  ) f ON NOT EXISTS (
    SELECT 1 FROM tool_event e
    WHERE e.serial = o.serial AND e.type = 'rework' AND e.corrected_by IS NULL AND NOT e.void
      AND e.at >= f.pulled_at AND e.at <= o.at
  )
  WHERE o.serial = ANY(%(serials)s)
) n
WHERE n.id = i.id
  AND (i.fit_id, i.strokes_at) IS DISTINCT FROM (n.fit_id, n.strokes_at)
RETURNING i.id, i.press_id, i.strokes_at;

-- name: unseat
-- What the record no longer places anywhere.
UPDATE inspection i SET press_id = NULL, position = NULL, strokes_at = NULL, press_strokes = NULL,
  fit_id = NULL
WHERE i.serial = ANY(%(serials)s) AND i.press_id IS NOT NULL
  AND (i.fit_id IS NULL OR NOT EXISTS (
    SELECT 1 FROM fit f WHERE f.id = i.fit_id AND f.fitted_at <= i.at
      AND NOT EXISTS (
        SELECT 1 FROM tool_event e
        WHERE e.serial = i.serial AND e.type = 'rework' AND e.corrected_by IS NULL AND NOT e.void
          AND e.at >= f.pulled_at AND e.at <= i.at)));

-- name: set_strokes
UPDATE inspection i SET press_strokes = n.strokes
FROM unnest(%(ids)s::text[], %(strokes)s::bigint[]) AS n (id, strokes)
WHERE i.id = n.id;

-- name: lock_press
SELECT s.press_id FROM fit f JOIN press_state s USING (press_id)
WHERE f.serial = %(serial)s ORDER BY s.press_id FOR SHARE OF s;
