-- name: totals
-- A press counts as silent when nothing of it came in for ten minutes.
SELECT
  count(*) AS presses,
  coalesce(sum(s.readings), 0)::bigint AS reports,
  coalesce(sum(s.missing), 0)::bigint AS missing,
  count(*) FILTER (
    WHERE s.received_at IS NULL OR s.received_at < %(at)s::timestamptz - interval '10 minutes'
  ) AS silent,
  extract(epoch FROM %(at)s::timestamptz - max(s.received_at))::float8 AS last_report_age_s,
  extract(epoch FROM percentile_disc(0.5) WITHIN GROUP (ORDER BY s.received_at - s.latest_at)
    FILTER (WHERE s.received_at >= %(at)s::timestamptz - interval '10 minutes')
  )::float8 AS delay_s
FROM press p LEFT JOIN press_state s ON s.press_id = p.id;

-- name: quarantine
SELECT reason, sum(times)::bigint AS times, count(*) FILTER (WHERE state = 'waiting') AS waiting
FROM quarantine GROUP BY reason ORDER BY reason;

-- name: flags
-- A settlement counts while the pair still counts what it counted when it was settled.
SELECT count(*) AS flags_open
FROM span s
LEFT JOIN LATERAL (
  SELECT t.id, t.counted FROM settlement t WHERE t.flag_id = s.flag_id ORDER BY t.id DESC LIMIT 1
) t ON t.counted = s.counted
WHERE s.flag_id IS NOT NULL AND t.id IS NULL;

-- name: forecasts
SELECT
  count(*) AS forecasts,
  extract(epoch FROM %(at)s::timestamptz - min(f.made_at))::float8 AS forecast_age_s,
  extract(epoch FROM max(greatest(s.latest_at - f.as_of, interval '0')))::float8 AS forecast_lag_s
FROM forecast_now f JOIN press_state s ON s.press_id = f.press_id;
