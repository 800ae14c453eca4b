-- name: thin_press
-- Kept for ever: the ends of boots and of spans, and the first and last reading of each hour in
-- its boot. So hours, totals at the hours' ends and every flag keep their readings.
WITH old AS (
  SELECT r.boot_id, r.seq, r.at,
         row_number() OVER (PARTITION BY r.boot_id, date_trunc('hour', r.at, 'UTC')
                            ORDER BY r.at, r.seq) AS from_first,
         row_number() OVER (PARTITION BY r.boot_id, date_trunc('hour', r.at, 'UTC')
                            ORDER BY r.at DESC, r.seq DESC) AS from_last
  FROM reading r WHERE r.press_id = %(press)s AND r.received_at < %(before)s
), gone AS (
  DELETE FROM reading r USING old o
  WHERE r.press_id = %(press)s AND r.boot_id = o.boot_id AND r.seq = o.seq AND r.at = o.at
    AND o.from_first > 1 AND o.from_last > 1
    AND NOT EXISTS (SELECT 1 FROM boot b WHERE b.id = o.boot_id AND o.seq IN (b.first_seq, b.last_seq))
    AND NOT EXISTS (SELECT 1 FROM span s WHERE s.press_id = %(press)s
                    AND ((s.boot_id = o.boot_id AND s.start_seq = o.seq)
                         OR (s.prev_boot_id = o.boot_id AND s.prev_seq = o.seq)))
  RETURNING r.at
)
SELECT count(*) AS gone, max(at) AS thinned_to FROM gone;

-- name: set_thinned
UPDATE press_state SET thinned_to = greatest(thinned_to, %(thinned_to)s) WHERE press_id = %(press)s;
