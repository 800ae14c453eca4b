-- name: days
-- What presses did by their own days: strokes, mean peak speed, and the ram ratio K. K needs the
-- crank's speed, which the strokes of an hour give only where the press ran right through it; so
-- the rate of a day is the one that nine in ten of its hours don't pass, and K of the day is the
-- median over its hours of mean acceleration over mean speed and that rate. A day with fewer hours
-- of running than asked has none. Sums are in whole micrometres and millimetres a second.
SELECT p.name AS press, d.day,
  d.strokes, d.speed_sum, d.speed_weight,
  CASE WHEN d.hours >= %(least_hours)s THEN d.ratio / (2 * pi() * d.rate) END AS roughness
FROM (
  SELECT h.press_id, date_trunc('day', h.hour, p.timezone) AS day,
    sum(h.strokes)::bigint AS strokes,
    sum(h.speed_sum)::bigint AS speed_sum, sum(h.speed_weight)::bigint AS speed_weight,
    count(*) FILTER (WHERE u.is_full) AS hours,
    percentile_disc(0.9) WITHIN GROUP (ORDER BY h.strokes * 1e6 / h.running_us::float8)
      FILTER (WHERE u.is_full) AS rate,
    percentile_disc(0.5) WITHIN GROUP (
      ORDER BY 1e3 * (h.accel_sum::float8 / h.accel_weight) / (h.speed_sum::float8 / h.speed_weight)
    ) FILTER (WHERE u.is_full) AS ratio
  FROM reading_hour h
  JOIN press p ON p.id = h.press_id
  CROSS JOIN LATERAL (
    SELECT h.running_us >= %(least_us)s AND h.strokes > 0 AND h.speed_sum > 0 AND h.accel_sum > 0
      AS is_full
  ) u
  WHERE p.name = ANY(%(presses)s) AND h.hour >= %(from)s
  GROUP BY h.press_id, p.timezone, 2
) d
JOIN press p ON p.id = d.press_id
ORDER BY p.name, d.day;
