-- name: press_ids
SELECT id, name FROM press WHERE name = ANY(%(names)s);

-- name: lock_presses
-- One writer a press: locks are taken in one order, so that two intakes cannot wait in a ring.
-- A statement of its own: what a locking statement joins is as old as its start, so that behind
-- another writer it would bring that writer's press_state with the boot from before.
SELECT press_id FROM press_state WHERE press_id = ANY(%(presses)s) ORDER BY press_id FOR UPDATE;

-- name: states
-- Where the record of presses that are locked stands.
SELECT s.press_id, p.name, p.timezone, s.total, s.latest_at, s.readings, s.missing, s.thinned_to,
       b.id AS boot_id, b.name AS boot, b.first_seq, b.first_at, b.first_strokes,
       b.first_unwrapped, b.last_seq, b.last_at, b.last_strokes, b.last_unwrapped,
       b.latest_at AS boot_latest_at, b.readings AS boot_readings
FROM press_state s
JOIN press p ON p.id = s.press_id
LEFT JOIN boot b ON b.id = s.boot_id
WHERE s.press_id = ANY(%(presses)s)
ORDER BY s.press_id;

-- name: rules_of
SELECT press_id, valid_from, modulus, max_spm FROM press_rule
WHERE press_id = ANY(%(presses)s) ORDER BY press_id, valid_from;

-- name: boots_named
SELECT b.press_id, b.id, b.name
FROM unnest(%(presses)s::int[], %(boots)s::text[]) AS q (press_id, name)
JOIN boot b USING (press_id, name);

-- name: stored_readings
SELECT r.press_id, b.name AS boot, r.seq, r.at, r.strokes, r.unwrapped,
       r.peak_speed_mps, r.peak_accel_mps2
FROM unnest(%(presses)s::int[], %(boots)s::text[], %(seqs)s::bigint[]) AS q (press_id, name, seq)
JOIN boot b USING (press_id, name)
JOIN reading r ON r.press_id = q.press_id AND r.boot_id = b.id AND r.seq = q.seq;

-- name: new_boots
INSERT INTO boot (press_id, name, first_seq, first_at, first_strokes, first_unwrapped,
                  last_seq, last_at, last_strokes, last_unwrapped, latest_at, readings)
SELECT * FROM unnest(%s::int[], %s::text[],
  %s::bigint[], %s::timestamptz[], %s::bigint[], %s::bigint[],
  %s::bigint[], %s::timestamptz[], %s::bigint[], %s::bigint[], %s::timestamptz[], %s::bigint[])
RETURNING press_id, name, id;

-- name: stages
-- Rows that a batch changes come by binary COPY into these and from here into their tables: arrays
-- as parameters cost the client several times as much.
CREATE TEMP TABLE IF NOT EXISTS stage_boot (
  id int, first_seq bigint, first_at timestamptz, first_strokes bigint, first_unwrapped bigint,
  last_seq bigint, last_at timestamptz, last_strokes bigint, last_unwrapped bigint,
  latest_at timestamptz, readings bigint) ON COMMIT DELETE ROWS;
CREATE TEMP TABLE IF NOT EXISTS stage_state (
  press_id int, boot_id int, total bigint, latest_at timestamptz, readings bigint, missing bigint,
  received_at timestamptz, moved int) ON COMMIT DELETE ROWS;
CREATE TEMP TABLE IF NOT EXISTS stage_hour (
  press_id int, start timestamptz, strokes bigint, running_us bigint, readings bigint,
  missing bigint, speed_sum bigint, speed_weight bigint, accel_sum bigint, accel_weight bigint,
  peak_speed_mps float8, peak_accel_mps2 float8, first_at timestamptz, last_at timestamptz)
  ON COMMIT DELETE ROWS;
CREATE TEMP TABLE IF NOT EXISTS stage_day (LIKE stage_hour) ON COMMIT DELETE ROWS;

-- name: stage_boot
COPY stage_boot FROM STDIN (FORMAT binary);

-- name: stage_state
COPY stage_state FROM STDIN (FORMAT binary);

-- name: stage_hour
COPY stage_hour FROM STDIN (FORMAT binary);

-- name: stage_day
COPY stage_day FROM STDIN (FORMAT binary);

-- name: move_boots
WITH n AS (DELETE FROM stage_boot RETURNING *)
UPDATE boot AS b
SET first_seq = n.first_seq, first_at = n.first_at, first_strokes = n.first_strokes,
    first_unwrapped = n.first_unwrapped, last_seq = n.last_seq, last_at = n.last_at,
    last_strokes = n.last_strokes, last_unwrapped = n.last_unwrapped,
    latest_at = n.latest_at, readings = n.readings
FROM n WHERE b.id = n.id;

-- name: copy_readings
-- Straight into the table: under the press's lock each row is known to be new, so a stage and an
-- anti-join would do the same work twice (docs/decisions/0081).
COPY reading (press_id, boot_id, seq, at, strokes, unwrapped, peak_speed_mps, peak_accel_mps2,
              received_at) FROM STDIN (FORMAT binary);

-- name: drop_spans
DELETE FROM span s
USING unnest(%s::int[], %s::int[], %s::bigint[]) AS g (press_id, boot_id, start_seq)
WHERE s.press_id = g.press_id AND s.boot_id = g.boot_id AND s.start_seq = g.start_seq;

