-- name: all
SELECT d.*,
  coalesce(
    (SELECT jsonb_agg(jsonb_build_object('scope', z.scope, 'size_mm', z.size_mm,
                                         'size_tolerance_mm', z.size_tolerance_mm)
                      ORDER BY z.scope)
     FROM position_size z WHERE z.position = d.position), '[]') AS sizes
FROM position_def d
ORDER BY d.sort_order, d.position;

-- name: put
INSERT INTO position_def (position, kind, sort_order, handbook_life, handbook_spread, handbook_own,
  quantity, unit, wear_limit, size_mm, size_tolerance_mm, interval_strokes, interval_days)
VALUES (%(position)s, %(kind)s, %(sort_order)s, %(handbook_life)s, %(handbook_spread)s,
  %(handbook_own)s, %(quantity)s, %(unit)s, %(wear_limit)s, %(size_mm)s, %(size_tolerance_mm)s,
  %(interval_strokes)s, %(interval_days)s)
ON CONFLICT (position) DO UPDATE SET kind = excluded.kind, sort_order = excluded.sort_order,
  handbook_life = excluded.handbook_life, handbook_spread = excluded.handbook_spread,
  handbook_own = excluded.handbook_own, quantity = excluded.quantity, unit = excluded.unit,
  wear_limit = excluded.wear_limit, size_mm = excluded.size_mm,
  size_tolerance_mm = excluded.size_tolerance_mm, interval_strokes = excluded.interval_strokes,
  interval_days = excluded.interval_days;

-- name: put_size
INSERT INTO position_size (position, scope, size_mm, size_tolerance_mm)
VALUES (%(position)s, %(scope)s, %(size_mm)s, %(size_tolerance_mm)s)
ON CONFLICT (position, scope) DO UPDATE
SET size_mm = excluded.size_mm, size_tolerance_mm = excluded.size_tolerance_mm;

-- name: first_fit
-- A position that a tool was ever fitted at keeps its kind: its lives are lives of that kind.
SELECT serial, fitted_at FROM fit WHERE position = %(position)s ORDER BY fitted_at LIMIT 1;
