-- name: page
SELECT id, received_at, last_received_at, times, topic, payload, reason, field, detail, press, state
FROM quarantine
WHERE (%(reason)s::text IS NULL OR reason = %(reason)s)
  AND (%(press)s::text IS NULL OR press = %(press)s)
  AND (%(state)s::text IS NULL OR state = %(state)s)
  AND (%(after)s::bigint IS NULL OR id > %(after)s)
ORDER BY id LIMIT %(limit)s;

-- name: get
SELECT id, received_at, last_received_at, times, topic, payload, reason, field, detail, press, state
FROM quarantine WHERE id = %(id)s;

-- name: hold
SELECT id, topic, payload, received_at, state FROM quarantine WHERE id = %(id)s FOR UPDATE;

-- name: drop
UPDATE quarantine SET state = 'dropped', retry_at = NULL WHERE id = %(id)s RETURNING id;
