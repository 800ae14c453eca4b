-- name: add
INSERT INTO tool (serial, kind, batch, size_mm, note, current_mm, registered_at, registered_by)
VALUES (%(serial)s, %(kind)s, %(batch)s, %(size_mm)s, %(note)s, %(size_mm)s, %(at)s, %(by)s)
ON CONFLICT (serial) DO NOTHING
RETURNING serial;

-- name: page
-- A tool that is new, or back from rework, waits on the bench while it lacks a size that a position
-- of its kind asks for.
WITH sized AS (
  SELECT d.kind FROM position_def d WHERE d.size_mm IS NOT NULL
  UNION
  SELECT d.kind FROM position_def d JOIN position_size z USING (position) WHERE z.size_mm IS NOT NULL
), shown AS (
  SELECT t.serial, t.kind, t.batch, t.size_mm, t.note, t.registered_at, t.registered_by,
    t.current_mm, t.life, t.back_at, t.position, p.name AS press,
    CASE
      WHEN t.state IN ('new', 'shelf') AND t.current_mm IS NULL
           AND t.kind IN (SELECT kind FROM sized) THEN 'bench'
      WHEN t.state = 'new' THEN 'shelf'
      ELSE t.state
    END AS state
  FROM tool t LEFT JOIN press p ON p.id = t.press_id
)
SELECT * FROM shown
WHERE (%(serials)s::text[] IS NULL OR serial = ANY(%(serials)s))
  AND (%(kind)s::text IS NULL OR kind = %(kind)s)
  AND (%(press)s::text IS NULL OR press = %(press)s)
  AND (%(state)s::text IS NULL OR state = %(state)s)
  AND (%(after)s::text IS NULL OR serial > %(after)s::text)
ORDER BY serial
LIMIT %(limit)s;
