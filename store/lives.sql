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
    'ledger' AS source, a.life AS life_number, u.mean_roughness
  FROM fit_age a
  JOIN press p ON p.id = a.press_id
  LEFT JOIN tool t ON t.serial = a.serial
  LEFT JOIN life_duty u ON u.life_id = a.id::text
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
    AND (%(chains)s::uuid[] IS NULL OR a.chain = ANY(%(chains)s))
), imported AS (
  SELECT i.id, i.serial, i.kind, i.position, i.press, i.batch, i.entry_strokes, i.entry_low,
    i.strokes, i.strokes_low, i.ended AS "end", i.ended_at, i.mean_speed_mps, 'imported' AS source,
    0 AS life_number, NULL::float8 AS mean_roughness
  FROM imported_life i
  WHERE i.taken_back_at IS NULL AND %(chains)s::uuid[] IS NULL
    AND (%(kind)s::text IS NULL OR i.kind = %(kind)s)
    AND (%(position)s::text IS NULL OR i.position = %(position)s)
)
SELECT * FROM (SELECT * FROM ledger UNION ALL SELECT * FROM imported) l
WHERE %(after)s::text IS NULL OR l.id COLLATE "C" > %(after)s::text
ORDER BY l.id COLLATE "C"
LIMIT %(limit)s;

-- name: readings
-- Wear of tools whose age is known, as read while they were in a stretch or on the bench after it:
-- readings that stand and are not in doubt, of the position's own quantity and unit. The standard
-- uncertainty is half of the stated half-width of the 95 %% range. Readings of one day of the press
-- are one session. From where a reading goes backwards and nobody has answered why, the tool may be
-- another one: the reading before it and all later ones of the stretch stay out.
SELECT i.fit_id::text AS stretch, i.share,
  greatest(least(a.strokes_before + i.press_strokes - a.fit_strokes, a.strokes), 0)::float8
    AS strokes,
  nullif(i.uncertainty, 0) / abs(coalesce(i.reading_limit, d.wear_limit)) / 2 AS sd,
  (i.at AT TIME ZONE p.timezone)::date - date '0001-01-01' + 1 AS session
FROM standing_inspection i
JOIN fit_age a ON a.id = i.fit_id
JOIN press p ON p.id = a.press_id
JOIN position_def d
  ON d.position = i.position AND d.quantity = i.quantity AND d.unit IS NOT DISTINCT FROM i.unit
WHERE i.share IS NOT NULL AND a.strokes IS NOT NULL
  AND (%(stretches)s::uuid[] IS NULL
    OR i.fit_id = ANY(%(stretches)s)
      AND a.chain = ANY(ARRAY(SELECT f.chain FROM fit f WHERE f.id = ANY(%(stretches)s))))
  AND NOT EXISTS (
    SELECT 1 FROM question q JOIN inspection b ON b.id = q.against_id
    WHERE q.kind = 'backwards' AND q.closed_at IS NULL AND b.fit_id = i.fit_id
      AND (i.at, i.entry) >= (b.at, b.entry))
ORDER BY i.fit_id, i.at, i.entry;

-- name: chains
-- Chains of counted strokes that tools ever ran in.
SELECT DISTINCT chain FROM fit WHERE serial = ANY(%(serials)s);

-- name: stretches
SELECT f.id::text AS id, p.name AS press, f.fitted_at, f.pulled_at
FROM fit f JOIN press p ON p.id = f.press_id
WHERE %(serials)s::text[] IS NULL OR f.serial = ANY(%(serials)s);

-- name: touched
-- Tools whose lives may have changed since the ledger stood at a mark: those of its new events, of
-- the events these correct, and whoever ever sat where they did (a correction may give a place
-- back); those inspected; those whose press had a stored count moved.
WITH event AS (
  SELECT e.serial, e.corrects FROM tool_event e WHERE e.entry > %(events)s
), named AS (
  SELECT serial FROM event
  UNION SELECT o.serial FROM event JOIN tool_event o ON o.id = event.corrects
), seat AS (
  SELECT DISTINCT e.press_id, e.position FROM named JOIN tool_event e USING (serial)
  WHERE e.type IN ('fit', 'service')
)
SELECT serial FROM named
UNION SELECT e.serial FROM seat JOIN tool_event e USING (press_id, position)
  WHERE e.type IN ('fit', 'service')
UNION SELECT i.serial FROM inspection i WHERE i.entry > %(inspections)s
UNION SELECT o.serial FROM inspection i JOIN inspection o ON o.id = i.corrects
  WHERE i.entry > %(inspections)s
UNION SELECT f.serial FROM fit f JOIN press p ON p.id = f.press_id
  WHERE p.name = ANY(%(presses)s);

-- name: presses_of
-- Presses that these tools were ever entered in.
SELECT DISTINCT p.name AS press FROM tool_event e JOIN press p ON p.id = e.press_id
WHERE e.serial = ANY(%(serials)s);

-- name: put_duty
INSERT INTO life_duty AS u (life_id, mean_roughness)
SELECT * FROM unnest(%(ids)s::text[], %(roughness)s::float8[])
ON CONFLICT (life_id) DO UPDATE SET mean_roughness = excluded.mean_roughness
WHERE u.mean_roughness IS DISTINCT FROM excluded.mean_roughness;

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

-- name: collateral_pulls
SELECT p.name AS press, f.pulled_at AS at
FROM fit_age f JOIN press p ON p.id = f.press_id
WHERE f.reason = 'collateral'
UNION
SELECT i.press, i.ended_at
FROM imported_life i
WHERE i.ended = 'collateral' AND i.taken_back_at IS NULL
  AND i.press IS NOT NULL AND i.ended_at IS NOT NULL
ORDER BY press, at;
