-- name: presses
-- From `press_state` and its boots; never from the whole record.
SELECT p.name AS press, p.timezone, p.registered_at, s.latest_at, s.total, s.changed,
  b.first_at, r.max_spm
FROM press p
JOIN press_state s ON s.press_id = p.id
LEFT JOIN LATERAL (SELECT min(first_at) AS first_at FROM boot WHERE press_id = p.id) b ON true
LEFT JOIN LATERAL (
  SELECT max_spm FROM press_rule WHERE press_id = p.id
  ORDER BY (valid_from <= %(now)s) DESC, valid_from DESC LIMIT 1
) r ON true
WHERE %(presses)s::text[] IS NULL OR p.name = ANY(%(presses)s)
ORDER BY p.name;

-- name: changed
SELECT p.name AS press, s.changed FROM press p JOIN press_state s ON s.press_id = p.id;

-- name: ledger_version
-- Grows or changes with every write that a fit or a forecast may rest on, but for counts. Entries
-- are looked up in the tables: a sequence moves before its row can be seen.
SELECT
  (SELECT coalesce(max(entry), 0) FROM tool_event) AS events,
  (SELECT coalesce(max(entry), 0) FROM inspection) AS inspections,
  (SELECT coalesce(array_agg(q.id || ' ' || q.serial ORDER BY q.id), '{}')
   FROM question q WHERE q.closed_at IS NULL) AS open_questions,
  (SELECT count(*) FROM imported_life) AS lives,
  (SELECT count(*) FROM imported_life WHERE taken_back_at IS NOT NULL) AS lives_back,
  (SELECT md5(coalesce(string_agg(d::text, ';' ORDER BY d.position), '')) FROM position_def d)
    AS positions,
  (SELECT md5(coalesce(string_agg(s::text, ';' ORDER BY s.id), '')) FROM stop s) AS stops;
