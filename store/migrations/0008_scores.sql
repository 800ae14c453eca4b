-- How forecasts came out. One row a forecast that counts for the score: of those on record the
-- first of each week of its press for each life, of a backtest all. Written anew when the end of
-- the life, or a count that it rests on, is put right.

CREATE TABLE forecast_score (
  id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  source      text NOT NULL CHECK (source IN ('live', 'backtest')),
  forecast_id bigint UNIQUE REFERENCES forecast,   -- of a forecast on record
  press_id    int NOT NULL REFERENCES press,
  position    text NOT NULL COLLATE "C",
  kind        text NOT NULL COLLATE "C",
  serial      text NOT NULL COLLATE "C",
  chain       uuid NOT NULL,                       -- the tool's life, see `fit`
  as_of       timestamptz NOT NULL,
  outcome     text NOT NULL CHECK (outcome IN ('exact', 'interval', 'censored', 'running')),
  left_low    double precision NOT NULL,           -- strokes left from as_of, as they came out
  left_high   double precision,                    -- NULL: the end was still to come
  pit_low     double precision NOT NULL,
  pit_high    double precision NOT NULL,
  date_is_open boolean NOT NULL,
  date_low    double precision,
  date_high   double precision,
  width_80    double precision NOT NULL,
  width_90    double precision NOT NULL,
  crps        double precision NOT NULL,
  crps_rule   double precision,
  chance      double precision,                    -- of the end before the next stop
  came        boolean,                             -- NULL: the record does not tell
  scored_at   timestamptz NOT NULL
);
CREATE INDEX forecast_score_place ON forecast_score (source, kind, position);
CREATE INDEX forecast_score_chain ON forecast_score (chain) WHERE source = 'live';

-- What the scores of a life's forecasts were last made from.
CREATE TABLE life_scored (
  chain     uuid PRIMARY KEY,
  mark      text NOT NULL,
  scored_at timestamptz NOT NULL
);
