-- Shifts of a site by the wall clock, and its crews in turn. Without a row the board leaves both out.
CREATE TABLE shift_plan (
  site       text PRIMARY KEY COLLATE "C",
  content    jsonb NOT NULL,                     -- timezone, shifts, rota as they were sent
  entered_at timestamptz NOT NULL,
  entered_by text NOT NULL
);
