package logbook

import (
	"context"
	"database/sql"
	"embed"
	"io/fs"

	"github.com/pressly/goose/v3"
)

//go:embed migrations/*.sql
var migrations embed.FS

const (
	// versionTable is where the database says which migrations it has had.
	versionTable = "logbook_version"
	// newestVersion is the last migration that this program knows.
	newestVersion = 2
	// ownVersion is the migration whose text each database has of its own.
	ownVersion = 2
)

// version is the last migration that a database has had.
func version(ctx context.Context, q querier) (int64, error) {
	var v sql.NullInt64
	err := q.QueryRowContext(ctx, "SELECT MAX(version_id) FROM "+versionTable).Scan(&v)
	return v.Int64, err
}

// migrate brings a database up to newestVersion, each migration in a transaction.
// There is no way back: a logbook is never taken apart.
func migrate(ctx context.Context, db *sql.DB, d *dialect) error {
	files, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	provider, err := goose.NewProvider(d.goose, db, files,
		goose.WithTableName(versionTable),
		goose.WithDisableGlobalRegistry(true),
		goose.WithGoMigrations(goose.NewGoMigration(ownVersion, &goose.GoFunc{RunTx: d.migrateOwn}, nil)))
	if err != nil {
		return err
	}
	_, err = provider.Up(ctx)
	return err
}

// migrateOwn makes the table events append-only.
func (d *dialect) migrateOwn(ctx context.Context, tx *sql.Tx) error {
	for _, statement := range d.own {
		if _, err := tx.ExecContext(ctx, statement); err != nil {
			return err
		}
	}
	return nil
}
