-- The whole schema, as all migrations leave it. Made by `python -m tests.support.schema`;
-- a test holds it equal to them. To change the schema, add a migration.

CREATE TABLE public.boot (
    id integer NOT NULL,
    press_id integer NOT NULL,
    name text NOT NULL COLLATE pg_catalog."C",
    first_seq bigint NOT NULL,
    first_at timestamp with time zone NOT NULL,
    first_strokes bigint NOT NULL,
    first_unwrapped bigint NOT NULL,
    last_seq bigint NOT NULL,
    last_at timestamp with time zone NOT NULL,
    last_strokes bigint NOT NULL,
    last_unwrapped bigint NOT NULL,
    latest_at timestamp with time zone NOT NULL,
    readings bigint NOT NULL
)
WITH (fillfactor='60');
ALTER TABLE public.boot ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.boot_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.dry_window (
    id text NOT NULL COLLATE pg_catalog."C",
    press_id integer NOT NULL,
    starts_at timestamp with time zone NOT NULL,
    ends_at timestamp with time zone NOT NULL,
    reason text NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL,
    taken_back_at timestamp with time zone,
    taken_back_by text,
    CONSTRAINT dry_window_check CHECK ((ends_at > starts_at))
);
CREATE TABLE public.figure_move (
    id bigint NOT NULL,
    serial text NOT NULL COLLATE pg_catalog."C",
    subject text NOT NULL,
    subject_id text NOT NULL COLLATE pg_catalog."C",
    figure text NOT NULL,
    was bigint,
    became bigint,
    cause text NOT NULL,
    cause_id text,
    reason text NOT NULL,
    at timestamp with time zone NOT NULL,
    by text NOT NULL
);
ALTER TABLE public.figure_move ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.figure_move_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.fit (
    id uuid NOT NULL,
    serial text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    press_id integer NOT NULL,
    "position" text NOT NULL COLLATE pg_catalog."C",
    fitted_at timestamp with time zone NOT NULL,
    ordinal integer NOT NULL,
    life integer NOT NULL,
    chain uuid NOT NULL,
    base bigint,
    size_mm double precision,
    pull_id uuid,
    pulled_at timestamp with time zone,
    reason text,
    fit_strokes bigint NOT NULL,
    pull_strokes bigint,
    base_margin bigint DEFAULT 0 NOT NULL
);
CREATE TABLE public.press_state (
    press_id integer NOT NULL,
    boot_id integer,
    total bigint DEFAULT 0 NOT NULL,
    latest_at timestamp with time zone,
    readings bigint DEFAULT 0 NOT NULL,
    missing bigint DEFAULT 0 NOT NULL,
    last_peak_speed_mps double precision,
    last_peak_accel_mps2 double precision,
    received_at timestamp with time zone,
    thinned_to timestamp with time zone,
    changed bigint DEFAULT 0 NOT NULL
)
WITH (fillfactor='60');
CREATE VIEW public.fit_age AS
 SELECT id,
    serial,
    kind,
    press_id,
    "position",
    fitted_at,
    ordinal,
    life,
    chain,
    base,
    size_mm,
    pull_id,
    pulled_at,
    reason,
    fit_strokes,
    pull_strokes,
    base_margin,
    run,
    (((base)::numeric + sum(run) OVER chained))::bigint AS strokes,
    ((((base)::numeric + sum(run) OVER chained) - (run)::numeric))::bigint AS strokes_before
   FROM ( SELECT f.id,
            f.serial,
            f.kind,
            f.press_id,
            f."position",
            f.fitted_at,
            f.ordinal,
            f.life,
            f.chain,
            f.base,
            f.size_mm,
            f.pull_id,
            f.pulled_at,
            f.reason,
            f.fit_strokes,
            f.pull_strokes,
            f.base_margin,
            (
                CASE
                    WHEN (f.pull_id IS NULL) THEN s.total
                    ELSE f.pull_strokes
                END - f.fit_strokes) AS run
           FROM (public.fit f
             JOIN public.press_state s USING (press_id))) r
  WINDOW chained AS (PARTITION BY chain ORDER BY ordinal);
