-- What was found at commissioning, and what of it was applied. Records are only ever added.
CREATE TABLE commissioning (
    record_sequence INTEGER PRIMARY KEY,
    conductor       TEXT    NOT NULL,
    channel         TEXT    NOT NULL,
    kind            TEXT    NOT NULL CHECK (kind IN ('zero', 'drift', 'point', 'calibration', 'applied', 'reverted', 'lost')),
    wall_nanos      INTEGER NOT NULL,
    stated_by       TEXT    NOT NULL,
    note            TEXT    NOT NULL,
    refers_to       INTEGER CHECK (refers_to >= 1 AND refers_to < record_sequence),
    body            BLOB    NOT NULL,
    CHECK (kind = 'lost' OR conductor <> '' AND channel <> '')
) STRICT;
CREATE INDEX commissioning_of_channel ON commissioning (conductor, channel, kind);

CREATE TRIGGER commissioning_follows BEFORE INSERT ON commissioning
WHEN NEW.record_sequence IS NOT (SELECT coalesce(max(record_sequence), 0) + 1 FROM commissioning)
BEGIN SELECT RAISE(ABORT, 'a record must follow on the newest one'); END;
CREATE TRIGGER commissioning_never_changes BEFORE UPDATE ON commissioning
BEGIN SELECT RAISE(ABORT, 'records of commissioning are never updated'); END;
CREATE TRIGGER commissioning_never_goes BEFORE DELETE ON commissioning
BEGIN SELECT RAISE(ABORT, 'records of commissioning are never deleted'); END;

-- The ledger says from when on a change counts.
DROP TRIGGER entries_are_known;
CREATE TRIGGER entries_are_known BEFORE INSERT ON entries
WHEN NEW.kind NOT IN ('opening', 'interval', 'adjustment', 'gap', 'mark', 'configuration', 'commissioning')
BEGIN SELECT RAISE(ABORT, 'an entry of this kind must never be'); END;
