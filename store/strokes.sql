-- name: totals_at
-- Rule 8: between the first reading in counting order whose `at` is later and the one before it.
-- The span that holds it is the last one before which no reading is later; a few index look-ups
-- for each question, at any length of record.
SELECT q.ord, st.total AS last_total, s.total AS span_total, s.start_seq, s.start_unwrapped,
       s.counted + s.settled AS broke, s.prev_at, n.seq, n.at, n.unwrapped,
       b.at AS before_at, b.unwrapped AS before_unwrapped
FROM unnest(%(presses)s::int[], %(times)s::timestamptz[]) WITH ORDINALITY AS q (press_id, at, ord)
JOIN press_state st ON st.press_id = q.press_id
LEFT JOIN LATERAL (
  SELECT sp.* FROM span sp
  WHERE sp.press_id = q.press_id AND sp.latest_before <= q.at
  ORDER BY sp.latest_before DESC, sp.boot_at DESC, sp.boot_name DESC, sp.start_seq DESC LIMIT 1
) s ON true
LEFT JOIN LATERAL (
  SELECT r.seq, r.at, r.unwrapped FROM reading r
  WHERE r.press_id = s.press_id AND r.boot_id = s.boot_id AND r.at > q.at
    AND r.seq >= s.start_seq
    AND r.seq < coalesce((SELECT min(o.start_seq) FROM span o
                          WHERE o.press_id = s.press_id AND o.boot_id = s.boot_id
                            AND o.start_seq > s.start_seq), 9223372036854775807)
  ORDER BY r.at, r.seq LIMIT 1
) n ON true
LEFT JOIN LATERAL (
  SELECT r.at, r.unwrapped FROM reading r
  WHERE r.press_id = s.press_id AND r.boot_id = s.boot_id AND r.seq < n.seq
    AND n.seq > s.start_seq
  ORDER BY r.seq DESC LIMIT 1
) b ON true
ORDER BY q.ord;

-- name: spans_touching
-- Spans whose pairs may reach into a window, in counting order, with where each ends.
SELECT s.boot_id, s.start_seq, s.start_at, s.start_unwrapped, s.latest_before, s.prev_at,
       s.prev_boot_id, s.prev_seq, s.kinds, s.counted, s.settled,
       lead(s.start_seq) OVER (PARTITION BY s.boot_id ORDER BY s.start_seq) AS next_seq,
       lead(s.latest_before) OVER (ORDER BY s.boot_at, s.boot_name, s.start_seq) AS latest_after
FROM span s WHERE s.press_id = %(press)s
ORDER BY s.boot_at, s.boot_name, s.start_seq;

-- name: thinned_to
SELECT thinned_to FROM press_state WHERE press_id = %(press)s;

-- name: readings_touching
-- A span's readings inside a window, with the one before and the one after it. Time never goes
-- back inside a span, so both are one step along the index by time.
SELECT r.seq, r.at, r.unwrapped, r.peak_speed_mps, r.peak_accel_mps2 FROM reading r
WHERE r.press_id = %(press)s AND r.boot_id = %(boot)s
  AND r.seq >= coalesce((SELECT o.seq FROM reading o
       WHERE o.press_id = %(press)s AND o.boot_id = %(boot)s AND o.at < %(from)s
         AND o.seq >= %(first)s AND o.seq < %(end)s
       ORDER BY o.at DESC, o.seq DESC LIMIT 1), %(first)s)
  AND r.seq <= coalesce((SELECT o.seq FROM reading o
       WHERE o.press_id = %(press)s AND o.boot_id = %(boot)s AND o.at >= %(to)s
         AND o.seq >= %(first)s AND o.seq < %(end)s
       ORDER BY o.at, o.seq LIMIT 1), %(end)s - 1)
ORDER BY r.seq;

-- name: missing_between
SELECT coalesce(sum(missing), 0)::bigint AS missing FROM reading_hour
WHERE press_id = %(press)s AND hour >= %(from)s AND hour < %(to)s;

-- name: hours_between
SELECT hour AS start, strokes, running_us, readings, missing, speed_sum, speed_weight, accel_sum,
       accel_weight, peak_speed_mps, peak_accel_mps2
FROM reading_hour WHERE press_id = %(press)s AND hour >= %(from)s AND hour < %(to)s ORDER BY hour;

-- name: days_between
SELECT day AS start, strokes, running_us, readings, missing, speed_sum, speed_weight, accel_sum,
       accel_weight, peak_speed_mps, peak_accel_mps2