CREATE TABLE public.forecast (
    press_id integer NOT NULL,
    "position" text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    serial text NOT NULL COLLATE pg_catalog."C",
    made_at timestamp with time zone NOT NULL,
    as_of timestamp with time zone,
    state text NOT NULL,
    severity smallint NOT NULL,
    strokes double precision,
    remaining double precision[],
    due_us bigint[],
    due_median_us bigint,
    chances jsonb NOT NULL,
    rate jsonb,
    "interval" jsonb,
    basis jsonb NOT NULL,
    inputs jsonb NOT NULL,
    digest text NOT NULL,
    id bigint NOT NULL
);
ALTER TABLE public.forecast ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.forecast_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.forecast_now (
    press_id integer NOT NULL,
    "position" text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    serial text NOT NULL COLLATE pg_catalog."C",
    made_at timestamp with time zone NOT NULL,
    as_of timestamp with time zone,
    state text NOT NULL,
    severity smallint NOT NULL,
    strokes double precision,
    remaining double precision[],
    due_us bigint[],
    due_median_us bigint,
    chances jsonb NOT NULL,
    rate jsonb,
    "interval" jsonb,
    basis jsonb NOT NULL,
    inputs jsonb NOT NULL,
    digest text NOT NULL
)
WITH (fillfactor='70');
CREATE TABLE public.forecast_score (
    id bigint NOT NULL,
    source text NOT NULL,
    forecast_id bigint,
    press_id integer NOT NULL,
    "position" text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    serial text NOT NULL COLLATE pg_catalog."C",
    chain uuid NOT NULL,
    as_of timestamp with time zone NOT NULL,
    outcome text NOT NULL,
    left_low double precision NOT NULL,
    left_high double precision,
    pit_low double precision NOT NULL,
    pit_high double precision NOT NULL,
    date_is_open boolean NOT NULL,
    date_low double precision,
    date_high double precision,
    width_80 double precision NOT NULL,
    width_90 double precision NOT NULL,
    crps double precision NOT NULL,
    crps_rule double precision,
    chance double precision,
    came boolean,
    scored_at timestamp with time zone NOT NULL,
    CONSTRAINT forecast_score_outcome_check CHECK ((outcome = ANY (ARRAY['exact'::text, 'interval'::text, 'censored'::text, 'running'::text]))),
    CONSTRAINT forecast_score_source_check CHECK ((source = ANY (ARRAY['live'::text, 'backtest'::text])))
);
ALTER TABLE public.forecast_score ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.forecast_score_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.imported_life (
    id text NOT NULL COLLATE pg_catalog."C",
    serial text NOT NULL,
    kind text NOT NULL COLLATE pg_catalog."C",
    "position" text NOT NULL COLLATE pg_catalog."C",
    press text,
    batch text,
    entry_strokes double precision NOT NULL,
    entry_low double precision,
    strokes double precision NOT NULL,
    strokes_low double precision,
    ended text NOT NULL,
    ended_at timestamp with time zone,
    mean_speed_mps double precision,
    given jsonb NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL,
    taken_back_at timestamp with time zone,
    taken_back_by text
);
CREATE TABLE public.inspection (
    id text NOT NULL COLLATE pg_catalog."C",
    entry bigint NOT NULL,
    serial text NOT NULL COLLATE pg_catalog."C",
    at timestamp with time zone NOT NULL,
    verdict text,
    quantity text,
    value double precision,
    unit text,
    reading_limit double precision,
    by text,
    note text,
    corrects text,
    void boolean DEFAULT false NOT NULL,
    corrected_by text,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL,
    fit_id uuid,
    press_id integer,
    "position" text,
    strokes_at timestamp with time zone,
    press_strokes bigint,
    uncertainty double precision,
    of_set boolean DEFAULT false NOT NULL
);
ALTER TABLE public.inspection ALTER COLUMN entry ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.inspection_entry_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.lease (
    name text NOT NULL,
    holder text NOT NULL,
    taken_at timestamp with time zone NOT NULL,
    beat_at timestamp with time zone NOT NULL
);
CREATE TABLE public.life_chunk (
    digest text NOT NULL,
    lives bytea NOT NULL
);
CREATE TABLE public.life_duty (
    life_id text NOT NULL COLLATE pg_catalog."C",
    mean_roughness double precision
);
CREATE TABLE public.life_model (
    digest text NOT NULL,
    kind text NOT NULL COLLATE pg_catalog."C",
    "position" text NOT NULL COLLATE pg_catalog."C",
    made_at timestamp with time zone NOT NULL,
    model_version text NOT NULL,
    content jsonb NOT NULL,
    chunks text[] DEFAULT '{}'::text[] NOT NULL
);
CREATE TABLE public.life_model_now (
    kind text NOT NULL COLLATE pg_catalog."C",
    "position" text NOT NULL COLLATE pg_catalog."C",
    digest text NOT NULL,
    made_at timestamp with time zone NOT NULL,
    answer jsonb NOT NULL
);
CREATE TABLE public.life_scored (
    chain uuid NOT NULL,
    mark text NOT NULL,
    scored_at timestamp with time zone NOT NULL
);
CREATE TABLE public.position_def (
    "position" text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    sort_order integer NOT NULL,
    handbook_life double precision,
    handbook_spread double precision NOT NULL,
    handbook_own boolean DEFAULT false NOT NULL,
    quantity text,
    unit text,
    wear_limit double precision,
    size_mm double precision,
    size_tolerance_mm double precision,
    interval_strokes bigint,
    interval_days double precision
);
CREATE TABLE public.position_size (
    "position" text NOT NULL,
    scope text NOT NULL COLLATE pg_catalog."C",
    size_mm double precision,
    size_tolerance_mm double precision
);
CREATE TABLE public.press (
    id integer NOT NULL,
    name text NOT NULL COLLATE pg_catalog."C",
    timezone text DEFAULT 'UTC'::text NOT NULL,
    crank_radius_mm double precision,
    rod_length_mm double precision,
    registered_at timestamp with time zone DEFAULT now() NOT NULL
);
ALTER TABLE public.press ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.press_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.press_rule (
    press_id integer NOT NULL,
    valid_from timestamp with time zone NOT NULL,
    modulus bigint NOT NULL,
    max_spm integer NOT NULL
);
CREATE TABLE public.press_status (
    press text NOT NULL COLLATE pg_catalog."C",
    status text NOT NULL,
    status_at timestamp with time zone NOT NULL,
    received_at timestamp with time zone NOT NULL
)
WITH (fillfactor='60');
CREATE TABLE public.quarantine (
    id bigint NOT NULL,
    digest bytea NOT NULL,
    received_at timestamp with time zone NOT NULL,
    last_received_at timestamp with time zone NOT NULL,
    times bigint DEFAULT 1 NOT NULL,
    topic text NOT NULL,
    payload bytea NOT NULL,
    reason text NOT NULL,
    field text,
    detail text NOT NULL,
    press text,
    state text DEFAULT 'waiting'::text NOT NULL,
    retry_at timestamp with time zone
);
ALTER TABLE public.quarantine ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.quarantine_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.question (
    id text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL,
    serial text NOT NULL COLLATE pg_catalog."C",
    press_id integer,
    "position" text,
    inspection_id text NOT NULL COLLATE pg_catalog."C",
    against_id text COLLATE pg_catalog."C",
    words text NOT NULL,
    raised_at timestamp with time zone NOT NULL,
    closed_at timestamp with time zone,
    closed_by text,
    reason text
);
CREATE TABLE public.reading (
    press_id integer NOT NULL,
    boot_id integer NOT NULL,
    seq bigint NOT NULL,
    at timestamp with time zone NOT NULL,
    strokes bigint NOT NULL,
    unwrapped bigint NOT NULL,
    peak_speed_mps double precision,
    peak_accel_mps2 double precision,
    received_at timestamp with time zone NOT NULL
);
CREATE TABLE public.reading_day (
    press_id integer NOT NULL,
    day timestamp with time zone NOT NULL,
    strokes bigint DEFAULT 0 NOT NULL,
    running_us bigint DEFAULT 0 NOT NULL,
    readings bigint DEFAULT 0 NOT NULL,
    missing bigint DEFAULT 0 NOT NULL,
    speed_sum bigint DEFAULT 0 NOT NULL,
    speed_weight bigint DEFAULT 0 NOT NULL,
    accel_sum bigint DEFAULT 0 NOT NULL,
    accel_weight bigint DEFAULT 0 NOT NULL,
    peak_speed_mps double precision,
    peak_accel_mps2 double precision,
    first_at timestamp with time zone,
    last_at timestamp with time zone
);
CREATE TABLE public.reading_hour (
    press_id integer NOT NULL,
    hour timestamp with time zone NOT NULL,
    strokes bigint DEFAULT 0 NOT NULL,
    running_us bigint DEFAULT 0 NOT NULL,
    readings bigint DEFAULT 0 NOT NULL,
    missing bigint DEFAULT 0 NOT NULL,
    speed_sum bigint DEFAULT 0 NOT NULL,
    speed_weight bigint DEFAULT 0 NOT NULL,
    accel_sum bigint DEFAULT 0 NOT NULL,
    accel_weight bigint DEFAULT 0 NOT NULL,
    peak_speed_mps double precision,
    peak_accel_mps2 double precision,
    first_at timestamp with time zone,
    last_at timestamp with time zone
)
WITH (fillfactor='90');
CREATE TABLE public.settlement (
    id bigint NOT NULL,
    flag_id uuid NOT NULL,
    press_id integer NOT NULL,
    counted bigint NOT NULL,
    strokes bigint NOT NULL,
    reason text NOT NULL,
    by text NOT NULL,
    at timestamp with time zone NOT NULL
);
ALTER TABLE public.settlement ALTER COLUMN id ADD GENERATED ALWAYS AS IDENTITY (
    SEQUENCE NAME public.settlement_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);
