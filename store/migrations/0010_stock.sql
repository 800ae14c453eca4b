-- What the plant says of spares that it does not hold: how long a new one takes, and what is on
-- order. What is on the shelf or out for rework follows from the tools' events and is not here.

CREATE TABLE stock (
  kind       text PRIMARY KEY COLLATE "C",
  lead_days  double precision,                   -- null: not given
  on_order   jsonb NOT NULL DEFAULT '[]',        -- [{quantity, size_mm, due_at}]
  entered_at timestamptz NOT NULL,
  entered_by text NOT NULL
);
