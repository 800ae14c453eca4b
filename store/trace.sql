-- name: press
SELECT id, timezone FROM press WHERE name = %(press)s;

-- name: stretches
-- Stretches of tools in the press that reach into the window, with the entry that began each. The
-- press's own record, from service to service, is no tool.
SELECT f.id::text AS id, f.serial, f.kind, f.position, f.fitted_at, f.pulled_at, f.reason, f.life,
  f.size_mm, f.chain, f.fit_strokes, t.batch, e.entered_at, e.entered_by, e.by,
  e.corrects IS NOT NULL AS corrected
FROM fit f
JOIN tool_event e ON e.id = f.id
LEFT JOIN tool t ON t.serial = f.serial
WHERE f.press_id = %(press_id)s AND f.position <> 'press' AND f.fitted_at <= %(to)s
  AND (f.pulled_at IS NULL OR f.pulled_at >= %(from)s)
ORDER BY f.fitted_at, f.ordinal;

-- name: places
-- Positions that ever held a tool in this press, from cup to dome.
SELECT d.position, d.kind FROM position_def d
WHERE d.position <> 'press' AND EXISTS (
  SELECT 1 FROM fit f WHERE f.press_id = %(press_id)s AND f.position = d.position
)
ORDER BY d.sort_order, d.position;

-- name: ages
SELECT a.id::text AS id, a.strokes_before FROM fit_age a WHERE a.chain = ANY(%(chains)s);

-- name: checks
-- What was looked at in these stretches, in order of time; readings of a set tell of no one tool.
SELECT s.fit_id::text AS stretch, s.id, s.at, s.verdict, s.is_good, s.is_doubtful, s.quantity,
  s.value, s.unit, s.uncertainty, s.share, s.of_set, s.press_strokes
FROM standing_inspection s
WHERE s.fit_id = ANY(%(stretches)s::uuid[])
ORDER BY s.at, s.entry;

-- name: asked
-- Questions that nobody has answered yet, by the stretch that they are about.
SELECT i.fit_id::text AS stretch, q.words
FROM question q JOIN inspection i ON i.id = q.inspection_id
WHERE i.fit_id = ANY(%(stretches)s::uuid[]) AND q.closed_at IS NULL
ORDER BY q.raised_at, q.id;

-- name: reading_before
SELECT r.*, b.name AS boot FROM boot b
JOIN LATERAL (
  SELECT * FROM reading r WHERE r.press_id = b.press_id AND r.boot_id = b.id AND r.at <= %(at)s
  ORDER BY r.at DESC, r.seq DESC LIMIT 1
) r ON true
WHERE b.press_id = %(press_id)s
ORDER BY r.at DESC, r.seq DESC LIMIT 1;

-- name: reading_after
SELECT r.*, b.name AS boot FROM boot b
JOIN LATERAL (
  SELECT * FROM reading r WHERE r.press_id = b.press_id AND r.boot_id = b.id AND r.at > %(at)s
  ORDER BY r.at, r.seq LIMIT 1
) r ON true
WHERE b.press_id = %(press_id)s
ORDER BY r.at, r.seq LIMIT 1;
