-- name: zones
SELECT name, timezone FROM press;

-- name: zones_of_tools
SELECT t.serial, p.timezone FROM tool t JOIN press p ON p.id = t.press_id;

-- name: known_events
SELECT id::text AS id FROM tool_event WHERE id::text = ANY(%(ids)s);

-- name: known_inspections
SELECT id FROM inspection WHERE id = ANY(%(ids)s);

-- name: known_lives
SELECT id FROM imported_life WHERE id = ANY(%(ids)s) AND taken_back_at IS NULL;

-- name: serials
SELECT serial FROM tool;
