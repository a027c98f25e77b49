CREATE INDEX events_of_id ON events (event_id);

-- Who has seen an event. It is said once and stands for ever.
CREATE TABLE acknowledgements (
    event_id   TEXT    PRIMARY KEY CHECK (event_id <> ''),
    wall_nanos INTEGER NOT NULL,
    stated_by  TEXT    NOT NULL CHECK (stated_by <> ''),
    note       TEXT    NOT NULL
) STRICT;
CREATE TRIGGER acknowledgements_are_of_events BEFORE INSERT ON acknowledgements
WHEN NOT EXISTS (SELECT 1 FROM events WHERE event_id = NEW.event_id)
BEGIN SELECT RAISE(ABORT, 'there is no such event'); END;
CREATE TRIGGER acknowledgements_are_the_first BEFORE INSERT ON acknowledgements
WHEN EXISTS (SELECT 1 FROM acknowledgements WHERE event_id = NEW.event_id)
BEGIN SELECT RAISE(ABORT, 'an event is acknowledged once'); END;
CREATE TRIGGER acknowledgements_never_change BEFORE UPDATE ON acknowledgements
BEGIN SELECT RAISE(ABORT, 'acknowledgements are never updated'); END;
CREATE TRIGGER acknowledgements_never_go BEFORE DELETE ON acknowledgements
BEGIN SELECT RAISE(ABORT, 'acknowledgements are never deleted'); END;

-- The readings around the onsets of events. One that was dropped keeps its row, which says so.
CREATE TABLE waveforms (
    waveform_number INTEGER PRIMARY KEY,
    event_id        TEXT    NOT NULL UNIQUE CHECK (event_id <> ''),
    conductor       TEXT    NOT NULL,
    channel         TEXT    NOT NULL,
    state           TEXT    NOT NULL CHECK (state IN ('open', 'complete', 'short', 'dropped')),
    shortfall       TEXT    NOT NULL,
    epoch           INTEGER NOT NULL CHECK (epoch >= 0),
    first_sequence  INTEGER CHECK (first_sequence >= 0),
    last_sequence   INTEGER CHECK (last_sequence >= first_sequence AND (last_sequence IS NULL) = (first_sequence IS NULL)),
    before_nanos    INTEGER NOT NULL CHECK (before_nanos >= 0),
    after_nanos     INTEGER NOT NULL CHECK (after_nanos >= 0),
    wall_nanos      INTEGER NOT NULL
) STRICT;
CREATE INDEX waveforms_kept ON waveforms (waveform_number) WHERE state IN ('complete', 'short') AND first_sequence IS NOT NULL;
CREATE INDEX waveforms_over ON waveforms (conductor, channel, epoch, last_sequence) WHERE state <> 'dropped';

-- What was streamed at that time, a frame once, however many waveforms reach over it.
CREATE TABLE waveform_frames (
    conductor      TEXT    NOT NULL,
    channel        TEXT    NOT NULL,
    epoch          INTEGER NOT NULL CHECK (epoch >= 0),
    first_sequence INTEGER NOT NULL CHECK (first_sequence >= 0),
    last_sequence  INTEGER NOT NULL CHECK (last_sequence >= first_sequence),
    frame          BLOB    NOT NULL,
    UNIQUE (conductor, channel, epoch, first_sequence)
) STRICT;

-- How many frames there are, and their bytes.
CREATE TABLE waveform_totals (
    id          INTEGER PRIMARY KEY CHECK (id = 1),
    frame_count INTEGER NOT NULL,
    frame_bytes INTEGER NOT NULL
) STRICT;
INSERT INTO waveform_totals VALUES (1, 0, 0);
CREATE TRIGGER waveform_frames_count AFTER INSERT ON waveform_frames
BEGIN UPDATE waveform_totals SET frame_count = frame_count + 1, frame_bytes = frame_bytes + length(NEW.frame); END;
CREATE TRIGGER waveform_frames_uncount AFTER DELETE ON waveform_frames
BEGIN UPDATE waveform_totals SET frame_count = frame_count - 1, frame_bytes = frame_bytes - length(OLD.frame); END;
CREATE TRIGGER waveform_frames_never_change BEFORE UPDATE ON waveform_frames
BEGIN SELECT RAISE(ABORT, 'frames of waveforms are never updated'); END;

-- When the daemon was last known to run.
CREATE TABLE clock (
    id         INTEGER PRIMARY KEY CHECK (id = 1),
    boot_id    TEXT    NOT NULL,
    boot_nanos INTEGER NOT NULL,
    wall_nanos INTEGER NOT NULL
) STRICT;
