-- name: put
INSERT INTO shift_plan (site, content, entered_at, entered_by)
VALUES (%(site)s, %(content)s, %(entered_at)s, %(entered_by)s)
ON CONFLICT (site) DO UPDATE SET content = excluded.content, entered_at = excluded.entered_at,
  entered_by = excluded.entered_by;

-- name: page
SELECT * FROM shift_plan
WHERE (%(site)s::text IS NULL OR site = %(site)s)
  AND (%(after)s::text IS NULL OR site > %(after)s::text)
ORDER BY site LIMIT %(limit)s;
