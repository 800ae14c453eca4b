-- name: add
INSERT INTO stop (id, scope, starts_at, ends_at, max_changes, entered_at, entered_by)
VALUES (%(id)s, %(scope)s, %(starts_at)s, %(ends_at)s, %(max_changes)s, %(entered_at)s, %(entered_by)s)
ON CONFLICT (id) DO NOTHING
RETURNING *;

-- name: get
SELECT * FROM stop WHERE id = %(id)s;

-- name: page
-- A stop concerns a scope when either lies within the other; the window holds `from`, not `to`.
SELECT * FROM stop
WHERE (%(scope)s::text IS NULL OR scope = %(scope)s
       OR starts_with(scope, %(scope)s || '/') OR starts_with(%(scope)s, scope || '/'))
  AND (%(from)s::timestamptz IS NULL OR ends_at > %(from)s)
  AND (%(to)s::timestamptz IS NULL OR starts_at < %(to)s)
  AND (%(after_at)s::timestamptz IS NULL OR (starts_at, id) > (%(after_at)s, %(after_id)s::text))
ORDER BY starts_at, id
LIMIT %(limit)s;

-- name: upcoming
-- Not over yet at `now`, of the whole plant: a handful of rows, sorted out by scope in memory.
SELECT * FROM stop WHERE ends_at > %(now)s ORDER BY starts_at, id;

-- name: remove
DELETE FROM stop WHERE id = %(id)s RETURNING id;