-- name: put_span
INSERT INTO span (press_id, boot_id, start_seq, boot_at, boot_name, start_at, start_unwrapped,
                  total, latest_before, prev_boot_id, prev_seq, prev_at, prev_unwrapped, kinds,
                  counted, hidden_at_most, settled, flag_id)
VALUES (%s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s, %s)
ON CONFLICT (press_id, boot_id, start_seq) DO UPDATE
SET boot_at = excluded.boot_at, start_at = excluded.start_at,
    start_unwrapped = excluded.start_unwrapped, total = excluded.total,
    latest_before = excluded.latest_before, prev_boot_id = excluded.prev_boot_id,
    prev_seq = excluded.prev_seq, prev_at = excluded.prev_at,
    prev_unwrapped = excluded.prev_unwrapped, kinds = excluded.kinds,
    counted = excluded.counted, hidden_at_most = excluded.hidden_at_most,
    settled = excluded.settled, flag_id = excluded.flag_id;

-- name: move_states
WITH n AS (DELETE FROM stage_state RETURNING *)
UPDATE press_state AS s
SET boot_id = n.boot_id, total = n.total, latest_at = n.latest_at, readings = n.readings,
    missing = n.missing, received_at = greatest(s.received_at, n.received_at),
    changed = s.changed + n.moved
FROM n WHERE s.press_id = n.press_id;

-- name: add_hours
WITH n AS (DELETE FROM stage_hour RETURNING *)
INSERT INTO reading_hour AS h (press_id, hour, strokes, running_us, readings, missing, speed_sum,
  speed_weight, accel_sum, accel_weight, peak_speed_mps, peak_accel_mps2, first_at, last_at)
SELECT * FROM n
ON CONFLICT (press_id, hour) DO UPDATE
SET strokes = h.strokes + excluded.strokes, running_us = h.running_us + excluded.running_us,
    readings = h.readings + excluded.readings, missing = h.missing + excluded.missing,
    speed_sum = h.speed_sum + excluded.speed_sum,
    speed_weight = h.speed_weight + excluded.speed_weight,
    accel_sum = h.accel_sum + excluded.accel_sum,
    accel_weight = h.accel_weight + excluded.accel_weight,
    peak_speed_mps = greatest(h.peak_speed_mps, excluded.peak_speed_mps),
    peak_accel_mps2 = greatest(h.peak_accel_mps2, excluded.peak_accel_mps2),
    first_at = least(h.first_at, excluded.first_at),
    last_at = greatest(h.last_at, excluded.last_at);

-- name: add_days
WITH n AS (DELETE FROM stage_day RETURNING *)
INSERT INTO reading_day AS h (press_id, day, strokes, running_us, readings, missing, speed_sum,
  speed_weight, accel_sum, accel_weight, peak_speed_mps, peak_accel_mps2, first_at, last_at)
SELECT * FROM n
ON CONFLICT (press_id, day) DO UPDATE
SET strokes = h.strokes + excluded.strokes, running_us = h.running_us + excluded.running_us,
    readings = h.readings + excluded.readings, missing = h.missing + excluded.missing,
    speed_sum = h.speed_sum + excluded.speed_sum,
    speed_weight = h.speed_weight + excluded.speed_weight,
    accel_sum = h.accel_sum + excluded.accel_sum,
    accel_weight = h.accel_weight + excluded.accel_weight,
    peak_speed_mps = greatest(h.peak_speed_mps, excluded.peak_speed_mps),
    peak_accel_mps2 = greatest(h.peak_accel_mps2, excluded.peak_accel_mps2),
    first_at = least(h.first_at, excluded.first_at),
    last_at = greatest(h.last_at, excluded.last_at);

-- name: clear_days
DELETE FROM reading_day WHERE press_id = %(press)s;

-- name: put_status
-- The last one received stands, whatever its `at`.
INSERT INTO press_status (press, status, status_at, received_at)
SELECT * FROM unnest(%s::text[], %s::text[], %s::timestamptz[], %s::timestamptz[])
ON CONFLICT (press) DO UPDATE
SET status = excluded.status, status_at = excluded.status_at, received_at = excluded.received_at;

-- name: quarantine_put
-- Once however often the same bytes come.
INSERT INTO quarantine AS q (digest, received_at, last_received_at, topic, payload, reason, field,
                             detail, press, retry_at)
VALUES (%(digest)s, %(received_at)s, %(received_at)s, %(topic)s, %(payload)s, %(reason)s,
        %(field)s, %(detail)s, %(press)s, %(retry_at)s)
ON CONFLICT (digest) DO UPDATE
SET times = q.times + 1, last_received_at = greatest(q.last_received_at, excluded.received_at),
    reason = excluded.reason, field = excluded.field, detail = excluded.detail,
    retry_at = excluded.retry_at,
    -- What was put right once and comes back wrong is waiting again; what was dropped stays so.
    state = CASE q.state WHEN 'replayed' THEN 'waiting' ELSE q.state END
RETURNING id;

-- name: waiting_now
SELECT q.id, q.topic, q.payload, q.received_at FROM quarantine q
WHERE q.state = 'waiting'
  AND (q.retry_at <= %(now)s
       OR (q.reason = 'unknown-press' AND EXISTS (SELECT 1 FROM press p WHERE p.name = q.press)))
ORDER BY q.id LIMIT %(limit)s
FOR UPDATE OF q SKIP LOCKED;

-- name: replayed
UPDATE quarantine SET state = 'replayed', retry_at = NULL WHERE id = %(id)s;

-- name: not_arrived
UPDATE quarantine SET times = times - 1 WHERE id = %(id)s;
