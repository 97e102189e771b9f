-- +goose Up

-- A projection of the events, kept with them in one transaction: what lists and
-- searches need of each test. What the events say can always be worked out again.
CREATE TABLE tests (
    id                TEXT   NOT NULL PRIMARY KEY,
    number            BIGINT NOT NULL,
    name              TEXT   NOT NULL,
    started_us        BIGINT NOT NULL,
    last_us           BIGINT NOT NULL,
    vehicle           TEXT   NOT NULL,
    vin               TEXT   NOT NULL,
    engine            TEXT   NOT NULL,
    engine_serial     TEXT   NOT NULL,
    customer          TEXT   NOT NULL,
    work_order        TEXT   NOT NULL,
    odometer          TEXT   NOT NULL,
    technician        TEXT   NOT NULL,
    condition         TEXT   NOT NULL,
    method            TEXT   NOT NULL,
    ended             TEXT   NOT NULL,
    import_key        TEXT   NOT NULL,
    events            BIGINT NOT NULL,
    head              TEXT   NOT NULL,
    vehicle_key       TEXT   NOT NULL,
    vin_key           TEXT   NOT NULL,
    engine_key        TEXT   NOT NULL,
    engine_serial_key TEXT   NOT NULL,
    search_key        TEXT   NOT NULL,
    tail              TEXT   NOT NULL
);

CREATE UNIQUE INDEX tests_by_number ON tests (number);
CREATE INDEX tests_by_start ON tests (started_us, id);
CREATE INDEX tests_by_tail ON tests (tail);
CREATE INDEX tests_by_vehicle ON tests (vehicle_key, started_us, id) WHERE vehicle_key <> '';
CREATE INDEX tests_by_vin ON tests (vin_key, started_us, id) WHERE vin_key <> '';
CREATE INDEX tests_by_engine ON tests (engine_key, started_us, id) WHERE engine_key <> '';
CREATE INDEX tests_by_engine_serial ON tests (engine_serial_key, started_us, id) WHERE engine_serial_key <> '';
CREATE INDEX tests_open ON tests (started_us, id) WHERE ended = '';

-- Not unique: two bays may have taken in one file before their logbooks are
-- merged, and no event is dropped for it. One logbook takes a key once (Append).
CREATE INDEX tests_by_import_key ON tests (import_key) WHERE import_key <> '';

CREATE TABLE events (
    test_id    TEXT    NOT NULL,
    seq        BIGINT  NOT NULL,
    at_us      BIGINT  NOT NULL,
    elapsed_ms BIGINT  NOT NULL,
    person     TEXT    NOT NULL,
    kind       TEXT    NOT NULL,
    run        INTEGER NOT NULL,
    cylinder   INTEGER NOT NULL,
    line       TEXT    NOT NULL,
    field      TEXT    NOT NULL,
    value      TEXT    NOT NULL,
    typed      TEXT    NOT NULL,
    reason     TEXT    NOT NULL,
    hash       TEXT    NOT NULL,
    PRIMARY KEY (test_id, seq),
    FOREIGN KEY (test_id) REFERENCES tests (id)
);
