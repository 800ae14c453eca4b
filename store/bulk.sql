-- name: copy_hours
COPY reading_hour (press_id, hour, strokes, running_us, readings, missing, speed_sum, speed_weight,
  accel_sum, accel_weight, peak_speed_mps, peak_accel_mps2, first_at, last_at)
FROM STDIN (FORMAT binary);

-- name: copy_days
COPY reading_day (press_id, day, strokes, running_us, readings, missing, speed_sum, speed_weight,
  accel_sum, accel_weight, peak_speed_mps, peak_accel_mps2, first_at, last_at)
FROM STDIN (FORMAT binary);
