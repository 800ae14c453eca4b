-- name: lives
-- From the ledger: each stretch is a life of its own, seen first at the age it was fitted with (a
-- tool put back in with its strokes is left truncated there, which is the same likelihood as one
-- long life). Stretches of unknown age stay out. `strokes_low` is the age at the last inspection
-- that found it good; a worn end at that very stroke count was seen when it came. An age stated
-- with a margin makes entry and worn end intervals. The mean speed is that of the whole days within.
-- Imported ones: as typed in, but for those taken back.
WITH ledger AS (
  SELECT a.id::text AS id, a.serial, a.kind, a.position, p.name AS press, t.batch,
    (a.strokes_before + least(a.base_margin, a.run))::float8 AS entry_strokes,
    CASE WHEN a.base_margin > 0
         THEN greatest(a.strokes_before - a.base_margin, 0)::float8 END AS entry_low,
    (a.strokes + CASE WHEN a.reason = 'worn' THEN a.base_margin ELSE 0 END)::float8 AS strokes,
    CASE WHEN g.age < a.strokes OR g.age IS NOT NULL AND coalesce(a.reason, 'running') <> 'worn'
         THEN greatest(g.age - a.base_margin, 0)::float8
         WHEN a.base_margin > 0 AND a.reason = 'worn'
         THEN greatest(a.strokes - a.base_margin, 0)::float8
         END AS strokes_low,
    coalesce(a.reason, 'running') AS "end", a.pulled_at AS ended_at,
    CASE WHEN %(speeds)s THEN (
      SELECT (nullif(sum(d.speed_sum), 0) / nullif(sum(d.speed_weight), 0) / 1e6)::float8
      FROM reading_day d
      WHERE d.press_id = a.press_id AND d.day >= a.fitted_at
        AND d.day < coalesce(a.pulled_at, 'infinity')
    ) END AS mean_speed_mps,
    'ledger' AS source
  FROM fit_age a
  JOIN press p ON p.id = a.press_id
  LEFT JOIN tool t ON t.serial = a.serial
  LEFT JOIN LATERAL (
    SELECT least(a.strokes_before + i.press_strokes - a.fit_strokes, a.strokes) AS age
    FROM standing_inspection i
    WHERE i.fit_id = a.id AND i.is_good
      AND (a.pulled_at IS NULL OR i.at < a.pulled_at)
    ORDER BY i.at DESC, i.entry DESC LIMIT 1
  ) g ON true
  WHERE a.strokes IS NOT NULL
    AND (%(kind)s::text IS NULL OR a.kind = %(kind)s)
    AND (%(position)s::text IS NULL OR a.position = %(position)s)
), imported AS (
  SELECT i.id, i.serial, i.kind, i.position, i.press, i.batch, i.entry_strokes, i.entry_low,
    i.strokes, i.strokes_low, i.ended AS "end", i.ended_at, i.mean_speed_mps, 'imported' AS source
  FROM imported_life i
  WHERE i.taken_back_at IS NULL
    AND (%(kind)s::text IS NULL OR i.kind = %(kind)s)
    AND (%(position)s::text IS NULL OR i.position = %(position)s)
)
SELECT * FROM (SELECT * FROM ledger UNION ALL SELECT * FROM imported) l
WHERE %(after)s::text IS NULL OR l.id COLLATE "C" > %(after)s::text
ORDER BY l.id COLLATE "C"
LIMIT %(limit)s;

-- name: ends_near_limit
-- Of the stretches that came to an end, by kind and position: how many were pulled `planned` with a
-- last reading above the given share of its limit.
SELECT f.kind, f.position, count(*) AS ends,
  count(*) FILTER (WHERE f.reason = 'planned' AND r.share > %(share)s) AS planned_near_limit
FROM fit f
LEFT JOIN LATERAL (
  SELECT i.share FROM standing_inspection i
  WHERE i.fit_id = f.id AND i.share IS NOT NULL ORDER BY i.at DESC, i.entry DESC LIMIT 1
) r ON true
WHERE f.pull_id IS NOT NULL
GROUP BY f.kind, f.position;

-- name: unknown_ages
-- Stretches that the life fit leaves out, because nobody knows the tool's age.
SELECT f.kind, f.position, count(*) AS fits FROM fit f WHERE f.base IS NULL
GROUP BY f.kind, f.position;

-- name: import
-- One taken back counts again when it is sent again.
INSERT INTO imported_life (id, serial, kind, position, press, batch, entry_strokes, entry_low,
  strokes, strokes_low, ended, ended_at, mean_speed_mps, given, entered_at, entered_by)
VALUES (%(id)s, %(serial)s, %(kind)s, %(position)s, %(press)s, %(batch)s, %(entry_strokes)s,
  %(entry_low)s, %(strokes)s, %(strokes_low)s, %(end)s, %(ended_at)s, %(mean_speed_mps)s,
  %(given)s, %(entered_at)s, %(entered_by)s)
ON CONFLICT (id) DO UPDATE SET taken_back_at = NULL, taken_back_by = NULL
WHERE imported_life.taken_back_at IS NOT NULL;

-- name: imported
SELECT id, given, taken_back_at FROM imported_life WHERE id = ANY(%(ids)s);

-- name: running_here
-- Tools that sit in a press by the ledger: their running lives are counted from there.
SELECT serial, position FROM fit WHERE pull_id IS NULL AND serial = ANY(%(serials)s);

-- name: take_back
UPDATE imported_life SET taken_back_at = %(at)s, taken_back_by = %(by)s
WHERE id = %(id)s AND taken_back_at IS NULL
RETURNING id;

-- name: is_ledger_life
SELECT EXISTS (SELECT 1 FROM fit WHERE id::text = %(id)s) AS known;
