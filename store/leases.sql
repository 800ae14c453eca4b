-- name: try_lock
-- A session's lock: it ends with the connection, however its holder died.
SELECT pg_try_advisory_lock(7041996, hashtext(%(name)s)) AS taken;

-- name: unlock
SELECT pg_advisory_unlock(7041996, hashtext(%(name)s));

-- name: record
INSERT INTO lease (name, holder, taken_at, beat_at)
VALUES (%(name)s, %(holder)s, %(now)s, %(now)s)
ON CONFLICT (name) DO UPDATE
SET holder = excluded.holder, taken_at = excluded.taken_at, beat_at = excluded.beat_at;

-- name: beat
UPDATE lease SET beat_at = %(now)s WHERE name = %(name)s AND holder = %(holder)s;

-- name: holder
SELECT name, holder, taken_at, beat_at FROM lease WHERE name = %(name)s;
