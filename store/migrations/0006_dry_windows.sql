-- Stretches in which a press ran without cups. Strokes stay counted; nothing is erased: a window
-- that was wrong is taken back and stays on record.

CREATE TABLE dry_window (
  id            text PRIMARY KEY COLLATE "C",    -- chosen by the sender, or made
  press_id      int NOT NULL REFERENCES press,
  starts_at     timestamptz NOT NULL,
  ends_at       timestamptz NOT NULL CHECK (ends_at > starts_at),
  reason        text NOT NULL,
  entered_at    timestamptz NOT NULL,
  entered_by    text NOT NULL,
  taken_back_at timestamptz,                     -- null while it counts
  taken_back_by text
);
CREATE INDEX dry_window_press ON dry_window (press_id, starts_at, id);
