-- Tools, what was done to them, what follows from it, and what the plant says about positions.
-- `tool_event` and `inspection` are the record; `fit` and the last columns of `tool` follow from
-- it and are written anew, in the same transaction, whenever the record says something else.

CREATE TABLE position_def (
  position          text PRIMARY KEY COLLATE "C",
  kind              text NOT NULL COLLATE "C",
  sort_order        int NOT NULL,                  -- from cup to dome
  handbook_life     double precision,              -- strokes; null: none
  handbook_spread   double precision NOT NULL,     -- standard deviation of log life
  handbook_own      boolean NOT NULL DEFAULT false, -- the plant's own figure, not our default
  quantity          text,                          -- what its wear is read as, e.g. bore
  unit              text,
  wear_limit        double precision,              -- change since fit or rework; the sign is its direction
  size_mm           double precision,
  size_tolerance_mm double precision,
  interval_strokes  bigint,
  interval_days     double precision
);
INSERT INTO position_def (position, kind, sort_order, handbook_life, handbook_spread) VALUES
  ('punch',         'punch',          10,  60e6, 0.48),
  ('redraw-die',    'redraw-die',     20,  80e6, 0.48),
  ('redraw-sleeve', 'redraw-sleeve',  30,  40e6, 0.48),
  ('ring-1',        'ironing-ring',   40,  60e6, 0.48),
  ('ring-2',        'ironing-ring',   50,  50e6, 0.48),
  ('ring-3',        'ironing-ring',   60,  35e6, 0.48),
  ('stripper',      'stripper',       70,  20e6, 0.48),
  ('dome-die',      'dome-die',       80, 130e6, 0.48),
  ('press',         'press',         900,  NULL, 0.48);

-- The size of a position in one line or press, where it differs from the plant's.
CREATE TABLE position_size (
  position          text NOT NULL REFERENCES position_def,
  scope             text NOT NULL COLLATE "C",     -- site, site/line or site/line/press
  size_mm           double precision,
  size_tolerance_mm double precision,
  PRIMARY KEY (position, scope)
);

CREATE TABLE tool (
  serial        text PRIMARY KEY COLLATE "C",
  kind          text NOT NULL COLLATE "C",
  batch         text,
  size_mm       double precision,                  -- as registered
  note          text,
  registered_at timestamptz NOT NULL,
  registered_by text NOT NULL,
  -- follows from its events:
  state         text NOT NULL DEFAULT 'new',       -- new, shelf, fitted, bench, out, scrapped
  press_id      int REFERENCES press,
  position      text REFERENCES position_def,
  current_mm    double precision,                  -- size now
  life          int NOT NULL DEFAULT 0,            -- reworks so far
  back_at       timestamptz                        -- promised return while out
);
CREATE INDEX tool_kind ON tool (kind, serial);
CREATE INDEX tool_press ON tool (press_id) WHERE press_id IS NOT NULL;

CREATE SEQUENCE tool_event_entry;
CREATE TABLE tool_event (
  id             uuid PRIMARY KEY,
  entry          bigint NOT NULL,                  -- order of entry
  place          bigint NOT NULL,                  -- rank at equal `at`: the entry it corrects, else its own
  type           text NOT NULL,
  serial         text NOT NULL COLLATE "C",        -- a press's own: its name
  at             timestamptz NOT NULL,
  press_id       int REFERENCES press,             -- resolved: a pull takes it from where the tool sat
  position       text REFERENCES position_def,
  reason         text,
  strokes_before bigint,
  before_unknown boolean NOT NULL DEFAULT false,   -- the sender said that nobody knows
  size_mm        double precision,
  back_at        timestamptz,
  by             text,
  replaces       boolean NOT NULL DEFAULT false,
  corrects       uuid REFERENCES tool_event,
  void           boolean NOT NULL DEFAULT false,
  note           text,
  given          jsonb,                            -- as sent: the same id must come with the same
  implied_by     uuid REFERENCES tool_event,       -- the fit with `replaces` that pulled this tool
  corrected_by   uuid REFERENCES tool_event,       -- what stands instead; null: it stands
  press_strokes  bigint,                           -- the press's total at `at`: fit, pull, service
  entered_at     timestamptz NOT NULL,
  entered_by     text NOT NULL
);
CREATE INDEX tool_event_list ON tool_event (at, place, id);
CREATE INDEX tool_event_serial ON tool_event (serial, at);
CREATE INDEX tool_event_press ON tool_event (press_id, at);
CREATE INDEX tool_event_seat ON tool_event (press_id, position, serial) WHERE type IN ('fit', 'service');
CREATE INDEX tool_event_implied ON tool_event (implied_by) WHERE implied_by IS NOT NULL;

