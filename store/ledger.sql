-- name: by_ids
SELECT e.*, p.name AS press
FROM tool_event e LEFT JOIN press p ON p.id = e.press_id
WHERE e.id = ANY(%(ids)s);

-- name: page
-- Corrected ones included. A pull that a fit implies comes just before that fit.
SELECT e.*, p.name AS press
FROM tool_event e LEFT JOIN press p ON p.id = e.press_id
WHERE (%(serial)s::text IS NULL OR e.serial = %(serial)s)
  AND (%(press)s::text IS NULL OR e.press_id = (SELECT id FROM press WHERE name = %(press)s))
  AND (%(from)s::timestamptz IS NULL OR e.at >= %(from)s)
  AND (%(to)s::timestamptz IS NULL OR e.at < %(to)s)
  AND (%(after_at)s::timestamptz IS NULL
       OR (e.at, e.place, (e.implied_by IS NULL)::int, e.entry)
          > (%(after_at)s, %(after_place)s::bigint, %(after_rank)s::int, %(after_entry)s::bigint))
ORDER BY e.at, e.place, (e.implied_by IS NULL)::int, e.entry
LIMIT %(limit)s;

-- name: presses
SELECT name, id FROM press WHERE name = ANY(%(names)s);

-- name: seats
-- Every place that one of these tools was ever entered as fitted in.
SELECT DISTINCT p.name AS press, e.position
FROM tool_event e JOIN press p ON p.id = e.press_id
WHERE e.serial = ANY(%(serials)s) AND e.type IN ('fit', 'service');

-- name: sitters
SELECT DISTINCT e.serial
FROM unnest(%(presses)s::text[], %(positions)s::text[]) AS s (press, position)
JOIN press p ON p.name = s.press
JOIN tool_event e ON e.press_id = p.id AND e.position = s.position
WHERE e.type IN ('fit', 'service');

-- name: tools
SELECT serial, kind, size_mm FROM tool WHERE serial = ANY(%(serials)s);

-- name: standing
SELECT e.*, p.name AS press
FROM tool_event e LEFT JOIN press p ON p.id = e.press_id
WHERE e.serial = ANY(%(serials)s) AND e.corrected_by IS NULL AND NOT e.void;

-- name: next_entries
SELECT nextval('tool_event_entry') AS entry FROM generate_series(1, %(many)s);

-- name: lock_presses
-- The intake locks these rows before it moves a count, so that no total goes stale under an event.
SELECT press_id FROM press_state WHERE press_id = ANY(%(ids)s) ORDER BY press_id FOR SHARE;

-- name: insert_event
INSERT INTO tool_event (id, entry, place, type, serial, at, press_id, position, reason,
  strokes_before, before_unknown, before_margin, size_mm, back_at, by, replaces, corrects, void, note, given,
  implied_by, press_strokes, entered_at, entered_by)
VALUES (%(id)s, %(entry)s, %(place)s, %(type)s, %(serial)s, %(at)s, %(press_id)s, %(position)s,
  %(reason)s, %(strokes_before)s, %(before_unknown)s, %(before_margin)s, %(size_mm)s, %(back_at)s, %(by)s,
  %(replaces)s, %(corrects)s, %(void)s, %(note)s, %(given)s, %(implied_by)s, %(press_strokes)s,
  %(entered_at)s, %(entered_by)s);

-- name: mark_corrected
UPDATE tool_event SET corrected_by = %(by)s WHERE id = %(id)s;

-- name: move_pull
-- A pull that names no press follows the tool; a late entry may show that it sat elsewhere.
UPDATE tool_event SET press_id = %(press_id)s, position = %(position)s,
  press_strokes = %(press_strokes)s
WHERE id = %(id)s;

-- name: delete_implied
DELETE FROM tool_event WHERE id = ANY(%(ids)s) AND implied_by IS NOT NULL;

-- name: fits
SELECT f.id, f.serial, f.kind, f.press_id, f.position, f.fitted_at, f.ordinal, f.life, f.chain,
  f.base, f.base_margin, f.size_mm, f.pull_id, f.pulled_at, f.reason