CREATE TABLE public.shift_plan (
    site text NOT NULL COLLATE pg_catalog."C",
    content jsonb NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL
);
CREATE TABLE public.span (
    press_id integer NOT NULL,
    boot_id integer NOT NULL,
    start_seq bigint NOT NULL,
    boot_at timestamp with time zone NOT NULL,
    boot_name text NOT NULL COLLATE pg_catalog."C",
    start_at timestamp with time zone NOT NULL,
    start_unwrapped bigint NOT NULL,
    total bigint NOT NULL,
    latest_before timestamp with time zone NOT NULL,
    prev_boot_id integer,
    prev_seq bigint,
    prev_at timestamp with time zone,
    prev_unwrapped bigint,
    kinds text[] DEFAULT '{}'::text[] NOT NULL,
    counted bigint DEFAULT 0 NOT NULL,
    hidden_at_most bigint DEFAULT 0 NOT NULL,
    settled bigint DEFAULT 0 NOT NULL,
    flag_id uuid
);
CREATE VIEW public.standing_inspection AS
 SELECT i.id,
    i.entry,
    i.serial,
    i.at,
    i.verdict,
    i.quantity,
    i.value,
    i.unit,
    i.reading_limit,
    i.by,
    i.note,
    i.corrects,
    i.void,
    i.corrected_by,
    i.entered_at,
    i.entered_by,
    i.fit_id,
    i.press_id,
    i."position",
    i.strokes_at,
    i.press_strokes,
    i.uncertainty,
    i.of_set,
    s.is_doubtful,
    r.share,
    COALESCE((i.verdict = 'good'::text), ((r.share + r.margin) < (1)::double precision), false) AS is_good
   FROM ((((public.inspection i
     LEFT JOIN public.position_def d ON (((d."position" = i."position") AND (d.quantity = i.quantity) AND (NOT (d.unit IS DISTINCT FROM i.unit)))))
     CROSS JOIN LATERAL ( SELECT (EXISTS ( SELECT 1
                   FROM public.question q
                  WHERE ((q.inspection_id = i.id) AND (q.kind = 'implausible'::text) AND (q.closed_at IS NULL)))) AS is_doubtful) s)
     CROSS JOIN LATERAL ( SELECT NULLIF(COALESCE(i.reading_limit, d.wear_limit), (0)::double precision) AS stop) l)
     CROSS JOIN LATERAL ( SELECT
                CASE
                    WHEN ((NOT s.is_doubtful) AND ((NOT i.of_set) OR (d."position" IS NOT NULL))) THEN (
                    CASE
                        WHEN (abs(i.value) < (0.000000001)::double precision) THEN (0)::double precision
                        ELSE i.value
                    END / l.stop)
                    ELSE NULL::double precision
                END AS share,
            COALESCE((i.uncertainty / abs(l.stop)), (0)::double precision) AS margin) r)
  WHERE ((i.corrected_by IS NULL) AND (NOT i.void));
