package store

import (
	"database/sql"
	"net/url"
	"path/filepath"
	"strings"

	_ "modernc.org/sqlite" // registers the driver
)

// common are the settings of every connection: a lock is waited for 5 s, a commit returns after the fsync, a transaction takes the write
// lock when it begins (so it never fails halfway for want of it), and SQL cannot tamper with the file's inner tables.
const common = "_busy_timeout=5000&_foreign_keys=1&_synchronous=FULL&_txlock=immediate&_defensive=1&_dqs=0"

// connect makes a pool of at most so many connections, which are opened when first used and kept.
func connect(address string, connections int) *sql.DB {
	db, err := sql.Open("sqlite", address)
	if err != nil {
		panic(err) // only if the driver were not registered
	}
	db.SetMaxOpenConns(connections)
	db.SetMaxIdleConns(connections)
	return db
}

// readAddress is the address of a file that is only read. Where no log lies beside it nobody works on it, and SQLite is told that it stays
// as it is: then it makes no files beside it either.
func readAddress(path string, found files) string {
	mode := "&_query_only=1"
	if !found.log {
		mode += "&immutable=1"
	}
	return readOnly(path) + common + mode
}

// readOnly is address for a connection that cannot write.
func readOnly(path string) string { return strings.Replace(address(path), "mode=rw", "mode=ro", 1) }

// address writes a path as SQLite's URI, up to the parameters. The file must exist.
func address(path string) string {
	path = filepath.ToSlash(path)
	if !strings.HasPrefix(path, "/") {
		path = "/" + path
	}
	return (&url.URL{Scheme: "file", OmitHost: true, Path: path}).String() + "?mode=rw&"
}
