-- How far an age stated by hand ("about 20 M") may be off: a margin to either side, carried into
-- the life as an interval.
ALTER TABLE tool_event ADD COLUMN before_margin bigint;
ALTER TABLE fit ADD COLUMN base_margin bigint NOT NULL DEFAULT 0;

DROP VIEW fit_age;
-- Stretches with the strokes since rework at their begin and end (now, while the tool is in).
-- Null where nobody knows the age.
CREATE VIEW fit_age AS
SELECT r.*,
  (r.base + sum(r.run) OVER chained)::bigint AS strokes,
  (r.base + sum(r.run) OVER chained - r.run)::bigint AS strokes_before
FROM (
  SELECT f.*,
    (CASE WHEN f.pull_id IS NULL THEN s.total ELSE f.pull_strokes END) - f.fit_strokes AS run
  FROM fit f JOIN press_state s USING (press_id)
) r
WINDOW chained AS (PARTITION BY r.chain ORDER BY r.ordinal);