CREATE TABLE public.stock (
    kind text NOT NULL COLLATE pg_catalog."C",
    lead_days double precision,
    on_order jsonb DEFAULT '[]'::jsonb NOT NULL,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL
);
CREATE TABLE public.stop (
    id text NOT NULL COLLATE pg_catalog."C",
    scope text NOT NULL COLLATE pg_catalog."C",
    starts_at timestamp with time zone NOT NULL,
    ends_at timestamp with time zone NOT NULL,
    max_changes integer,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL,
    CONSTRAINT stop_check CHECK ((ends_at > starts_at))
);
CREATE TABLE public.stop_calendar (
    version text NOT NULL,
    stops jsonb NOT NULL
);
CREATE TABLE public.token (
    id text NOT NULL COLLATE pg_catalog."C",
    name text NOT NULL,
    role text NOT NULL,
    digest bytea NOT NULL,
    created_at timestamp with time zone NOT NULL,
    created_by text NOT NULL,
    expires_at timestamp with time zone,
    revoked_at timestamp with time zone,
    CONSTRAINT token_role_check CHECK ((role = ANY (ARRAY['viewer'::text, 'crew'::text, 'engineer'::text, 'admin'::text])))
);
CREATE TABLE public.tool (
    serial text NOT NULL COLLATE pg_catalog."C",
    kind text NOT NULL COLLATE pg_catalog."C",
    batch text,
    size_mm double precision,
    note text,
    registered_at timestamp with time zone NOT NULL,
    registered_by text NOT NULL,
    state text DEFAULT 'new'::text NOT NULL,
    press_id integer,
    "position" text,
    current_mm double precision,
    life integer DEFAULT 0 NOT NULL,
    back_at timestamp with time zone
);
CREATE TABLE public.tool_event (
    id uuid NOT NULL,
    entry bigint NOT NULL,
    place bigint NOT NULL,
    type text NOT NULL,
    serial text NOT NULL COLLATE pg_catalog."C",
    at timestamp with time zone NOT NULL,
    press_id integer,
    "position" text,
    reason text,
    strokes_before bigint,
    before_unknown boolean DEFAULT false NOT NULL,
    size_mm double precision,
    back_at timestamp with time zone,
    by text,
    replaces boolean DEFAULT false NOT NULL,
    corrects uuid,
    void boolean DEFAULT false NOT NULL,
    note text,
    given jsonb,
    implied_by uuid,
    corrected_by uuid,
    press_strokes bigint,
    entered_at timestamp with time zone NOT NULL,
    entered_by text NOT NULL,
    before_margin bigint
);
CREATE SEQUENCE public.tool_event_entry
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1;
ALTER TABLE ONLY public.boot
    ADD CONSTRAINT boot_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.boot
    ADD CONSTRAINT boot_press_id_name_key UNIQUE (press_id, name);
