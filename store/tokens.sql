-- name: find
-- A token that is taken back or past its time is as good as none.
SELECT id, name, role, created_at, created_by, expires_at, revoked_at
FROM token
WHERE digest = %(digest)s AND revoked_at IS NULL AND (expires_at IS NULL OR expires_at > %(at)s);

-- name: get
SELECT id, name, role, created_at, created_by, expires_at, revoked_at
FROM token WHERE id = %(id)s;

-- name: list
SELECT id, name, role, created_at, created_by, expires_at, revoked_at
FROM token
WHERE revoked_at IS NULL AND (%(after)s::text IS NULL OR id > %(after)s)
ORDER BY id LIMIT %(limit)s;

-- name: add
-- Two senders of one id at once: the second waits here, then sees no row come back.
INSERT INTO token (id, name, role, digest, created_at, created_by, expires_at)
VALUES (%(id)s, %(name)s, %(role)s, %(digest)s, %(at)s, %(by)s, %(expires_at)s)
ON CONFLICT (id) DO NOTHING
RETURNING id, name, role, created_at, created_by, expires_at, revoked_at;

-- name: revoke
UPDATE token SET revoked_at = %(at)s WHERE id = %(id)s AND revoked_at IS NULL RETURNING id;

-- name: ensure
-- A secret that was changed on disk replaces the one before it.
INSERT INTO token (id, name, role, digest, created_at, created_by)
VALUES (%(id)s, %(name)s, %(role)s, %(digest)s, %(at)s, 'start')
ON CONFLICT (id) DO UPDATE SET
  name = excluded.name, role = excluded.role, digest = excluded.digest,
  expires_at = NULL, revoked_at = NULL;
