-- An entry that has its chain is never changed; those of schema 1 are given theirs next, in the same transaction.
DROP TRIGGER entries_never_change;
CREATE TRIGGER entries_never_change BEFORE UPDATE ON entries WHEN OLD.chain IS NOT NULL
BEGIN SELECT RAISE(ABORT, 'entries are never updated'); END;

ALTER TABLE entries ADD COLUMN stored_coulombs             REAL CHECK ((stored_coulombs IS NULL) = (kind <> 'mark'));
ALTER TABLE entries ADD COLUMN stored_uncertainty_coulombs REAL CHECK ((stored_uncertainty_coulombs IS NULL) = (kind <> 'mark')
                                                                       AND coalesce(stored_uncertainty_coulombs, 1.0) > 0);
ALTER TABLE entries ADD COLUMN stated_by                   TEXT CHECK ((stated_by IS NULL) = (kind <> 'mark'));
ALTER TABLE entries ADD COLUMN note                        TEXT CHECK ((note IS NULL) = (kind <> 'mark'));
ALTER TABLE entries ADD COLUMN configuration_sha256        TEXT CHECK ((configuration_sha256 IS NULL) = (kind <> 'configuration'));
ALTER TABLE entries ADD COLUMN chain                       BLOB CHECK (length(chain) = 32);

CREATE TRIGGER entries_are_chained BEFORE INSERT ON entries WHEN NEW.chain IS NULL
BEGIN SELECT RAISE(ABORT, 'an entry must follow on the chain'); END;
CREATE TRIGGER entries_are_known BEFORE INSERT ON entries
WHEN NEW.kind NOT IN ('opening', 'interval', 'adjustment', 'gap', 'mark', 'configuration')
BEGIN SELECT RAISE(ABORT, 'an entry of this kind must never be'); END;

-- The file's own name, by which what was told of it is told from what was told of another.
ALTER TABLE daemon ADD COLUMN identity BLOB;
UPDATE daemon SET identity = randomblob(16);