ALTER TABLE ONLY public.dry_window
    ADD CONSTRAINT dry_window_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.figure_move
    ADD CONSTRAINT figure_move_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_serial_ordinal_key UNIQUE (serial, ordinal);
ALTER TABLE ONLY public.forecast_now
    ADD CONSTRAINT forecast_now_pkey PRIMARY KEY (press_id, "position");
ALTER TABLE ONLY public.forecast
    ADD CONSTRAINT forecast_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.forecast_score
    ADD CONSTRAINT forecast_score_forecast_id_key UNIQUE (forecast_id);
ALTER TABLE ONLY public.forecast_score
    ADD CONSTRAINT forecast_score_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.imported_life
    ADD CONSTRAINT imported_life_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.inspection
    ADD CONSTRAINT inspection_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.lease
    ADD CONSTRAINT lease_pkey PRIMARY KEY (name);
ALTER TABLE ONLY public.life_chunk
    ADD CONSTRAINT life_chunk_pkey PRIMARY KEY (digest);
ALTER TABLE ONLY public.life_duty
    ADD CONSTRAINT life_duty_pkey PRIMARY KEY (life_id);
ALTER TABLE ONLY public.life_model_now
    ADD CONSTRAINT life_model_now_pkey PRIMARY KEY (kind, "position");
