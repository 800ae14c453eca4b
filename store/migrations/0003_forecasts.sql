-- Fitted life models and forecasts. `forecast` is only ever added to; `forecast_now` holds the
-- newest of each place, so that a page of the fleet reads one row a tool.

CREATE TABLE life_model (
  digest        text PRIMARY KEY,                  -- of the lives and settings it was fitted to
  kind          text NOT NULL COLLATE "C",
  position      text NOT NULL COLLATE "C",
  made_at       timestamptz NOT NULL,
  model_version text NOT NULL,
  content       jsonb NOT NULL                     -- settings, family weights, parameters
);
CREATE INDEX life_model_place ON life_model (kind, position, made_at);

CREATE TABLE life_model_now (
  kind     text NOT NULL COLLATE "C",
  position text NOT NULL COLLATE "C",
  digest   text NOT NULL REFERENCES life_model,
  made_at  timestamptz NOT NULL,
  answer   jsonb NOT NULL,                         -- as GET /life-models gives it, with curves
  PRIMARY KEY (kind, position)
);

CREATE TABLE forecast_now (
  press_id  int NOT NULL REFERENCES press,
  position  text NOT NULL COLLATE "C",
  kind      text NOT NULL COLLATE "C",
  serial    text NOT NULL COLLATE "C",
  made_at   timestamptz NOT NULL,
  as_of     timestamptz,                           -- time of the last report in it
  state     text NOT NULL,
  severity  smallint NOT NULL,                     -- 0 is the worst state
  strokes   double precision,
  remaining double precision[],                    -- strokes left at the model version's levels
  due_us    bigint[],                              -- microseconds since 1970 at the same levels
  due_median_us bigint,
  chances   jsonb NOT NULL,
  rate      jsonb,
  "interval" jsonb,
  basis     jsonb NOT NULL,
  inputs    jsonb NOT NULL,                        -- all that it was made from
  digest    text NOT NULL,                         -- SHA-256 of the canonical inputs
  PRIMARY KEY (press_id, position)
) WITH (fillfactor = 70);

CREATE TABLE forecast (
  LIKE forecast_now,
  id bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  FOREIGN KEY (press_id) REFERENCES press
);
CREATE INDEX forecast_place ON forecast (press_id, position, id);
CREATE INDEX forecast_serial ON forecast (serial, id);

-- Who does a job now. The lease itself is a lock of its holder's session and ends with it; the
-- row tells who that is and when it was last seen at work.
CREATE TABLE lease (
  name     text PRIMARY KEY,
  holder   text NOT NULL,
  taken_at timestamptz NOT NULL,
  beat_at  timestamptz NOT NULL
);
