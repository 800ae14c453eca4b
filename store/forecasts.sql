-- name: press_ids
SELECT name, id FROM press WHERE name = ANY(%(names)s);

-- name: clear_now
-- Places that hold no tool any more lose their forecast; what was said of it stays in `forecast`.
DELETE FROM forecast_now f
USING press p
WHERE p.id = f.press_id AND p.name = ANY(%(presses)s)
  AND NOT EXISTS (
    SELECT 1 FROM unnest(%(kept_presses)s::text[], %(kept_positions)s::text[]) AS k(press, position)
    WHERE k.press = p.name AND k.position = f.position);

-- name: put_now
INSERT INTO forecast_now (press_id, position, kind, serial, made_at, as_of, state, severity,
  strokes, remaining, due_us, due_median_us, chances, rate, "interval", basis, inputs, digest)
VALUES (%(press_id)s, %(position)s, %(kind)s, %(serial)s, %(made_at)s, %(as_of)s, %(state)s,
  %(severity)s, %(strokes)s, %(remaining)s, %(due_us)s, %(due_median_us)s, %(chances)s, %(rate)s,
  %(interval)s, %(basis)s, %(inputs)s, %(digest)s)
ON CONFLICT (press_id, position) DO UPDATE SET
  kind = excluded.kind, serial = excluded.serial, made_at = excluded.made_at,
  as_of = excluded.as_of, state = excluded.state, severity = excluded.severity,
  strokes = excluded.strokes, remaining = excluded.remaining, due_us = excluded.due_us,
  due_median_us = excluded.due_median_us, chances = excluded.chances, rate = excluded.rate,
  "interval" = excluded."interval", basis = excluded.basis, inputs = excluded.inputs,
  digest = excluded.digest;

-- name: append
-- What stands now goes on record where the last word on record is of another tool or state, or
-- older than the given age: each minute's forecast would only repeat the one before.
INSERT INTO forecast (press_id, position, kind, serial, made_at, as_of, state, severity, strokes,
  remaining, due_us, due_median_us, chances, rate, "interval", basis, inputs, digest)
SELECT n.press_id, n.position, n.kind, n.serial, n.made_at, n.as_of, n.state, n.severity, n.strokes,
  n.remaining, n.due_us, n.due_median_us, n.chances, n.rate, n."interval", n.basis, n.inputs,
  n.digest
FROM forecast_now n
JOIN press p ON p.id = n.press_id
LEFT JOIN LATERAL (
  SELECT f.serial, f.state, f.made_at FROM forecast f
  WHERE f.press_id = n.press_id AND f.position = n.position
  ORDER BY f.id DESC LIMIT 1
) last ON true
WHERE p.name = ANY(%(presses)s)
  AND (last.serial IS DISTINCT FROM n.serial OR last.state <> n.state
    OR last.made_at <= n.made_at - %(at_least_every)s::interval)
ORDER BY n.press_id, n.position;

-- name: current
SELECT p.name AS press, f.*
FROM forecast_now f JOIN press p ON p.id = f.press_id
WHERE (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(position)s::text IS NULL OR f.position = %(position)s)
  AND (%(after_press)s::text IS NULL
    OR (p.name, f.position) > (%(after_press)s COLLATE "C", %(after_position)s COLLATE "C"))
ORDER BY p.name, f.position
LIMIT %(limit)s;

-- name: history
SELECT p.name AS press, f.*
FROM forecast f JOIN press p ON p.id = f.press_id
WHERE (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(position)s::text IS NULL OR f.position = %(position)s)
  AND (%(serial)s::text IS NULL OR f.serial = %(serial)s)
  AND f.id > %(after)s
ORDER BY f.id
LIMIT %(limit)s;

-- name: worst
-- A press shows its worst tool; of equal ones the one due first.
SELECT DISTINCT ON (p.name) p.name AS press, f.*
FROM forecast_now f JOIN press p ON p.id = f.press_id
WHERE p.name = ANY(%(presses)s)
ORDER BY p.name, f.severity, f.due_median_us NULLS LAST, f.position;

-- name: next_due
SELECT DISTINCT ON (p.name) p.name AS press, f.*
FROM forecast_now f JOIN press p ON p.id = f.press_id
WHERE p.name = ANY(%(presses)s)
ORDER BY p.name, f.due_median_us NULLS LAST, f.severity, f.position;

-- name: save_model
INSERT INTO life_model (digest, kind, position, made_at, model_version, content, chunks)
VALUES (%(digest)s, %(kind)s, %(position)s, %(made_at)s, %(model_version)s, %(content)s, %(chunks)s)
ON CONFLICT (digest) DO NOTHING;

-- name: save_model_now
INSERT INTO life_model_now (kind, position, digest, made_at, answer)
VALUES (%(kind)s, %(position)s, %(digest)s, %(made_at)s, %(answer)s)
ON CONFLICT (kind, position) DO UPDATE
SET digest = excluded.digest, made_at = excluded.made_at, answer = excluded.answer;

-- name: models
SELECT n.kind, n.position, n.digest, n.made_at, m.model_version, m.content, n.answer, m.chunks
FROM life_model_now n JOIN life_model m USING (digest)
WHERE (%(kind)s::text IS NULL OR n.kind = %(kind)s)
  AND (%(position)s::text IS NULL OR n.position = %(position)s)
ORDER BY n.kind, n.position;

-- name: model_of
SELECT m.kind, m.position, m.digest, m.made_at, m.model_version, m.content, NULL AS answer,
  m.chunks
FROM life_model m
WHERE (%(kind)s::text IS NULL AND m.digest = %(digest)s
  OR m.kind = %(kind)s AND m.position = %(position)s AND starts_with(m.digest, %(digest)s))
ORDER BY m.made_at DESC LIMIT 1;

-- name: known_chunks
SELECT digest FROM life_chunk WHERE digest = ANY(%(digests)s);

-- name: keep_chunk
INSERT INTO life_chunk (digest, lives) VALUES (%(digest)s, %(lives)s) ON CONFLICT DO NOTHING;

-- name: chunks
SELECT lives FROM life_chunk WHERE digest = ANY(%(digests)s) ORDER BY digest;

-- name: keep_calendar
INSERT INTO stop_calendar (version, stops) VALUES (%(version)s, %(stops)s) ON CONFLICT DO NOTHING;

-- name: calendar
SELECT stops FROM stop_calendar WHERE version = %(version)s;

-- name: last_on_record
SELECT f.id FROM forecast f JOIN press p ON p.id = f.press_id
WHERE (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(position)s::text IS NULL OR f.position = %(position)s)
ORDER BY f.id DESC LIMIT %(limit)s;

-- name: of_id
SELECT p.name AS press, f.* FROM forecast f JOIN press p ON p.id = f.press_id WHERE f.id = %(id)s;

-- name: oldest_made
SELECT min(made_at) AS made_at FROM forecast_now;