ALTER TABLE ONLY public.life_model
    ADD CONSTRAINT life_model_pkey PRIMARY KEY (digest);
ALTER TABLE ONLY public.life_scored
    ADD CONSTRAINT life_scored_pkey PRIMARY KEY (chain);
ALTER TABLE ONLY public.position_def
    ADD CONSTRAINT position_def_pkey PRIMARY KEY ("position");
ALTER TABLE ONLY public.position_size
    ADD CONSTRAINT position_size_pkey PRIMARY KEY ("position", scope);
ALTER TABLE ONLY public.press
    ADD CONSTRAINT press_name_key UNIQUE (name);
ALTER TABLE ONLY public.press
    ADD CONSTRAINT press_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.press_rule
    ADD CONSTRAINT press_rule_pkey PRIMARY KEY (press_id, valid_from);
ALTER TABLE ONLY public.press_state
    ADD CONSTRAINT press_state_pkey PRIMARY KEY (press_id);
ALTER TABLE ONLY public.press_status
    ADD CONSTRAINT press_status_pkey PRIMARY KEY (press);
ALTER TABLE ONLY public.quarantine
    ADD CONSTRAINT quarantine_digest_key UNIQUE (digest);
ALTER TABLE ONLY public.quarantine
    ADD CONSTRAINT quarantine_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.question
    ADD CONSTRAINT question_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.reading_day
    ADD CONSTRAINT reading_day_pkey PRIMARY KEY (press_id, day);
ALTER TABLE ONLY public.reading_hour
    ADD CONSTRAINT reading_hour_pkey PRIMARY KEY (press_id, hour);
ALTER TABLE ONLY public.reading
    ADD CONSTRAINT reading_pkey PRIMARY KEY (press_id, boot_id, seq, at);
ALTER TABLE ONLY public.settlement
    ADD CONSTRAINT settlement_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.shift_plan
    ADD CONSTRAINT shift_plan_pkey PRIMARY KEY (site);
ALTER TABLE ONLY public.span
    ADD CONSTRAINT span_pkey PRIMARY KEY (press_id, boot_id, start_seq);
ALTER TABLE ONLY public.stock
    ADD CONSTRAINT stock_pkey PRIMARY KEY (kind);
ALTER TABLE ONLY public.stop_calendar
    ADD CONSTRAINT stop_calendar_pkey PRIMARY KEY (version);
ALTER TABLE ONLY public.stop
    ADD CONSTRAINT stop_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.token
    ADD CONSTRAINT token_digest_key UNIQUE (digest);
ALTER TABLE ONLY public.token
    ADD CONSTRAINT token_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_pkey PRIMARY KEY (id);
ALTER TABLE ONLY public.tool
    ADD CONSTRAINT tool_pkey PRIMARY KEY (serial);
