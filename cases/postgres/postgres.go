// Package postgres keeps a store of cases in a PostgreSQL database, for several
// people and places at once.
package postgres

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"net"
	"net/url"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"

	"downdrop/cases"
	"downdrop/cases/sqlstore"
)

// schemaName is where the tables stand unless the URL says search_path.
const schemaName = "downdrop"

// Open opens the store that a URL names, postgres://USER@HOST:PORT/DATABASE, and
// makes its tables where there are none. The password comes from the user's
// password file or the environment, as with every PostgreSQL program, and need
// never stand in the URL.
func Open(ctx context.Context, url string, o sqlstore.Options) (*sqlstore.Store, error) {
	config, err := configOf(url)
	if err != nil {
		return nil, err
	}
	db := stdlib.OpenDB(*config)
	db.SetMaxOpenConns(10)
	d := sqlstore.Database{Write: db, Read: db, Dialect: dialect(), Where: Where(url)}
	if d.ReadOnly, err = prepare(ctx, db, config.RuntimeParams["search_path"]); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", d.Where, explain(err)), db.Close())
	}
	if d.ReadOnly != "" {
		d.Write = nil
	}
	return sqlstore.Open(ctx, d, o)
}

// configOf reads the URL of a store.
func configOf(url string) (*pgx.ConnConfig, error) {
	config, err := pgx.ParseConfig(url)
	if err != nil {
		return nil, fmt.Errorf("%s: %w: the address cannot be read: postgres://USER@HOST:PORT/DATABASE is wanted", Where(url), cases.ErrUnavailable)
	}
	if config.RuntimeParams["search_path"] == "" {
		config.RuntimeParams["search_path"] = schemaName
	}
	config.RuntimeParams["application_name"] = "downdrop"
	if config.ConnectTimeout == 0 {
		config.ConnectTimeout = 10 * time.Second
	}
	return config, nil
}

// Look opens a store that is there already, to be looked at: nothing is made in the
// database, and no schema changed.
func Look(ctx context.Context, url string, o sqlstore.Options) (*sqlstore.Store, error) {
	config, err := configOf(url)
	if err != nil {
		return nil, err
	}
	config.RuntimeParams["default_transaction_read_only"] = "on"
	return sqlstore.Open(ctx, sqlstore.Database{Read: stdlib.OpenDB(*config), Dialect: dialect(), Where: Where(url), ReadOnly: "It is only looked at."}, o)
}

// Is says whether a store's name is the URL of one in PostgreSQL.
func Is(name string) bool {
	return strings.HasPrefix(name, "postgres://") || strings.HasPrefix(name, "postgresql://")
}

// Where is a store's URL without what must not be shown.
func Where(text string) string {
	u, err := url.Parse(text)
	if err != nil {
		return "the PostgreSQL store"
	}
	if u.User != nil {
		u.User = url.User(u.User.Username())
	}
	q := u.Query()
	q.Del("password")
	u.RawQuery = q.Encode()
	return u.String()
}

// prepare makes the schema where it may, and says why the database can only be read.
func prepare(ctx context.Context, db *sql.DB, schema string) (readOnly string, err error) {
	var only, there, usable bool
	err = db.QueryRowContext(ctx, `SELECT pg_is_in_recovery() OR current_setting('default_transaction_read_only') = 'on',
		EXISTS (SELECT 1 FROM pg_namespace WHERE nspname = $1), coalesce(has_schema_privilege((SELECT oid FROM pg_namespace WHERE nspname = $1), 'USAGE'), true)`, schema).Scan(&only, &there, &usable)
	switch {
	case err != nil:
		return "", err
	case !usable:
		return "", fmt.Errorf("%w: the user may not use the schema %s of the database. Whoever keeps the database has to permit it", cases.ErrUnavailable, schema)
	case only:
		return "The database can only be read: it is a copy that follows another server, or was made so.", nil
	case !there:
		_, err = db.ExecContext(ctx, `CREATE SCHEMA IF NOT EXISTS `+pgx.Identifier{schema}.Sanitize())
		var e *pgconn.PgError
		if errors.As(err, &e) && e.Code == "23505" { // another client made it at the same moment
			err = nil
		}
		return "", err
	}
	var foreign int
	err = db.QueryRowContext(ctx, `SELECT count(*) FROM pg_tables WHERE schemaname = $1
		AND NOT EXISTS (SELECT 1 FROM pg_tables WHERE schemaname = $1 AND tablename = 'meta')`, schema).Scan(&foreign)
	if err == nil && foreign > 0 {
		err = fmt.Errorf("%w: the schema %s of the database holds the tables of another program. Nothing was touched; name another one with search_path=NAME in the URL", cases.ErrIntegrity, schema)
	}
	return "", err
}

func dialect() sqlstore.Dialect {
	return sqlstore.Dialect{
		Name: "postgres", Text: `TEXT COLLATE "C"`, Bytes: "BYTEA", RowNumber: "BIGINT GENERATED ALWAYS AS IDENTITY PRIMARY KEY",
		HasMeta:    `SELECT count(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = 'meta'`,
		LockSchema: `SELECT pg_advisory_xact_lock(1684304756)`, // any number that nobody else takes
		LockHead:   " FOR UPDATE",
		Contains:   "position($1 in t.term) > 0",
		Snapshot:   sql.LevelRepeatableRead,
		Explain:    explain,
		Again:      again,
		Backup:     backup,
		Forget:     forget,
	}
}

