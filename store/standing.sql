-- name: standing
-- Presses whose counter stands still while the ram moves, and since when. Nearly every press counts
-- right now and is left out by the first look; a press that merely stands is told by its hours, in
-- which no speed was seen, so that a long stand costs no look at its readings.
SELECT a.press_id, a.press, h.at AS since
FROM (
  SELECT s.press_id, p.name AS press, s.total
  FROM press_state s
  JOIN press p ON p.id = s.press_id
  JOIN boot b ON b.id = s.boot_id
  LEFT JOIN LATERAL (
    SELECT r.unwrapped FROM reading r
    WHERE r.press_id = s.press_id AND r.boot_id = s.boot_id AND r.seq < b.last_seq
    ORDER BY r.seq DESC LIMIT 1
  ) o ON true
  WHERE (%(presses)s::text[] IS NULL OR p.name = ANY(%(presses)s))
    AND coalesce(o.unwrapped, b.last_unwrapped) = b.last_unwrapped
) a
-- The last span that did not begin with an unchanged counter: the record's total was reached in it.
JOIN LATERAL (
  SELECT sp.* FROM span sp
  WHERE sp.press_id = a.press_id
    AND NOT (sp.prev_at IS NOT NULL AND sp.total = a.total AND sp.counted = 0 AND sp.settled = 0
             AND NOT sp.kinds && '{restart,jump}')
  ORDER BY sp.boot_at DESC, sp.boot_name DESC, sp.start_seq DESC LIMIT 1
) f ON true
LEFT JOIN LATERAL (
  SELECT g.hour FROM reading_hour g
  WHERE g.press_id = a.press_id AND g.strokes > 0 ORDER BY g.hour DESC LIMIT 1
) c ON true
-- The reading that first held the count at which the counter stands.
JOIN LATERAL (
  SELECT r.seq, r.at FROM reading r
  WHERE r.press_id = a.press_id AND r.boot_id = f.boot_id AND r.seq >= f.start_seq
    AND r.at >= coalesce(c.hour, f.start_at)
    AND f.total + r.unwrapped - f.start_unwrapped = a.total
  ORDER BY r.at, r.seq LIMIT 1
) h ON true
-- Reports after it in which the ram moved. OFFSET 0 keeps the planner to hours first: the readings
-- of a long stand are then never read.
JOIN LATERAL (
  SELECT count(*) AS reports, max(m.at) AS last_at FROM (
    SELECT r.at FROM reading_hour g
    CROSS JOIN LATERAL (
      SELECT r.at FROM boot b
      JOIN reading r ON r.press_id = a.press_id AND r.boot_id = b.id
      WHERE b.press_id = a.press_id AND (b.first_at, b.name) >= (f.boot_at, f.boot_name)
        AND r.at >= g.hour AND r.at < g.hour + interval '1 hour'
        AND r.peak_speed_mps > 0 AND (b.id <> f.boot_id OR r.seq > h.seq)
      OFFSET 0
    ) r
    WHERE g.press_id = a.press_id AND g.hour >= date_trunc('hour', h.at, 'UTC')
      AND g.peak_speed_mps > 0
    LIMIT 500
  ) m
) m ON m.reports >= %(reports)s AND m.last_at >= h.at + %(least)s;
