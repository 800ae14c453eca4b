-- Presses, their readings, and what counting keeps beside them.
-- A reading row is never rewritten: totals live in `span`, one row for each unbroken run.

CREATE TABLE press (
  id              int GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  name            text NOT NULL UNIQUE COLLATE "C",   -- site/line/press
  timezone        text NOT NULL DEFAULT 'UTC',
  crank_radius_mm double precision,
  rod_length_mm   double precision,
  registered_at   timestamptz NOT NULL DEFAULT now()
);

-- modulus and max_spm hold for the boots that begin at or after `valid_from`.
CREATE TABLE press_rule (
  press_id   int NOT NULL REFERENCES press,
  valid_from timestamptz NOT NULL,
  modulus    bigint NOT NULL,
  max_spm    int NOT NULL,
  PRIMARY KEY (press_id, valid_from)
);

CREATE TABLE boot (
  id             int GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  press_id       int NOT NULL REFERENCES press,
  name           text NOT NULL COLLATE "C",
  first_seq      bigint NOT NULL,
  first_at       timestamptz NOT NULL,
  first_strokes  bigint NOT NULL,
  first_unwrapped bigint NOT NULL,
  last_seq       bigint NOT NULL,
  last_at        timestamptz NOT NULL,
  last_strokes   bigint NOT NULL,
  last_unwrapped bigint NOT NULL,
  latest_at      timestamptz NOT NULL,
  readings       bigint NOT NULL,
  UNIQUE (press_id, name)
) WITH (fillfactor = 60);    -- its last reading moves with every batch

-- One row a press, locked by whoever writes its record: one writer a press at a time.
CREATE TABLE press_state (
  press_id     int PRIMARY KEY REFERENCES press,
  boot_id      int REFERENCES boot,              -- the last boot in counting order
  total        bigint NOT NULL DEFAULT 0,
  latest_at    timestamptz,                      -- latest `at` of the whole record
  readings     bigint NOT NULL DEFAULT 0,
  missing      bigint NOT NULL DEFAULT 0,
  last_peak_speed_mps  double precision,
  last_peak_accel_mps2 double precision,
  received_at  timestamptz,                      -- arrival of the last batch with this press
  thinned_to   timestamptz,                      -- `at` of the last raw reading thinned out
  changed      bigint NOT NULL DEFAULT 0         -- grows whenever a stored count was moved
) WITH (fillfactor = 60);

-- The last status received, by the name in its topic: a press may be registered after it spoke.
CREATE TABLE press_status (
  press       text PRIMARY KEY COLLATE "C",
  status      text NOT NULL,
  status_at   timestamptz NOT NULL,
  received_at timestamptz NOT NULL
) WITH (fillfactor = 60);

CREATE TABLE reading (
  press_id  int NOT NULL REFERENCES press,
  boot_id   int NOT NULL REFERENCES boot,
  seq       bigint NOT NULL,
  at        timestamptz NOT NULL,
  strokes   bigint NOT NULL,
  unwrapped bigint NOT NULL,                     -- counter unwrapped against its predecessor
  peak_speed_mps  double precision,
  peak_accel_mps2 double precision,
  received_at timestamptz NOT NULL,
  PRIMARY KEY (press_id, boot_id, seq, at)
);
CREATE INDEX reading_time ON reading (press_id, boot_id, at, seq);

DO $$
BEGIN
  IF EXISTS (SELECT 1 FROM pg_extension WHERE extname = 'timescaledb') THEN
    PERFORM create_hypertable('reading', by_range('at', INTERVAL '7 days'));
  END IF;
END $$;

