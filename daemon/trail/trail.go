// Package trail keeps what estimators said to one summary in a while, so that they can be compared over weeks and across restarts of the daemon.
//
// It is a SQLite file of its own beside the ledger's, and nothing depends on it: readings, charge and events go on whatever becomes of it. What
// is taken waits in a bounded queue and is written by Run, the one goroutine, which the caller starts. A record that finds the queue full
// is left out, and so many are logged when writing works again. Writing stops, and what waits is kept, while the disk has no more room than the ledger
// needs. A kill or a power cut costs what was not yet written, and what the last second wrote, never the file: it is in WAL mode with synchronous
// NORMAL (https://www.sqlite.org/wal.html). A file that is found damaged is put aside under another name and a new one is begun.
//
// Records older than Config.Keep are deleted. Each method may be called by any number of goroutines.
package trail

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"time"

	"go.uber.org/zap"
	_ "modernc.org/sqlite" // registers the driver

	"github.com/ampledger/ampledger/daemon/comparison"
)

// FileName is the file's name in the state folder.
const FileName = "estimates.sqlite"

// mostQueued is how many records may wait to be written: an hour of a record a minute of nine estimators on seven conductors.
const mostQueued = 4096

// Config says how long records are kept, and who is asked and told.
type Config struct {
	Keep time.Duration            // above 0
	Room func(bytes uint64) error // refuses what would take the disk's last room; nil = there is always room
	Now  func() time.Time         // nil = time.Now
	Log  *zap.Logger
}

// Trail is an open file.
type Trail struct {
	config Config
	db     *sql.DB
	wake   chan struct{}

	mu     sync.Mutex
	queue  []*comparison.Record
	lost   uint64 // records left out since they were last told
	pruned time.Time
}

// Open opens the file, making it if it is missing, in a folder that exists.
func Open(path string, config Config) (*Trail, error) {
	if config.Now == nil {
		config.Now = time.Now
	}
	db, err := open(path)
	if err != nil && !errors.Is(err, os.ErrPermission) && exists(path) {
		aside := fmt.Sprintf("%s.damaged-%d", path, config.Now().UnixNano())
		config.Log.Error("what estimators said cannot be read; it is put aside and a new file is begun", zap.String("aside", aside), zap.Error(err))
		if err := putAside(path, aside); err != nil {
			return nil, fmt.Errorf("trail: %w", err)
		}
		db, err = open(path)
	}
	if err != nil {
		return nil, fmt.Errorf("trail: %s: %w", path, err)
	}
	return &Trail{config: config, db: db, wake: make(chan struct{}, 1)}, nil
}

func exists(path string) bool {
	_, err := os.Lstat(path)
	return err == nil
}

// putAside renames the file with its log, if it has one.
func putAside(path, aside string) error {
	if err := os.Rename(path, aside); err != nil {
		return err
	}
	for _, end := range []string{"-wal", "-shm"} {
		if err := os.Rename(path+end, aside+end); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return nil
}

const schema = `
CREATE TABLE IF NOT EXISTS records (
    conductor        TEXT    NOT NULL,
    wall_nanos       INTEGER NOT NULL,
    shadow           TEXT    NOT NULL,
    opening          INTEGER NOT NULL,
    device           TEXT    NOT NULL,
    through_sequence INTEGER NOT NULL,
    record           BLOB    NOT NULL,
    PRIMARY KEY (conductor, wall_nanos, shadow, opening, device, through_sequence)
) STRICT, WITHOUT ROWID;`

// applicationID marks the file as ours: "AmpE".
const applicationID = 0x416d7045

func open(path string) (db *sql.DB, err error) {
	path, err = filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	made := !exists(path)
	file, err := os.OpenFile(path, os.O_RDWR|os.O_CREATE, 0o600) // not as SQLite would make it: for others to read
	if err != nil {
		return nil, err
	}
	if err := file.Close(); err != nil {
		return nil, err
	}
	address := (&url.URL{Scheme: "file", OmitHost: true, Path: path}).String()
	if db, err = sql.Open("sqlite", address+"?_busy_timeout=5000&_journal_mode=WAL&_synchronous=NORMAL&_txlock=immediate&_defensive=1&_dqs=0"); err != nil {
		return nil, err
	}
	db.SetMaxOpenConns(2)
	if err := prepare(db, made); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return db, nil
}

// prepare looks at the file and makes the table.
func prepare(db *sql.DB, made bool) error {
	var id int
	var check string
	if err := db.QueryRow("SELECT application_id FROM pragma_application_id").Scan(&id); err != nil {
		return err
	}
	if !made && id != applicationID && id != 0 {
		return fmt.Errorf("is no file of ours: its application_id is %#x", id)
	}
	if err := db.QueryRow("PRAGMA quick_check(1)").Scan(&check); err != nil {
		return err
	}
	if check != "ok" {
		return errors.New(check)
	}
	_, err := db.Exec(schema + fmt.Sprintf("PRAGMA application_id = %d; PRAGMA user_version = 1;", applicationID))
	return err
}

// Close closes the file. Run must have ended.
func (t *Trail) Close() error { return t.db.Close() }

// Take queues a record; it does not wait. The record must not be changed any more.
func (t *Trail) Take(r *comparison.Record) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if len(t.queue) >= mostQueued {
		t.lost++
		return
	}
	t.queue = append(t.queue, r)
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// Read hands on what is recorded of a conductor from one wall-clock time to another, both included, by time. It ends with the first error of
// yield.
func (t *Trail) Read(ctx context.Context, conductor string, fromWall, toWall int64, yield func(*comparison.Record) error) (err error) {
	rows, err := t.db.QueryContext(ctx, `SELECT record FROM records WHERE conductor = ? AND wall_nanos BETWEEN ? AND ?
		ORDER BY conductor, wall_nanos, shadow, opening, device, through_sequence`, conductor, fromWall, toWall)
	if err != nil {
		return fmt.Errorf("trail: %w", err)
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		record, err := scanRecord(rows)
		if err != nil {
			return err
		}
		if err := yield(record); err != nil {
			return err
		}
	}
	return rows.Err()
}
