-- What a forecast on record was made from, kept once by its digest so that it can be made again;
-- and what the record of a press says of the duty of each life.

-- Lives as a fit took them, some hundred together; a fit whose lives hardly differ from those of
-- the last one shares most of its chunks with it.
CREATE TABLE life_chunk (
  digest text PRIMARY KEY,                         -- of the lives in it
  lives  bytea NOT NULL                            -- canonical JSON, deflated
);
ALTER TABLE life_model ADD COLUMN chunks text[] NOT NULL DEFAULT '{}';

-- The planned stops that a forecast's calendar version stands for.
CREATE TABLE stop_calendar (
  version text PRIMARY KEY,
  stops   jsonb NOT NULL
);

-- Ram ratio K over a life relative to the press's own, as the last fit took it.
CREATE TABLE life_duty (
  life_id        text PRIMARY KEY COLLATE "C",
  mean_roughness double precision
);

-- The newest entry, looked up at every round.
CREATE INDEX tool_event_entry_order ON tool_event (entry);
CREATE INDEX inspection_entry_order ON inspection (entry);