CREATE INDEX dry_window_press ON public.dry_window USING btree (press_id, starts_at, id);
CREATE INDEX figure_move_serial ON public.figure_move USING btree (serial, id);
CREATE INDEX figure_move_subject ON public.figure_move USING btree (subject_id, figure, id);
CREATE INDEX fit_chain ON public.fit USING btree (chain);
CREATE INDEX fit_kind ON public.fit USING btree (kind, "position");
CREATE INDEX fit_place ON public.fit USING btree (press_id, "position", fitted_at);
CREATE INDEX fit_pull ON public.fit USING btree (pull_id) WHERE (pull_id IS NOT NULL);
CREATE UNIQUE INDEX fit_seat ON public.fit USING btree (press_id, "position") WHERE (pull_id IS NULL);
CREATE UNIQUE INDEX fit_serial ON public.fit USING btree (serial) WHERE (pull_id IS NULL);
CREATE INDEX forecast_place ON public.forecast USING btree (press_id, "position", id);
CREATE INDEX forecast_score_chain ON public.forecast_score USING btree (chain) WHERE (source = 'live'::text);
CREATE INDEX forecast_score_place ON public.forecast_score USING btree (source, kind, "position");
CREATE INDEX forecast_serial ON public.forecast USING btree (serial, id);
CREATE INDEX imported_life_kind ON public.imported_life USING btree (kind, "position") WHERE (taken_back_at IS NULL);
CREATE INDEX inspection_entry_order ON public.inspection USING btree (entry);
CREATE INDEX inspection_fit ON public.inspection USING btree (fit_id, at);
CREATE INDEX inspection_list ON public.inspection USING btree (at, entry);
CREATE INDEX inspection_press ON public.inspection USING btree (press_id, strokes_at);
CREATE INDEX inspection_serial ON public.inspection USING btree (serial, at);
CREATE INDEX life_model_place ON public.life_model USING btree (kind, "position", made_at);
CREATE INDEX quarantine_list ON public.quarantine USING btree (state, reason, id);
CREATE INDEX quarantine_press ON public.quarantine USING btree (press, reason) WHERE (state = 'waiting'::text);
CREATE INDEX quarantine_retry ON public.quarantine USING btree (retry_at) WHERE (state = 'waiting'::text);
CREATE INDEX question_list ON public.question USING btree (raised_at, id);
CREATE INDEX question_open ON public.question USING btree (inspection_id) WHERE (closed_at IS NULL);
CREATE INDEX question_serial ON public.question USING btree (serial);
CREATE INDEX reading_time ON public.reading USING btree (press_id, boot_id, at, seq);
CREATE INDEX settlement_flag ON public.settlement USING btree (flag_id, id);
CREATE INDEX settlement_press ON public.settlement USING btree (press_id);
CREATE UNIQUE INDEX span_flag ON public.span USING btree (flag_id) WHERE (flag_id IS NOT NULL);
CREATE INDEX span_latest ON public.span USING btree (press_id, latest_before, boot_at, boot_name, start_seq);
CREATE INDEX stop_time ON public.stop USING btree (ends_at, starts_at, id);
CREATE INDEX tool_event_entry_order ON public.tool_event USING btree (entry);
CREATE INDEX tool_event_implied ON public.tool_event USING btree (implied_by) WHERE (implied_by IS NOT NULL);
CREATE INDEX tool_event_list ON public.tool_event USING btree (at, place, id);
CREATE INDEX tool_event_press ON public.tool_event USING btree (press_id, at);
CREATE INDEX tool_event_seat ON public.tool_event USING btree (press_id, "position", serial) WHERE (type = ANY (ARRAY['fit'::text, 'service'::text]));
CREATE INDEX tool_event_serial ON public.tool_event USING btree (serial, at);
CREATE INDEX tool_kind ON public.tool USING btree (kind, serial);
CREATE INDEX tool_press ON public.tool USING btree (press_id) WHERE (press_id IS NOT NULL);
ALTER TABLE ONLY public.boot
    ADD CONSTRAINT boot_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.dry_window
    ADD CONSTRAINT dry_window_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_id_fkey FOREIGN KEY (id) REFERENCES public.tool_event(id);
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_position_fkey FOREIGN KEY ("position") REFERENCES public.position_def("position");
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.fit
    ADD CONSTRAINT fit_pull_id_fkey FOREIGN KEY (pull_id) REFERENCES public.tool_event(id);