-- A span is an unbroken run inside a boot. It opens at a break (a boundary between boots, or a
-- flagged or corrected pair), whose judgement stands in the same row.
CREATE TABLE span (
  press_id       int NOT NULL REFERENCES press,
  boot_id        int NOT NULL REFERENCES boot,
  start_seq      bigint NOT NULL,
  boot_at        timestamptz NOT NULL,           -- with boot_name: the boot's place in the order
  boot_name      text NOT NULL COLLATE "C",
  start_at       timestamptz NOT NULL,
  start_unwrapped bigint NOT NULL,
  total          bigint NOT NULL,                -- the press's total at the opening reading
  latest_before  timestamptz NOT NULL,           -- latest `at` before it; year 1 for the first
  prev_boot_id   int REFERENCES boot,            -- the break's earlier reading; null for the first
  prev_seq       bigint,
  prev_at        timestamptz,
  prev_unwrapped bigint,
  kinds          text[] NOT NULL DEFAULT '{}',
  counted        bigint NOT NULL DEFAULT 0,
  hidden_at_most bigint NOT NULL DEFAULT 0,
  settled        bigint NOT NULL DEFAULT 0,      -- strokes added by a settlement that counts now
  flag_id        uuid,                           -- null where there is no flag
  PRIMARY KEY (press_id, boot_id, start_seq)
);
CREATE INDEX span_latest ON span (press_id, latest_before, boot_at, boot_name, start_seq);
CREATE UNIQUE INDEX span_flag ON span (flag_id) WHERE flag_id IS NOT NULL;

-- Every settlement ever made; the newest of a pair counts while its readings are neighbours.
CREATE TABLE settlement (
  id        bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  flag_id   uuid NOT NULL,
  press_id  int NOT NULL REFERENCES press,
  counted   bigint NOT NULL,                     -- what the pair counted when it was settled
  strokes   bigint NOT NULL,
  reason    text NOT NULL,
  by        text NOT NULL,
  at        timestamptz NOT NULL
);
CREATE INDEX settlement_flag ON settlement (flag_id, id);
CREATE INDEX settlement_press ON settlement (press_id);

-- Own rollups, written with the readings and equal to them to the stroke. Sums are integers, so
-- that what a correction takes out is exactly what had been put in. Speed in um/s, acceleration
-- in mm/s2, both weighted by strokes.
CREATE TABLE reading_hour (
  press_id   int NOT NULL REFERENCES press,
  hour       timestamptz NOT NULL,
  strokes    bigint NOT NULL DEFAULT 0,
  running_us bigint NOT NULL DEFAULT 0,
  readings   bigint NOT NULL DEFAULT 0,
  missing    bigint NOT NULL DEFAULT 0,
  speed_sum  bigint NOT NULL DEFAULT 0,
  speed_weight bigint NOT NULL DEFAULT 0,
  accel_sum  bigint NOT NULL DEFAULT 0,
  accel_weight bigint NOT NULL DEFAULT 0,
  peak_speed_mps  double precision,
  peak_accel_mps2 double precision,
  first_at   timestamptz,
  last_at    timestamptz,
  PRIMARY KEY (press_id, hour)
) WITH (fillfactor = 90);
CREATE TABLE reading_day (                       -- `day`: start of the press's own day
  LIKE reading_hour INCLUDING DEFAULTS,
  FOREIGN KEY (press_id) REFERENCES press
);
ALTER TABLE reading_day RENAME COLUMN hour TO day;
ALTER TABLE reading_day ADD PRIMARY KEY (press_id, day);

-- What could not be taken in, with its bytes. Nothing is erased.
CREATE TABLE quarantine (
  id          bigint GENERATED ALWAYS AS IDENTITY PRIMARY KEY,
  digest      bytea NOT NULL UNIQUE,             -- sha256 of topic and payload: once however often
  received_at timestamptz NOT NULL,
  last_received_at timestamptz NOT NULL,
  times       bigint NOT NULL DEFAULT 1,
  topic       text NOT NULL,
  payload     bytea NOT NULL,
  reason      text NOT NULL,
  field       text,
  detail      text NOT NULL,
  press       text,                              -- site/line/press where the topic tells it
  state       text NOT NULL DEFAULT 'waiting',   -- waiting, replayed, dropped
  retry_at    timestamptz                        -- when it is tried again on its own
);
CREATE INDEX quarantine_list ON quarantine (state, reason, id);
CREATE INDEX quarantine_press ON quarantine (press, reason) WHERE state = 'waiting';
CREATE INDEX quarantine_retry ON quarantine (retry_at) WHERE state = 'waiting';
