CREATE TABLE entries (
    entry_sequence             INTEGER PRIMARY KEY,
    conductor                  TEXT    NOT NULL CHECK (conductor <> ''),
    channel                    TEXT    NOT NULL CHECK (channel <> ''),
    kind                       TEXT    NOT NULL CHECK (kind <> ''),
    device                     TEXT    NOT NULL CHECK (device <> ''),
    epoch                      INTEGER NOT NULL CHECK (epoch >= 0),
    first_sequence             INTEGER NOT NULL CHECK (first_sequence >= 0),
    last_sequence              INTEGER NOT NULL CHECK (last_sequence >= 0),
    from_wall_nanos            INTEGER NOT NULL,
    to_wall_nanos              INTEGER NOT NULL,
    from_monotonic_nanos       INTEGER NOT NULL,
    to_monotonic_nanos         INTEGER NOT NULL,
    duration_nanos             INTEGER NOT NULL CHECK (duration_nanos >= 0),
    out_microcoulombs          INTEGER NOT NULL CHECK (out_microcoulombs >= 0),
    in_microcoulombs           INTEGER NOT NULL CHECK (in_microcoulombs >= 0),
    offset_microcoulombs       INTEGER NOT NULL,
    adjustment_microcoulombs   INTEGER NOT NULL,
    square_ampere_seconds      REAL    NOT NULL,
    reading_count              INTEGER NOT NULL CHECK (reading_count >= 0),
    missing_count              INTEGER NOT NULL CHECK (missing_count >= 0),
    not_finite_count           INTEGER NOT NULL CHECK (not_finite_count >= 0),
    saturated_count            INTEGER NOT NULL CHECK (saturated_count >= 0),
    out_of_range_count         INTEGER NOT NULL CHECK (out_of_range_count >= 0),
    time_repeated_count        INTEGER NOT NULL CHECK (time_repeated_count >= 0),
    time_backwards_count       INTEGER NOT NULL CHECK (time_backwards_count >= 0),
    auxiliary_missing_count    INTEGER NOT NULL CHECK (auxiliary_missing_count >= 0),
    lost_count                 INTEGER NOT NULL CHECK (lost_count >= 0),
    gap_count                  INTEGER NOT NULL CHECK (gap_count >= 0),
    gap_nanos                  INTEGER NOT NULL CHECK (gap_nanos >= 0),
    gap_assumed_microcoulombs  INTEGER NOT NULL,
    gap_bound_microcoulombs    INTEGER NOT NULL CHECK (gap_bound_microcoulombs >= 0),
    noise_square_coulombs      REAL    NOT NULL,
    zero_coulombs              REAL    NOT NULL,
    gain_ratio                 REAL    NOT NULL,
    estimator                  TEXT    NOT NULL,
    generation                 INTEGER NOT NULL CHECK (generation >= 0),
    reason                     TEXT    NOT NULL
) STRICT;
CREATE INDEX entries_of_channel ON entries (conductor, channel, from_wall_nanos);

CREATE TABLE gaps (
    entry_sequence            INTEGER NOT NULL REFERENCES entries,
    position                  INTEGER NOT NULL CHECK (position >= 1),
    before_sequence           INTEGER NOT NULL CHECK (before_sequence >= 0),
    after_sequence            INTEGER NOT NULL CHECK (after_sequence >= 0),
    from_wall_nanos           INTEGER NOT NULL,
    from_monotonic_nanos      INTEGER NOT NULL,
    duration_nanos            INTEGER NOT NULL CHECK (duration_nanos >= 0),
    assumed_net_microcoulombs INTEGER NOT NULL,
    bound_microcoulombs       INTEGER NOT NULL CHECK (bound_microcoulombs >= 0),
    causes                    TEXT    NOT NULL CHECK (json_valid(causes)),
    PRIMARY KEY (entry_sequence, position)
) STRICT, WITHOUT ROWID;

CREATE TABLE events (
    log_sequence      INTEGER PRIMARY KEY,
    event_id          TEXT    NOT NULL,
    state             INTEGER NOT NULL,
    conductor         TEXT    NOT NULL,
    channel           TEXT    NOT NULL,
    element           TEXT    NOT NULL,
    kind              TEXT    NOT NULL,
    change_wall_nanos INTEGER NOT NULL,
    event             BLOB    NOT NULL
) STRICT;
CREATE INDEX events_of_conductor ON events (conductor);

CREATE TABLE devices (
    device    TEXT    PRIMARY KEY CHECK (device <> ''),
    held_next INTEGER NOT NULL DEFAULT 0 CHECK (held_next >= 0),
    used_next INTEGER NOT NULL DEFAULT 0 CHECK (used_next >= 0),
    epoch     INTEGER NOT NULL DEFAULT 0 CHECK (epoch >= 0)
) STRICT, WITHOUT ROWID;

CREATE TABLE daemon (
    id      INTEGER PRIMARY KEY CHECK (id = 1),
    opening INTEGER NOT NULL CHECK (opening >= 0)
) STRICT;
INSERT INTO daemon VALUES (1, 0);

CREATE TABLE snapshots (
    conductor  TEXT    NOT NULL CHECK (conductor <> ''),
    plugin     TEXT    NOT NULL CHECK (plugin <> ''),
    wall_nanos INTEGER NOT NULL,
    state      BLOB    NOT NULL,
    PRIMARY KEY (conductor, plugin)
) STRICT;

CREATE TRIGGER entries_follow BEFORE INSERT ON entries
WHEN NEW.entry_sequence IS NOT (SELECT coalesce(max(entry_sequence), 0) + 1 FROM entries)
BEGIN SELECT RAISE(ABORT, 'an entry must follow on the newest one'); END;
CREATE TRIGGER entries_never_change BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never updated'); END;
CREATE TRIGGER entries_never_go BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are never deleted'); END;

CREATE TRIGGER gaps_follow BEFORE INSERT ON gaps
WHEN NEW.entry_sequence IS NOT (SELECT max(entry_sequence) FROM entries)
  OR NEW.position IS NOT (SELECT coalesce(max(position), 0) + 1 FROM gaps WHERE entry_sequence = NEW.entry_sequence)
BEGIN SELECT RAISE(ABORT, 'a gap must follow on its entry'); END;
CREATE TRIGGER gaps_never_change BEFORE UPDATE ON gaps
BEGIN SELECT RAISE(ABORT, 'gaps are never updated'); END;
CREATE TRIGGER gaps_never_go BEFORE DELETE ON gaps
BEGIN SELECT RAISE(ABORT, 'gaps are never deleted'); END;

CREATE TRIGGER events_follow BEFORE INSERT ON events
WHEN NEW.log_sequence IS NOT (SELECT coalesce(max(log_sequence), 0) + 1 FROM events)
BEGIN SELECT RAISE(ABORT, 'an event must follow on the newest one'); END;
CREATE TRIGGER events_never_change BEFORE UPDATE ON events
BEGIN SELECT RAISE(ABORT, 'events are never updated'); END;
CREATE TRIGGER events_never_go BEFORE DELETE ON events
BEGIN SELECT RAISE(ABORT, 'events are never deleted'); END;