FROM fit f WHERE f.serial = ANY(%(serials)s);

-- name: delete_fits
DELETE FROM fit WHERE id = ANY(%(ids)s);

-- name: insert_fit
INSERT INTO fit (id, serial, kind, press_id, position, fitted_at, ordinal, life, chain, base,
  base_margin, size_mm, pull_id, pulled_at, reason, fit_strokes, pull_strokes)
VALUES (%(id)s, %(serial)s, %(kind)s, %(press_id)s, %(position)s, %(fitted_at)s, %(ordinal)s,
  %(life)s, %(chain)s, %(base)s, %(base_margin)s, %(size_mm)s, %(pull_id)s, %(pulled_at)s, %(reason)s,
  (SELECT press_strokes FROM tool_event WHERE id = %(id)s),
  (SELECT press_strokes FROM tool_event WHERE id = %(pull_id)s));

-- name: update_tool
UPDATE tool SET state = %(state)s, press_id = %(press_id)s, position = %(position)s,
  current_mm = %(current_mm)s, life = %(life)s, back_at = %(back_at)s
WHERE serial = %(serial)s;

-- name: stretches
-- A tool's own history, each stretch with the strokes it ran (up to now while it is in).
SELECT a.id, a.serial, a.kind, p.name AS press, a.position, a.fitted_at, a.life, a.chain, a.base,
  a.size_mm, a.pulled_at, a.reason, a.fit_strokes, a.pull_strokes, a.run, a.strokes_before, a.strokes
FROM fit_age a JOIN press p ON p.id = a.press_id
WHERE a.chain IN (SELECT chain FROM fit WHERE serial = %(serial)s) AND a.serial = %(serial)s
ORDER BY a.ordinal;

-- name: fitted
-- Reads stored figures only: press totals, fits, and each tool's own few inspections.
WITH seated AS MATERIALIZED (
  SELECT f.*, s.total, p.name AS press
  FROM fit f
  JOIN press_state s USING (press_id)
  JOIN press p ON p.id = f.press_id
  WHERE f.pull_id IS NULL
    AND (%(presses)s::text[] IS NULL OR p.name = ANY(%(presses)s))
), earlier AS (
  SELECT f.chain, sum(f.pull_strokes - f.fit_strokes)::bigint AS run
  FROM fit f
  WHERE f.chain IN (SELECT chain FROM seated) AND f.pull_id IS NOT NULL
  GROUP BY f.chain
), flagged AS MATERIALIZED (
  SELECT s.press_id, greatest(s.prev_at, s.start_at) AS until, s.hidden_at_most AS hidden
  FROM span s
  WHERE s.flag_id IS NOT NULL AND s.hidden_at_most > 0
    AND (SELECT t.counted FROM settlement t WHERE t.flag_id = s.flag_id ORDER BY t.id DESC LIMIT 1)
      IS DISTINCT FROM s.counted
)
SELECT c.press, c.position, c.kind, c.serial, t.batch, c.fitted_at, c.life, c.size_mm,
  c.fit_strokes AS press_strokes,
  c.total - c.fit_strokes AS strokes_since_fit,
  c.base + coalesce(e.run, 0) AS strokes_before,
  c.base + coalesce(e.run, 0) + c.total - c.fit_strokes AS strokes_since_rework,
  c.base + coalesce(e.run, 0) + g.press_strokes - c.fit_strokes AS last_good_strokes,
  c.base + coalesce(e.run, 0) + r.press_strokes - c.fit_strokes AS reading_strokes,
  r.at AS reading_at, r.quantity AS reading_quantity, r.value AS reading_value,
  r.unit AS reading_unit, r.share AS reading_share, w.past_limit_at,
  v.verdict AS last_verdict, v.at AS verdict_at,
  c.base_margin AS age_margin,
  (SELECT coalesce(sum(h.hidden), 0)::bigint FROM flagged h
   WHERE h.press_id = c.press_id AND h.until > c.fitted_at) AS strokes_hidden,
  (SELECT min(q.words) FROM question q JOIN inspection i ON i.id = q.inspection_id
   WHERE q.serial = c.serial AND q.kind = 'backwards' AND q.closed_at IS NULL
     AND i.fit_id = c.id) AS open_question
