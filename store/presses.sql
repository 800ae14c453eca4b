-- name: add_press
INSERT INTO press (name, timezone, crank_radius_mm, rod_length_mm)
VALUES (%(name)s, %(timezone)s, %(crank_radius_mm)s, %(rod_length_mm)s)
ON CONFLICT (name) DO NOTHING RETURNING id;

-- name: add_state
INSERT INTO press_state (press_id) VALUES (%(press)s);

-- name: change_press
UPDATE press SET timezone = %(timezone)s, crank_radius_mm = %(crank_radius_mm)s,
                 rod_length_mm = %(rod_length_mm)s
WHERE id = %(press)s;

-- name: settings_of
SELECT id, name, timezone, crank_radius_mm, rod_length_mm FROM press WHERE name = %(name)s;

-- name: drop_rules
DELETE FROM press_rule WHERE press_id = %(press)s;

-- name: put_rule
INSERT INTO press_rule (press_id, valid_from, modulus, max_spm) VALUES (%s, %s, %s, %s);

-- name: misfit
-- A kept reading that a modulus does not hold, of a boot that the change would reach.
SELECT b.name AS boot, r.seq, r.strokes FROM boot b
JOIN reading r ON r.press_id = b.press_id AND r.boot_id = b.id
WHERE b.press_id = %(press)s AND b.first_at >= %(from)s AND r.strokes >= %(modulus)s
ORDER BY r.strokes DESC LIMIT 1;

-- name: page
SELECT p.id, p.name, p.timezone, p.crank_radius_mm, p.rod_length_mm, p.registered_at,
       s.total, s.missing, s.readings, s.latest_at, s.received_at, t.status, t.status_at,
       f.start_at AS first_at,
       u.modulus, u.max_spm,
       b.name AS boot, r.seq, r.at, r.strokes, r.peak_speed_mps, r.peak_accel_mps2
FROM press p
JOIN press_state s ON s.press_id = p.id
JOIN LATERAL (
  SELECT modulus, max_spm FROM press_rule WHERE press_id = p.id ORDER BY valid_from DESC LIMIT 1
) u ON true
LEFT JOIN press_status t ON t.press = p.name
LEFT JOIN boot b ON b.id = s.boot_id
LEFT JOIN LATERAL (
  SELECT start_at FROM span WHERE press_id = p.id
  ORDER BY boot_at, boot_name, start_seq LIMIT 1
) f ON true
LEFT JOIN LATERAL (
  SELECT * FROM reading r
  WHERE r.press_id = p.id AND r.boot_id = b.id AND r.seq = b.last_seq LIMIT 1
) r ON true
WHERE (%(after)s::text IS NULL OR p.name > %(after)s)
  AND (%(name)s::text IS NULL OR p.name = %(name)s)
ORDER BY p.name LIMIT %(limit)s;

-- name: days_from_hours
SELECT hour, strokes, running_us, readings, missing, speed_sum, speed_weight, accel_sum,
       accel_weight, peak_speed_mps, peak_accel_mps2, first_at, last_at
FROM reading_hour WHERE press_id = %(press)s;
