-- name: hold
-- On the session that writes: whoever can write holds it, and a session that ends gives it up.
SELECT pg_try_advisory_lock(%(key)s) AS held