FROM reading_day WHERE press_id = %(press)s AND day >= %(from)s AND day < %(to)s ORDER BY day;

-- name: days_of_all
SELECT p.name AS press, d.day, d.strokes, d.running_us
FROM reading_day d JOIN press p ON p.id = d.press_id
WHERE d.day >= %(from)s AND (%(presses)s::text[] IS NULL OR p.name = ANY(%(presses)s))
ORDER BY p.name, d.day;

-- name: press_of
SELECT p.id, p.timezone, s.total, s.missing, s.latest_at
FROM press p JOIN press_state s ON s.press_id = p.id WHERE p.name = %(press)s;

-- name: flags_of_press
-- A flag's modulus is that of the rule which its later reading's boot falls under.
SELECT s.flag_id AS id, p.name AS press, s.kinds, s.prev_at AS "from", s.start_at AS "to",
       s.counted, s.hidden_at_most, u.modulus, s.boot_at, s.boot_name, s.start_seq,
       t.strokes, t.reason, t.by, t.at
FROM span s
JOIN press p ON p.id = s.press_id
LEFT JOIN LATERAL (
  SELECT * FROM settlement t WHERE t.flag_id = s.flag_id ORDER BY t.id DESC LIMIT 1
) t ON t.counted = s.counted
JOIN LATERAL (
  SELECT modulus FROM press_rule u WHERE u.press_id = s.press_id
  ORDER BY (u.valid_from <= s.boot_at) DESC,
           CASE WHEN u.valid_from <= s.boot_at THEN u.valid_from END DESC, u.valid_from LIMIT 1
) u ON true
WHERE p.name = %(press)s AND s.flag_id IS NOT NULL
  AND (%(to)s::timestamptz IS NULL OR least(s.prev_at, s.start_at) < %(to)s)
  AND (%(from)s::timestamptz IS NULL OR greatest(s.prev_at, s.start_at) > %(from)s)
ORDER BY s.boot_at, s.boot_name, s.start_seq;

-- name: flags_page
SELECT s.flag_id AS id, p.name AS press, s.kinds, s.prev_at AS "from", s.start_at AS "to",
       s.counted, s.hidden_at_most, u.modulus, t.strokes, t.reason, t.by, t.at
FROM span s
JOIN press p ON p.id = s.press_id
LEFT JOIN LATERAL (
  SELECT * FROM settlement t WHERE t.flag_id = s.flag_id ORDER BY t.id DESC LIMIT 1
) t ON t.counted = s.counted
JOIN LATERAL (
  SELECT modulus FROM press_rule u WHERE u.press_id = s.press_id
  ORDER BY (u.valid_from <= s.boot_at) DESC,
           CASE WHEN u.valid_from <= s.boot_at THEN u.valid_from END DESC, u.valid_from LIMIT 1
) u ON true
WHERE s.flag_id IS NOT NULL
  AND (%(press)s::text IS NULL OR p.name = %(press)s)
  AND (%(open)s::bool IS NULL OR (t.id IS NULL) = %(open)s)
  AND (%(after_at)s::timestamptz IS NULL OR (s.start_at, s.flag_id) > (%(after_at)s, %(after_id)s))
ORDER BY s.start_at, s.flag_id LIMIT %(limit)s;

-- name: flag
SELECT s.flag_id AS id, p.name AS press, s.press_id, s.kinds, s.prev_at AS "from",
       s.start_at AS "to", s.counted, s.hidden_at_most, u.modulus, t.strokes, t.reason, t.by, t.at
FROM span s
JOIN press p ON p.id = s.press_id
LEFT JOIN LATERAL (
  SELECT * FROM settlement t WHERE t.flag_id = s.flag_id ORDER BY t.id DESC LIMIT 1
) t ON t.counted = s.counted
JOIN LATERAL (
  SELECT modulus FROM press_rule u WHERE u.press_id = s.press_id
  ORDER BY (u.valid_from <= s.boot_at) DESC,
           CASE WHEN u.valid_from <= s.boot_at THEN u.valid_from END DESC, u.valid_from LIMIT 1
) u ON true
WHERE s.flag_id = %(id)s;

-- name: add_settlement
INSERT INTO settlement (flag_id, press_id, counted, strokes, reason, by, at)
VALUES (%(id)s, %(press)s, %(counted)s, %(strokes)s, %(reason)s, %(by)s, %(at)s);
