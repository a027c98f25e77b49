package store

import (
	"context"
	"database/sql"
	_ "embed" // the schema
	"fmt"
)

// applicationID marks the file as ours: "AmpL".
const applicationID = 0x416d704c

//go:embed schema/1.sql
var schema1 string

// migrations[i] brings a file of schema i to schema i+1. What was released is never changed, only added to.
var migrations = []string{schema1}

// identityOf reads what the file says of itself.
func identityOf(db querier) (identity, version int, err error) {
	err = db.QueryRow("SELECT application_id, user_version FROM pragma_application_id, pragma_user_version").Scan(&identity, &version)
	return identity, version, err
}

// querier is a database or a transaction.
type querier interface {
	QueryRow(query string, arguments ...any) *sql.Row
}

// migrate brings the file to the newest schema, each step in a transaction of its own.
func migrate(ctx context.Context, db *sql.DB) error {
	for done := false; !done; {
		err := transact(ctx, db, func(tx *sql.Tx) error {
			_, version, err := identityOf(tx)
			if err != nil {
				return err
			}
			if done = version >= len(migrations); done {
				return nil
			}
			return step(tx, version)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// step does one migration.
func step(tx *sql.Tx, version int) error {
	for _, query := range []string{
		migrations[version],
		fmt.Sprintf("PRAGMA application_id = %d", applicationID),
		fmt.Sprintf("PRAGMA user_version = %d", version+1),
	} {
		if _, err := tx.Exec(query); err != nil {
			return fmt.Errorf("schema %d: %w", version+1, err)
		}
	}
	return nil
}
