-- name: boots_of
SELECT id, name, first_seq, first_at, first_strokes, first_unwrapped,
       last_seq, last_at, last_strokes, last_unwrapped, latest_at, readings
FROM boot WHERE press_id = %(press)s;

-- name: spans_of
SELECT b.name AS boot, s.start_seq, s.boot_at, s.start_at, s.start_unwrapped, s.total,
       s.latest_before, pb.name AS prev_boot, s.prev_seq, s.prev_at, s.prev_unwrapped,
       s.kinds, s.counted, s.hidden_at_most, s.settled
FROM span s
JOIN boot b ON b.id = s.boot_id
LEFT JOIN boot pb ON pb.id = s.prev_boot_id
WHERE s.press_id = %(press)s
ORDER BY s.boot_at, s.boot_name, s.start_seq;

-- name: settlements_of
-- The newest of each pair. The flag's identity names the pair, so it is looked up by it.
SELECT DISTINCT ON (flag_id) flag_id, counted, strokes
FROM settlement WHERE press_id = %(press)s ORDER BY flag_id, id DESC;

-- name: around
SELECT q.name AS boot, q.seq AS asked, n.side, n.seq, n.at, n.strokes, n.unwrapped,
       n.peak_speed_mps, n.peak_accel_mps2
FROM unnest(%(boots)s::text[], %(seqs)s::bigint[]) AS q (name, seq)
JOIN boot b ON b.press_id = %(press)s AND b.name = q.name
CROSS JOIN LATERAL (
  (SELECT 'before' AS side, r.* FROM reading r
   WHERE r.press_id = %(press)s AND r.boot_id = b.id AND r.seq < q.seq
   ORDER BY r.seq DESC LIMIT 1)
  UNION ALL
  (SELECT 'after' AS side, r.* FROM reading r
   WHERE r.press_id = %(press)s AND r.boot_id = b.id AND r.seq > q.seq
   ORDER BY r.seq LIMIT 1)
) n;

-- name: stretch
-- Of a run in which `at` never goes back: the readings below a time and the one after them.
(SELECT b.name AS boot, r.seq, r.at, r.strokes, r.unwrapped, r.peak_speed_mps, r.peak_accel_mps2
 FROM boot b JOIN reading r ON r.press_id = b.press_id AND r.boot_id = b.id
 WHERE b.press_id = %(press)s AND b.name = %(boot)s
   AND r.seq BETWEEN %(first)s AND %(last)s AND r.at < %(below)s)
UNION ALL
(SELECT b.name, r.seq, r.at, r.strokes, r.unwrapped, r.peak_speed_mps, r.peak_accel_mps2
 FROM boot b JOIN reading r ON r.press_id = b.press_id AND r.boot_id = b.id
 WHERE b.press_id = %(press)s AND b.name = %(boot)s
   AND r.seq BETWEEN %(first)s AND %(last)s AND r.at >= %(below)s
 ORDER BY r.seq LIMIT 1)
ORDER BY seq;

-- name: everything
SELECT b.name AS boot, r.seq, r.at, r.strokes, r.unwrapped, r.peak_speed_mps, r.peak_accel_mps2
FROM reading r JOIN boot b ON b.id = r.boot_id
WHERE r.press_id = %(press)s;
