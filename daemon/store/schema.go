package store

import (
	"context"
	"database/sql"
	_ "embed" // the schema
	"fmt"
)

// applicationID marks the file as ours: "AmpL".
const applicationID = 0x416d704c

var (
	//go:embed schema/1.sql
	schema1 string
	//go:embed schema/2.sql
	schema2 string
	//go:embed schema/3.sql
	schema3 string
	//go:embed schema/4.sql
	schema4 string
)

// migration brings a file to the next schema.
type migration struct {
	query string
	fill  func(context.Context, *sql.Tx) error // what SQL alone cannot fill in; nil = nothing
}

// migrations[i] brings a file of schema i to schema i+1. What was released is never changed, only added to.
var migrations = []migration{{query: schema1}, {query: schema2, fill: chainAll}, {query: schema3}, {query: schema4}}

// identityOf reads what the file says of itself.
func identityOf(db source) (identity, version int, err error) {
	err = db.QueryRowContext(context.Background(), "SELECT application_id, user_version FROM pragma_application_id, pragma_user_version").Scan(&identity, &version)
	return identity, version, err
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
			return step(ctx, tx, version)
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// step does one migration.
func step(ctx context.Context, tx *sql.Tx, version int) error {
	for _, query := range []string{
		migrations[version].query,
		fmt.Sprintf("PRAGMA application_id = %d", applicationID),
		fmt.Sprintf("PRAGMA user_version = %d", version+1),
	} {
		if _, err := tx.ExecContext(ctx, query); err != nil {
			return fmt.Errorf("schema %d: %w", version+1, err)
		}
	}
	if fill := migrations[version].fill; fill != nil {
		if err := fill(ctx, tx); err != nil {
			return fmt.Errorf("schema %d: %w", version+1, err)
		}
	}
	return nil
}
