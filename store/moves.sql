-- name: of_press
-- Every figure that rests on one press's count, also in later stretches elsewhere of its tools.
SELECT 'fit' AS subject, a.id::text AS subject_id, a.serial, a.run, a.strokes_before, a.pull_id,
  NULL::bigint AS press_strokes
FROM fit_age a WHERE a.chain IN (SELECT chain FROM fit WHERE press_id = %(press)s)
UNION ALL
SELECT 'event', e.id::text, e.serial, NULL, NULL, NULL, e.press_strokes
FROM tool_event e
WHERE e.press_id = %(press)s AND e.press_strokes IS NOT NULL AND e.corrected_by IS NULL
UNION ALL
SELECT 'inspection', i.id, i.serial, NULL, NULL, NULL, i.press_strokes
FROM inspection i
WHERE i.press_id = %(press)s AND i.press_strokes IS NOT NULL AND i.corrected_by IS NULL;

-- name: of_serials
SELECT 'fit' AS subject, a.id::text AS subject_id, a.serial, a.run, a.strokes_before, a.pull_id,
  a.press_id, a.fit_strokes, NULL::bigint AS press_strokes
FROM fit_age a WHERE a.chain IN (SELECT chain FROM fit WHERE serial = ANY(%(serials)s))
UNION ALL
SELECT 'event', e.id::text, e.serial, NULL, NULL, NULL, NULL, NULL, e.press_strokes
FROM tool_event e
WHERE e.serial = ANY(%(serials)s) AND e.type = 'pull' AND e.press_strokes IS NOT NULL
  AND e.corrected_by IS NULL
UNION ALL
SELECT 'inspection', i.id, i.serial, NULL, NULL, NULL, NULL, NULL, i.press_strokes
FROM inspection i
WHERE i.serial = ANY(%(serials)s) AND i.press_strokes IS NOT NULL AND i.corrected_by IS NULL;

-- name: add
INSERT INTO figure_move (serial, subject, subject_id, figure, was, became, cause, cause_id, reason,
  at, by)
VALUES (%(serial)s, %(subject)s, %(subject_id)s, %(figure)s, %(was)s, %(became)s, %(cause)s,
  %(cause_id)s, %(reason)s, coalesce(%(at)s, now()), %(by)s);

-- name: add_report
-- Reports move a figure many times before they have caught up with it: one line holds them all.
WITH last AS (
  SELECT DISTINCT ON (m.subject_id, m.figure) m.id, m.subject_id, m.figure, m.cause
  FROM figure_move m WHERE m.subject_id = ANY(%(subject_ids)s) AND m.figure = 'press_strokes'
  ORDER BY m.subject_id, m.figure, m.id DESC
), moved AS (
  SELECT * FROM unnest(%(serials)s::text[], %(subjects)s::text[], %(subject_ids)s::text[],
    %(was)s::bigint[], %(became)s::bigint[]) AS n (serial, subject, subject_id, was, became)
), again AS (
  UPDATE figure_move f SET became = moved.became, at = now()
  FROM moved JOIN last USING (subject_id)
  WHERE f.id = last.id AND last.cause = 'report'
  RETURNING f.subject_id
)
INSERT INTO figure_move (serial, subject, subject_id, figure, was, became, cause, reason, at, by)
SELECT serial, subject, subject_id, 'press_strokes', was, became, 'report',
  'reports that came in later', now(), 'reports'
FROM moved WHERE subject_id NOT IN (SELECT subject_id FROM again);

-- name: page
SELECT subject, subject_id, figure, was, became, cause, cause_id, reason, at, by
FROM figure_move WHERE serial = %(serial)s ORDER BY id;