-- Each stretch of a tool in one position of one press; a service opens one of the press itself.
-- A tool's strokes since rework are `base` plus the runs of its chain; base null: nobody knows.
CREATE TABLE fit (
  id          uuid PRIMARY KEY REFERENCES tool_event, -- the event that began it
  serial      text NOT NULL COLLATE "C",
  kind        text NOT NULL COLLATE "C",
  press_id    int NOT NULL REFERENCES press,
  position    text NOT NULL COLLATE "C" REFERENCES position_def,
  fitted_at   timestamptz NOT NULL,
  ordinal     int NOT NULL,                        -- of the tool, from 0
  life        int NOT NULL,                        -- reworks (services) before it
  chain       uuid NOT NULL,                       -- the stretch at whose start `base` was the age
  base        bigint,
  size_mm     double precision,
  pull_id     uuid REFERENCES tool_event,          -- the event that ended it
  pulled_at   timestamptz,
  reason      text,
  fit_strokes  bigint NOT NULL,                    -- the press's totals, as in tool_event
  pull_strokes bigint,
  UNIQUE (serial, ordinal)
);
-- Two tools cannot sit in one place, nor one tool in two.
CREATE UNIQUE INDEX fit_seat ON fit (press_id, position) WHERE pull_id IS NULL;
CREATE UNIQUE INDEX fit_serial ON fit (serial) WHERE pull_id IS NULL;
CREATE INDEX fit_place ON fit (press_id, position, fitted_at);
CREATE INDEX fit_kind ON fit (kind, position);
CREATE INDEX fit_chain ON fit (chain);
CREATE INDEX fit_pull ON fit (pull_id) WHERE pull_id IS NOT NULL;

CREATE TABLE inspection (
  id            text PRIMARY KEY COLLATE "C",
  entry         bigint GENERATED ALWAYS AS IDENTITY,
  serial        text NOT NULL COLLATE "C",
  at            timestamptz NOT NULL,
  verdict       text,                              -- good, worn
  quantity      text,
  value         double precision,
  unit          text,
  reading_limit double precision,
  by            text,
  note          text,
  corrects      text REFERENCES inspection,
  void          boolean NOT NULL DEFAULT false,
  corrected_by  text REFERENCES inspection,
  entered_at    timestamptz NOT NULL,
  entered_by    text NOT NULL,
  -- follows from the ledger: the stretch it tells of, and the press's total then (at its end, when
  -- the tool was read on the bench)
  fit_id        uuid REFERENCES fit ON DELETE SET NULL,
  press_id      int REFERENCES press,
  position      text,
  strokes_at    timestamptz,
  press_strokes bigint
);
CREATE INDEX inspection_list ON inspection (at, entry);
CREATE INDEX inspection_serial ON inspection (serial, at);
CREATE INDEX inspection_press ON inspection (press_id, strokes_at);
CREATE INDEX inspection_fit ON inspection (fit_id, at);

-- Inspections that stand, with the share of the limit that a reading has used up. `good` is the
-- verdict, or where there is none a reading short of its limit.
CREATE VIEW standing_inspection AS
SELECT i.*, r.share, coalesce(i.verdict = 'good', r.share < 1, false) AS is_good
FROM inspection i
LEFT JOIN position_def d
  ON d.position = i.position AND d.quantity = i.quantity AND d.unit IS NOT DISTINCT FROM i.unit
CROSS JOIN LATERAL (
  SELECT CASE WHEN abs(i.value) < 1e-9 THEN 0 ELSE i.value END
         / nullif(coalesce(i.reading_limit, d.wear_limit), 0) AS share
) r
WHERE i.corrected_by IS NULL AND NOT i.void;

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

-- Past lives typed in. One taken back stays on record.
CREATE TABLE imported_life (
  id             text PRIMARY KEY COLLATE "C",
  serial         text NOT NULL,
  kind           text NOT NULL COLLATE "C",
  position       text NOT NULL COLLATE "C",
  press          text,
  batch          text,
  entry_strokes  double precision NOT NULL,
  entry_low      double precision,
  strokes        double precision NOT NULL,
  strokes_low    double precision,
  ended          text NOT NULL,                    -- reason or running
  ended_at       timestamptz,
  mean_speed_mps double precision,
  given          jsonb NOT NULL,
  entered_at     timestamptz NOT NULL,
  entered_by     text NOT NULL,
  taken_back_at  timestamptz,
  taken_back_by  text
);
CREATE INDEX imported_life_kind ON imported_life (kind, position) WHERE taken_back_at IS NULL;

CREATE TABLE stop (
  id          text PRIMARY KEY COLLATE "C",
  scope       text NOT NULL COLLATE "C",           -- site, site/line or site/line/press
  starts_at   timestamptz NOT NULL,
  ends_at     timestamptz NOT NULL CHECK (ends_at > starts_at),
  max_changes int,
  entered_at  timestamptz NOT NULL,
  entered_by  text NOT NULL
);
CREATE INDEX stop_time ON stop (ends_at, starts_at, id);
