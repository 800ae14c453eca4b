-- Readings with their gauge's uncertainty, readings of a set, what the record asks back, and every
-- figure that moved after it was first written down.

-- Half-width of the reading's 95 % range, in `unit`; and whether the quantity is that of several
-- tools together, read off the can.
ALTER TABLE inspection ADD COLUMN uncertainty double precision;
ALTER TABLE inspection ADD COLUMN of_set boolean NOT NULL DEFAULT false;

-- What somebody who knows must answer. Never an event: nothing follows from a question. The id
-- follows from what it asks about, so the same record asks the same whatever the order of entry.
CREATE TABLE question (
  id            text PRIMARY KEY COLLATE "C",
  kind          text NOT NULL,                     -- backwards, implausible, set-limit
  serial        text NOT NULL COLLATE "C",
  press_id      int REFERENCES press,
  position      text,
  inspection_id text NOT NULL COLLATE "C" REFERENCES inspection,
  against_id    text COLLATE "C" REFERENCES inspection, -- the reading that it does not fit to
  words         text NOT NULL,
  raised_at     timestamptz NOT NULL,
  closed_at     timestamptz,
  closed_by     text,                              -- null: the record was put right
  reason        text
);
CREATE INDEX question_serial ON question (serial);
CREATE INDEX question_open ON question (inspection_id) WHERE closed_at IS NULL;
CREATE INDEX question_list ON question (raised_at, id);

-- A figure that moved after it was first written down: what it was, what it is, and why. Only ever
-- read by people; nothing is computed from it.
CREATE TABLE figure_move (
  id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  serial      text NOT NULL COLLATE "C",
  subject     text NOT NULL,                       -- fit, event, inspection
  subject_id  text NOT NULL COLLATE "C",
  figure      text NOT NULL,                       -- strokes, strokes_before, press_strokes
  was         bigint,                              -- null: nobody knew
  became      bigint,                              -- null: nobody knows, or it is taken back
  cause       text NOT NULL,                       -- event, correction, settlement, rule, report
  cause_id    text,                                -- the event, or the flag
  reason      text NOT NULL,
  at          timestamptz NOT NULL,
  by          text NOT NULL
);
CREATE INDEX figure_move_serial ON figure_move (serial, id);
CREATE INDEX figure_move_subject ON figure_move (subject_id, figure, id);

DROP VIEW standing_inspection;
-- Inspections that stand, with the share of the limit that a reading has used up. A reading of a
-- set says nothing of one tool, and one that is in question counts for nothing until it is
-- answered. `good` is the verdict, or where there is none a reading short of its limit by more
-- than its uncertainty (ISO 14253-1: nearer than that it proves neither).
CREATE VIEW standing_inspection AS
SELECT i.*, s.is_doubtful, r.share,
  coalesce(i.verdict = 'good', r.share + r.margin < 1, false) AS is_good
FROM inspection i
LEFT JOIN position_def d
  ON d.position = i.position AND d.quantity = i.quantity AND d.unit IS NOT DISTINCT FROM i.unit
CROSS JOIN LATERAL (
  SELECT EXISTS (
    SELECT 1 FROM question q
    WHERE q.inspection_id = i.id AND q.kind = 'implausible' AND q.closed_at IS NULL
  ) AS is_doubtful
) s
CROSS JOIN LATERAL (
  SELECT nullif(coalesce(i.reading_limit, d.wear_limit), 0) AS stop
) l
CROSS JOIN LATERAL (
  SELECT
    CASE WHEN NOT s.is_doubtful AND (NOT i.of_set OR d.position IS NOT NULL)
         THEN CASE WHEN abs(i.value) < 1e-9 THEN 0 ELSE i.value END / l.stop END AS share,
    coalesce(i.uncertainty / abs(l.stop), 0) AS margin
) r
WHERE i.corrected_by IS NULL AND NOT i.void;
