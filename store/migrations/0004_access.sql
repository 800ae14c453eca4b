-- Bearer tokens: only their sha256 is here, so that a copy of the database opens nothing.

CREATE TABLE token (
  id         text PRIMARY KEY COLLATE "C",
  name       text NOT NULL,                      -- who, as the ledgers record it
  role       text NOT NULL CHECK (role IN ('viewer', 'crew', 'engineer', 'admin')),
  digest     bytea NOT NULL UNIQUE,              -- sha256 of the secret
  created_at timestamptz NOT NULL,
  created_by text NOT NULL,
  expires_at timestamptz,                        -- null: never
  revoked_at timestamptz                         -- kept, so that a repeated POST revives nothing
);