// forget writes the table of names anew, since the server leaves what a row said in the table's file until it
// needs the room. It waits a few seconds for others who read; where they do not end, or this user may
// not, the server's own housekeeping does it later.
func forget(ctx context.Context, db *sql.DB) error {
	conn, err := db.Conn(ctx)
	if err == nil {
		defer conn.Close()
		_, err = conn.ExecContext(ctx, `SET lock_timeout = '3s'`)
	}
	if err != nil {
		return err
	}
	_, err = conn.ExecContext(ctx, `VACUUM (FULL) names`)
	var e *pgconn.PgError
	if errors.As(err, &e) && (e.Code == "55P03" || e.Code == "42501") {
		err = nil
	}
	_, reset := conn.ExecContext(ctx, `RESET lock_timeout`)
	return errors.Join(err, reset)
}

// backup copies every table into a schema beside it, which whoever keeps the
// database may drop later.
func backup(ctx context.Context, db *sql.DB, schema int) (string, error) {
	var name string
	if err := db.QueryRowContext(ctx, `SELECT current_schema() || '_schema' || $1 || to_char(now() AT TIME ZONE 'UTC', '_YYYYMMDD_HH24MISS_US')`, strconv.Itoa(schema)).Scan(&name); err != nil {
		return "", err
	}
	tx, err := db.BeginTx(ctx, &sql.TxOptions{Isolation: sql.LevelRepeatableRead})
	if err != nil {
		return "", err
	}
	if err := copyTables(ctx, tx, name); err != nil {
		return "", errors.Join(err, tx.Rollback())
	}
	return "the schema " + name + " of the database", tx.Commit()
}

// copyTables has the server write the statements that copy them, since it knows their names.
func copyTables(ctx context.Context, tx *sql.Tx, to string) error {
	var statements string
	err := tx.QueryRowContext(ctx, `SELECT format('CREATE SCHEMA %I', $1::text) || coalesce(string_agg(format('; CREATE TABLE %I.%I AS TABLE %I', $1::text, tablename, tablename), ''), '')
		FROM pg_tables WHERE schemaname = current_schema()`, to).Scan(&statements)
	if err == nil {
		_, err = tx.ExecContext(ctx, statements)
	}
	return err
}

// again says whether a transaction may be tried once more: another one was in its
// way, or the connection broke. Whether it was committed is not known then, and
// need not be: every id is looked up before it is written.
func again(err error) bool {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		switch e.Code {
		case "40001", "40P01", "57P01", "57P02", "57P03", "25006": // in the way, deadlock, shut down, crashed, starting, turned read-only
			return true
		}
		return strings.HasPrefix(e.Code, "08")
	}
	return broken(err)
}

// broken says that the connection is gone, which no error code tells.
func broken(err error) bool {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return false
	}
	var network *net.OpError
	var connect *pgconn.ConnectError
	return errors.Is(err, driver.ErrBadConn) || errors.As(err, &network) || errors.As(err, &connect) || pgconn.SafeToRetry(err) || strings.Contains(err.Error(), "unexpected EOF") || strings.Contains(err.Error(), "conn closed")
}

// explain says what PostgreSQL's codes mean to whoever sits before it.
func explain(err error) error {
	var e *pgconn.PgError
	switch {
	case err == nil || errors.Is(err, cases.ErrUnavailable) || errors.Is(err, cases.ErrIntegrity):
		return err
	case errors.As(err, &e):
		switch class := e.Code[:min(2, len(e.Code))]; { // what stands between may name none
		case class == "28":
			return fmt.Errorf("%w: the server does not let this user in: %s. Put the password into your PostgreSQL password file (~/.pgpass)", cases.ErrUnavailable, e.Message)
		case class == "3D":
			return fmt.Errorf("%w: there is no such database on the server: %s. Have it made, or name another", cases.ErrUnavailable, e.Message)
		case class == "53":
			return fmt.Errorf("%w: the server has no room left: %s. Nothing that was kept is lost", cases.ErrUnavailable, e.Message)
		case class == "XX":
			return fmt.Errorf("%w: the server finds its own storage damaged: %s. Restore the database from its backup", cases.ErrIntegrity, e.Message)
		case e.Code == "42501", e.Code == "25006":
			return fmt.Errorf("%w: it may not be written by this user, or not at all now: %s", cases.ErrUnavailable, e.Message)
		case again(err), class == "":
			return fmt.Errorf("%w: the server ended the connection: %s. Try again; what was kept is not written twice", cases.ErrUnavailable, e.Message)
		}
	case broken(err):
		return fmt.Errorf("%w: the server cannot be reached or the line broke, and whether the last entry was kept is not known. Try again when the server is back; what was kept is not written twice: %w", cases.ErrUnavailable, err)
	}
	return err
}
