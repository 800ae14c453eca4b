-- name: page
-- Forecasts on record of one tool with how they came out, and those that a backtest made again.
SELECT * FROM (
  SELECT 'live' AS source, f.id, p.name AS press, f.position, f.as_of, f.state, f.strokes,
    f.remaining, f.due_us, s.outcome, s.left_low, s.left_high, s.pit_low, s.pit_high, s.width_80
  FROM forecast f
  JOIN press p ON p.id = f.press_id
  LEFT JOIN forecast_score s ON s.forecast_id = f.id
  WHERE f.serial = %(serial)s AND f.as_of IS NOT NULL
  UNION ALL
  SELECT 'backtest', s.id, p.name, s.position, s.as_of, NULL, NULL, NULL, NULL, s.outcome,
    s.left_low, s.left_high, s.pit_low, s.pit_high, s.width_80
  FROM forecast_score s JOIN press p ON p.id = s.press_id
  WHERE s.serial = %(serial)s AND s.source = 'backtest'
) told
WHERE %(after_at)s::timestamptz IS NULL
  OR (as_of, source, id) > (%(after_at)s, %(after_source)s::text, %(after_id)s::bigint)
ORDER BY as_of, source, id
LIMIT %(limit)s;