FROM seated c
LEFT JOIN earlier e USING (chain)
LEFT JOIN tool t ON t.serial = c.serial
LEFT JOIN LATERAL (
  SELECT i.press_strokes FROM standing_inspection i
  WHERE i.fit_id = c.id AND i.is_good ORDER BY i.at DESC, i.entry DESC LIMIT 1
) g ON true
LEFT JOIN LATERAL (
  SELECT i.press_strokes, i.at, i.quantity, i.value, i.unit, i.share FROM standing_inspection i
  WHERE i.fit_id = c.id AND i.value IS NOT NULL AND NOT i.is_doubtful
    AND NOT (i.of_set AND i.share IS NULL)
  ORDER BY i.at DESC, i.entry DESC LIMIT 1
) r ON true
LEFT JOIN LATERAL (
  -- The last word of each quantity: a good finish does not make up for a bore past its limit.
  SELECT max(l.at) FILTER (WHERE l.share >= 1) AS past_limit_at
  FROM (
    SELECT DISTINCT ON (i.quantity) i.share, i.at FROM standing_inspection i
    WHERE i.fit_id = c.id AND i.share IS NOT NULL ORDER BY i.quantity, i.at DESC, i.entry DESC
  ) l
) w ON true
LEFT JOIN LATERAL (
  SELECT i.verdict, i.at FROM standing_inspection i
  WHERE i.fit_id = c.id AND i.verdict IS NOT NULL ORDER BY i.at DESC, i.entry DESC LIMIT 1
) v ON true
ORDER BY c.press, c.position;

-- name: touched
-- Events and inspections whose total may have moved. Nearly always none: two index look-ups a press.
-- OFFSET 0 keeps them that: joined freely, the planner takes a third of the table to be later.
SELECT 'event' AS what, e.id::text AS id, e.serial, m.press_id, e.at, e.press_strokes
FROM unnest(%(presses)s::int[], %(times)s::timestamptz[]) AS m (press_id, from_at)
CROSS JOIN LATERAL (
  SELECT o.id, o.serial, o.at, o.press_strokes FROM tool_event o
  WHERE o.press_id = m.press_id AND o.at >= m.from_at AND o.press_strokes IS NOT NULL OFFSET 0
) e
UNION ALL
SELECT 'inspection', i.id, i.serial, m.press_id, i.strokes_at, i.press_strokes
FROM unnest(%(presses)s::int[], %(times)s::timestamptz[]) AS m (press_id, from_at)
CROSS JOIN LATERAL (
  SELECT o.id, o.serial, o.strokes_at, o.press_strokes FROM inspection o
  WHERE o.press_id = m.press_id AND o.strokes_at >= m.from_at OFFSET 0
) i;

-- name: set_event_strokes
UPDATE tool_event e SET press_strokes = n.strokes
FROM unnest(%(ids)s::uuid[], %(strokes)s::bigint[]) AS n (id, strokes)
WHERE e.id = n.id;

-- name: set_fit_strokes
-- The fits that rest on those events, as begin or as end.
UPDATE fit f SET
  fit_strokes = (SELECT press_strokes FROM tool_event WHERE id = f.id),
  pull_strokes = (SELECT press_strokes FROM tool_event WHERE id = f.pull_id)
WHERE f.id = ANY(%(ids)s::uuid[]) OR f.pull_id = ANY(%(ids)s::uuid[]);

-- name: set_inspection_strokes
UPDATE inspection i SET press_strokes = n.strokes
FROM unnest(%(ids)s::text[], %(strokes)s::bigint[]) AS n (id, strokes)
WHERE i.id = n.id;
