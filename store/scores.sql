-- name: stale_lives
-- Lives in presses since the first forecast on record whose end, or a count that it rests on, is
-- not as it was when they were scored. One that still runs is looked at once a week. Those that
-- ended come first.
WITH life AS (
  SELECT f.chain, bool_or(f.pull_id IS NULL) AS is_in,
    md5(string_agg(concat_ws(',', f.id, f.pull_id, f.reason, f.pulled_at, f.fit_strokes,
                             f.pull_strokes), ';' ORDER BY f.ordinal)) AS facts
  FROM fit f
  GROUP BY f.chain
  HAVING bool_or(f.pull_id IS NULL)
      OR max(f.pulled_at) > (SELECT min(as_of) FROM forecast WHERE as_of IS NOT NULL)
), looked AS (
  SELECT f.chain, md5(string_agg(concat_ws(',', i.id, i.at, i.press_strokes, i.is_good,
                                           i.verdict, i.share), ';' ORDER BY i.entry)) AS facts
  FROM standing_inspection i JOIN fit f ON f.id = i.fit_id
  GROUP BY f.chain
), marked AS (
  SELECT l.chain, l.is_in, concat_ws(' ', l.facts, k.facts,
    CASE WHEN l.is_in THEN to_char(%(now)s::timestamptz, 'IYYY-IW') END) AS mark
  FROM life l LEFT JOIN looked k USING (chain)
)
SELECT m.chain, m.mark FROM marked m
LEFT JOIN life_scored s USING (chain)
WHERE s.mark IS DISTINCT FROM m.mark
ORDER BY m.is_in, m.chain
LIMIT %(limit)s;

-- name: forecasts_of_lives
-- The first of each week of its press for each life: chosen by the calendar, never by what came.
-- One made after the tool was out counts for nothing: its paper came late.
SELECT DISTINCT ON (f.chain, date_trunc('week', o.as_of AT TIME ZONE p.timezone))
  o.id, p.id AS press_id, p.name AS press, o.position, o.kind, o.serial, f.chain, f.id AS fit_id,
  o.as_of, o.remaining, o.due_us, o.strokes AS age, d.handbook_life, o.chances
FROM fit f
JOIN forecast o ON o.press_id = f.press_id AND o.position = f.position AND o.serial = f.serial
  AND o.as_of >= f.fitted_at AND (f.pulled_at IS NULL OR o.as_of < f.pulled_at)
JOIN press p ON p.id = f.press_id
LEFT JOIN position_def d ON d.position = o.position
WHERE f.chain = ANY(%(chains)s::uuid[]) AND o.remaining IS NOT NULL
  AND NOT coalesce((o.inputs ->> 'read_past_limit')::boolean, false)
ORDER BY f.chain, date_trunc('week', o.as_of AT TIME ZONE p.timezone), o.as_of, o.id;

-- name: seats
-- The stretches that hold a tool at a time, as the ledger stands now.
SELECT q.ord, f.chain, f.id AS fit_id, p.id AS press_id
FROM unnest(%(presses)s::text[], %(positions)s::text[], %(serials)s::text[],
            %(times)s::timestamptz[]) WITH ORDINALITY AS q (press, position, serial, at, ord)
JOIN press p ON p.name = q.press
JOIN fit f ON f.press_id = p.id AND f.position = q.position AND f.serial = q.serial
  AND f.fitted_at <= q.at AND (f.pulled_at IS NULL OR q.at < f.pulled_at)
ORDER BY q.ord;

-- name: stretches
SELECT f.chain, f.id, f.fitted_at, f.pulled_at, f.reason, f.base, f.fit_strokes,
  coalesce(f.pull_strokes, s.total) AS total
FROM fit f JOIN press_state s USING (press_id)
WHERE f.chain = ANY(%(chains)s::uuid[])
ORDER BY f.chain, f.ordinal;

-- name: looks
SELECT f.chain, i.fit_id, i.at, i.press_strokes, i.is_good, i.share,
  (coalesce(i.verdict = 'worn', false) OR coalesce(i.share >= 1, false)) AS is_worn,
  coalesce(i.uncertainty / abs(nullif(coalesce(i.reading_limit, d.wear_limit), 0)), 0) AS margin
FROM standing_inspection i
JOIN fit f ON f.id = i.fit_id
LEFT JOIN position_def d ON d.position = i.position
WHERE f.chain = ANY(%(chains)s::uuid[]) AND i.press_strokes IS NOT NULL
ORDER BY f.chain, i.at, i.entry;

-- name: clear_lives
DELETE FROM forecast_score WHERE source = 'live' AND chain = ANY(%(chains)s::uuid[]);

-- name: clear_backtest
DELETE FROM forecast_score
WHERE source = 'backtest' AND (%(kind)s::text IS NULL OR kind = %(kind)s)
  AND (%(position)s::text IS NULL OR position = %(position)s);

-- name: add
INSERT INTO forecast_score (source, forecast_id, press_id, position, kind, serial, chain, as_of,
  outcome, left_low, left_high, pit_low, pit_high, date_is_open, date_low, date_high, width_80,
  width_90, crps, crps_rule, chance, came, scored_at)
VALUES (%(source)s, %(forecast_id)s, %(press_id)s, %(position)s, %(kind)s, %(serial)s, %(chain)s,
  %(as_of)s, %(outcome)s, %(left_low)s, %(left_high)s, %(pit_low)s, %(pit_high)s,
  %(date_is_open)s, %(date_low)s, %(date_high)s, %(width_80)s, %(width_90)s, %(crps)s,
  %(crps_rule)s, %(chance)s, %(came)s, %(scored_at)s);

-- name: mark
INSERT INTO life_scored (chain, mark, scored_at)
SELECT m.chain, m.mark, %(now)s
FROM unnest(%(chains)s::uuid[], %(marks)s::text[]) AS m (chain, mark)
ON CONFLICT (chain) DO UPDATE SET mark = excluded.mark, scored_at = excluded.scored_at;

-- name: forget
-- A life that the ledger knows no more, since its first event was put right.
WITH gone AS (
  DELETE FROM life_scored s WHERE NOT EXISTS (SELECT 1 FROM fit f WHERE f.chain = s.chain)
  RETURNING chain)
DELETE FROM forecast_score WHERE source = 'live' AND chain IN (SELECT chain FROM gone);

-- name: page
SELECT s.kind, s.position, s.chain, s.as_of, s.outcome, s.left_low, s.left_high, s.pit_low,
  s.pit_high, s.date_is_open, s.date_low, s.date_high, s.width_80, s.width_90, s.crps,
  s.crps_rule, s.chance, s.came
FROM forecast_score s
WHERE s.source = %(source)s AND (%(kind)s::text IS NULL OR s.kind = %(kind)s)
  AND (%(position)s::text IS NULL OR s.position = %(position)s)
ORDER BY s.as_of, s.id;

-- name: newest
SELECT max(scored_at) AS at FROM forecast_score WHERE source = %(source)s;