ALTER TABLE ONLY public.forecast_now
    ADD CONSTRAINT forecast_now_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.forecast
    ADD CONSTRAINT forecast_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.forecast_score
    ADD CONSTRAINT forecast_score_forecast_id_fkey FOREIGN KEY (forecast_id) REFERENCES public.forecast(id);
ALTER TABLE ONLY public.forecast_score
    ADD CONSTRAINT forecast_score_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.inspection
    ADD CONSTRAINT inspection_corrected_by_fkey FOREIGN KEY (corrected_by) REFERENCES public.inspection(id);
ALTER TABLE ONLY public.inspection
    ADD CONSTRAINT inspection_corrects_fkey FOREIGN KEY (corrects) REFERENCES public.inspection(id);
ALTER TABLE ONLY public.inspection
    ADD CONSTRAINT inspection_fit_id_fkey FOREIGN KEY (fit_id) REFERENCES public.fit(id) ON DELETE SET NULL;
ALTER TABLE ONLY public.inspection
    ADD CONSTRAINT inspection_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.life_model_now
    ADD CONSTRAINT life_model_now_digest_fkey FOREIGN KEY (digest) REFERENCES public.life_model(digest);
ALTER TABLE ONLY public.position_size
    ADD CONSTRAINT position_size_position_fkey FOREIGN KEY ("position") REFERENCES public.position_def("position");
ALTER TABLE ONLY public.press_rule
    ADD CONSTRAINT press_rule_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.press_state
    ADD CONSTRAINT press_state_boot_id_fkey FOREIGN KEY (boot_id) REFERENCES public.boot(id);
ALTER TABLE ONLY public.press_state
    ADD CONSTRAINT press_state_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.question
    ADD CONSTRAINT question_against_id_fkey FOREIGN KEY (against_id) REFERENCES public.inspection(id);
ALTER TABLE ONLY public.question
    ADD CONSTRAINT question_inspection_id_fkey FOREIGN KEY (inspection_id) REFERENCES public.inspection(id);
ALTER TABLE ONLY public.question
    ADD CONSTRAINT question_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.reading
    ADD CONSTRAINT reading_boot_id_fkey FOREIGN KEY (boot_id) REFERENCES public.boot(id);
ALTER TABLE ONLY public.reading_day
    ADD CONSTRAINT reading_day_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.reading_hour
    ADD CONSTRAINT reading_hour_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.reading
    ADD CONSTRAINT reading_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.settlement
    ADD CONSTRAINT settlement_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.span
    ADD CONSTRAINT span_boot_id_fkey FOREIGN KEY (boot_id) REFERENCES public.boot(id);
ALTER TABLE ONLY public.span
    ADD CONSTRAINT span_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.span
    ADD CONSTRAINT span_prev_boot_id_fkey FOREIGN KEY (prev_boot_id) REFERENCES public.boot(id);
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_corrected_by_fkey FOREIGN KEY (corrected_by) REFERENCES public.tool_event(id);
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_corrects_fkey FOREIGN KEY (corrects) REFERENCES public.tool_event(id);
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_implied_by_fkey FOREIGN KEY (implied_by) REFERENCES public.tool_event(id);
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_position_fkey FOREIGN KEY ("position") REFERENCES public.position_def("position");
ALTER TABLE ONLY public.tool_event
    ADD CONSTRAINT tool_event_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
ALTER TABLE ONLY public.tool
    ADD CONSTRAINT tool_position_fkey FOREIGN KEY ("position") REFERENCES public.position_def("position");
ALTER TABLE ONLY public.tool
    ADD CONSTRAINT tool_press_id_fkey FOREIGN KEY (press_id) REFERENCES public.press(id);
