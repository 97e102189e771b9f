package logbook

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"net"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"

	"leakback/limits/quantity"
)

const (
	// defaultSchema is where the tables are: a database may hold other things too.
	defaultSchema = "leakback"
	// reachWithin is how long a server may take to answer at first.
	reachWithin = 5 * time.Second
	// statementWithin is what a statement may take, with sending what it found,
	// beside waiting for others.
	statementWithin = 50 * time.Second
	// wholeVersion is the first that was ever used: tables of an earlier one are a
	// logbook that somebody is beginning, or was when the connection broke.
	wholeVersion = 2
	// lockSpace sets our locks apart from other programs' in the same database.
	lockSpace = applicationID
)

// The columns that are compared and sorted are compared as bytes, whatever the
// language of the database: quicker, and the same order everywhere. An import key
// may be longer than what an ordered index takes.
var postgresOwn = []string{
	`ALTER TABLE tests
		ALTER id TYPE TEXT COLLATE "C", ALTER tail TYPE TEXT COLLATE "C", ALTER import_key TYPE TEXT COLLATE "C",
		ALTER vehicle_key TYPE TEXT COLLATE "C", ALTER vin_key TYPE TEXT COLLATE "C",
		ALTER engine_key TYPE TEXT COLLATE "C", ALTER engine_serial_key TYPE TEXT COLLATE "C",
		ALTER search_key TYPE TEXT COLLATE "C"`,
	`ALTER TABLE events ALTER test_id TYPE TEXT COLLATE "C"`,
	`DROP INDEX tests_by_import_key`,
	`CREATE INDEX tests_by_import_key ON tests USING hash (import_key) WHERE import_key <> ''`,
	`CREATE FUNCTION events_are_kept() RETURNS trigger LANGUAGE plpgsql AS
		$$ BEGIN RAISE EXCEPTION 'events are never changed and never removed'; END $$`,
	`CREATE TRIGGER events_are_kept BEFORE UPDATE OR DELETE OR TRUNCATE ON events
		FOR EACH STATEMENT EXECUTE FUNCTION events_are_kept()`,
}

var postgresDialect = &dialect{
	goose:     goose.DialectPostgres,
	numbered:  true,
	prepares:  true,
	own:       postgresOwn,
	write:     &sql.TxOptions{Isolation: sql.LevelReadCommitted}, // with locks: see Book.row
	read:      &sql.TxOptions{Isolation: sql.LevelRepeatableRead, ReadOnly: true},
	integrity: func(context.Context, querier) ([]string, error) { return nil, nil }, // it says so when it reads a page
	backup:    postgresBackup,
	explain:   explainPostgres,
	server: &server{
		lockRow:   " FOR NO KEY UPDATE",
		lockList:  fmt.Sprintf("SELECT pg_advisory_xact_lock(%d, hashtext(current_schema()))", lockSpace),
		long:      "SELECT set_config('statement_timeout', '0', true), set_config('idle_in_transaction_session_timeout', '0', true)",
		savepoint: "SAVEPOINT attempt", keep: "RELEASE SAVEPOINT attempt", undo: "ROLLBACK TO SAVEPOINT attempt",
		passing: passingPostgres,
	},
}

// postgresAddress is a URL that was read.
type postgresAddress struct {
	config *pgx.ConnConfig
	schema string
	shown  string
}

var schemaName = regexp.MustCompile(`^[a-z_][a-z0-9_]{0,62}$`)

// parsePostgres reads a URL, and the usual environment and password file beside
// it. What it cannot read is never repeated: it may be a password.
func parsePostgres(address string) (*postgresAddress, error) {
	config, err := parseConfig(address)
	if err != nil {
		return nil, err
	}
	p := &postgresAddress{config: config, schema: config.RuntimeParams["search_path"]}
	if p.schema == "" {
		p.schema = defaultSchema
	}
	if !schemaName.MatchString(p.schema) {
		return nil, unreadable("search_path is not one name of small letters, digits and _")
	}
	p.shown = p.show()
	return p, nil
}

func parseConfig(address string) (*pgx.ConnConfig, error) {
	u, err := url.Parse(address)
	if err != nil {
		return nil, unreadable("it is no URL")
	}
	_, rest, _ := strings.Cut(address, "://")
	end := strings.IndexAny(rest+"/", "/?#")
	if strings.Contains(rest[end:], "@") || u.Fragment != "" {
		return nil, unreadable("there is an @ or # after the host")
	}
	if strings.Count(rest[:end], "@") > 1 {
		return nil, unreadable("there is more than one @ before the host")
	}
	config, err := pgx.ParseConfig(address)
	if err == nil {
		return config, nil
	}
	if f := new(fs.PathError); errors.As(err, &f) {
		return nil, unreadable("the file " + quantity.Name(f.Path) + " that it names cannot be read")
	}
	return nil, unreadable("a part of it, or of the environment beside it (PGHOST, PGPORT, PGSSLMODE …), is not as it should be")
}

// unreadAddress stands for an address that cannot be read.
const unreadAddress = "postgres://…"

func unreadable(what string) error {
	return &Error{Kind: Unreachable, Path: unreadAddress, Detail: "the address cannot be read: " + what,
		hint: "expected postgres://user@host:5432/database?sslmode=verify-full; in a user and a password, / ? # @ : and % are written %2F %3F %23 %40 %3A and %25"}
}

// show is the address without user and password.
func (p *postgresAddress) show() string {
	u := url.URL{Scheme: "postgres", Path: "/" + p.config.Database}
	var query []string
	hosts := []string{place(p.config.Host, p.config.Port)}
	for _, f := range p.config.Fallbacks {
		if h := place(f.Host, f.Port); !slices.Contains(hosts, h) {
			hosts = append(hosts, h)
		}
	}
	if strings.HasPrefix(hosts[0], "/") {
		query, hosts = append(query, "host="+hosts[0]), nil
	}
	if p.schema != defaultSchema {
		query = append(query, "search_path="+p.schema)
	}
	u.Host, u.RawQuery = strings.Join(hosts, ","), strings.Join(query, "&")
	return u.String()
}

func place(host string, port uint16) string {
	if strings.HasPrefix(host, "/") {
		return host // the folder of a socket
	}
	if port == 5432 && !strings.Contains(host, ":") {
		return host
	}
	return net.JoinHostPort(host, strconv.Itoa(int(port)))
}

// limits are what the server is asked to end by itself: a bay whose laptop falls
// asleep in the middle of an entry keeps no other one waiting.
func (p *postgresAddress) limits(wait time.Duration) {
	ms := func(d time.Duration) string { return strconv.FormatInt(d.Milliseconds(), 10) }
	for name, value := range map[string]string{
		"search_path":                         p.schema,
		"client_encoding":                     "UTF8",
		"lock_timeout":                        ms(wait),
		"statement_timeout":                   ms(wait + statementWithin),
		"idle_in_transaction_session_timeout": ms(max(wait, 5*time.Second)),
	} {
		p.config.RuntimeParams[name] = value
	}
	if p.config.RuntimeParams["application_name"] == "" {
		p.config.RuntimeParams["application_name"] = "leakback"
	}
	if p.config.ConnectTimeout == 0 {
		p.config.ConnectTimeout = reachWithin
		d := &net.Dialer{Timeout: reachWithin, KeepAliveConfig: net.KeepAliveConfig{
			Enable: true, Idle: 10 * time.Second, Interval: 5 * time.Second, Count: 3}}
		p.config.DialFunc = d.DialContext
	}
}

// openPostgres opens the logbook in a database, or makes its tables.
func openPostgres(ctx context.Context, address string, o Options) (*Book, error) {
	p, err := parsePostgres(address)
	if err != nil {
		return nil, err
	}
	p.limits(o.Wait)
	db := stdlib.OpenDB(*p.config, stdlib.OptionAfterConnect(durable))
	limit(db)
	b := &Book{db: db, dialect: postgresDialect, address: p.shown, readOnly: o.ReadOnly, wait: o.Wait}
	if err := b.connect(ctx, p, o); err != nil {
		db.Close()
		return nil, b.explain(err)
	}
	return b, nil
}

// durable has a commit answered when it is on the disk, on servers where that is
// switched off.
func durable(ctx context.Context, conn *pgx.Conn) error {
	_, err := conn.Exec(ctx, "SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'")
	return err
}

func (b *Book) connect(ctx context.Context, p *postgresAddress, o Options) error {
	within := p.config.ConnectTimeout + time.Second
	var v int64
	err := b.within(ctx, within, func(ctx context.Context) (err error) {
		v, err = b.inspect(ctx, p.schema)
		return err
	})
	switch {
	case err != nil:
		return err
	case v < wholeVersion && (o.ReadOnly || o.MustExist):
		return &Error{Kind: Missing, Path: b.address, Detail: "there is no logbook in this database", err: fs.ErrNotExist,
			hint: "look at the address; a logbook begins with the first test that is recorded"}
	case v >= wholeVersion:
		if err := fitting(b.address, v, o.ReadOnly); err != nil {
			return err
		}
	}
	if o.ReadOnly {
		return nil
	}
	return b.within(ctx, o.Wait+statementWithin, func(ctx context.Context) error {
		if v < newestVersion {
			if err := b.makeTables(ctx, p.schema); err != nil {
				return err
			}
		}
		// This changes nothing, and needs to be able to.
		_, err = b.db.ExecContext(ctx, "UPDATE tests SET number = number WHERE id = ''")
		return err
	})
}

// inspect is the version of the logbook's tables, 0 where there are none.
func (b *Book) inspect(ctx context.Context, schema string) (int64, error) {
	var encoding string
	var usable sql.NullBool
	var there bool
	err := b.starting(ctx, func() error {
		return b.db.QueryRowContext(ctx, `SELECT current_setting('server_encoding'),
			(SELECT has_schema_privilege(oid, 'USAGE') FROM pg_namespace WHERE nspname = $1),
			EXISTS (SELECT FROM pg_class c JOIN pg_namespace n ON n.oid = c.relnamespace WHERE n.nspname = $1 AND c.relname = $2)`,
			schema, versionTable).Scan(&encoding, &usable, &there)
	})
	switch {
	case err != nil:
		return 0, err
	case encoding != "UTF8":
		return 0, &Error{Kind: Unreachable, Path: b.address, Detail: "the database keeps texts as " + encoding + ", expected UTF8",
			hint: "make one with: createdb --encoding=UTF8 --template=template0 NAME"}
	case usable.Valid && !usable.Bool:
		return 0, forbidden(b.address, "permission denied for schema "+schema, nil)
	case !there:
		return 0, nil
	}
	return version(ctx, b.db)
}

// starting waits while the server says that it is starting, and for nothing else.
func (b *Book) starting(ctx context.Context, try func() error) error {
	for {
		err := try()
		if sqlState(err) != "57P03" { // cannot_connect_now
			return err
		}
		select {
		case <-ctx.Done():
			return err
		case <-time.After(100 * time.Millisecond):
		}
	}
}

// makeTables migrates, one program at a time.
func (b *Book) makeTables(ctx context.Context, schema string) (err error) {
	conn, err := b.db.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	lock := fmt.Sprintf("(%d, hashtext($1))", lockSpace+1)
	if _, err := conn.ExecContext(ctx, "SELECT pg_advisory_lock"+lock, schema); err != nil {
		return err
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock"+lock, schema)
	var there bool
	err = conn.QueryRowContext(ctx, "SELECT EXISTS (SELECT FROM pg_namespace WHERE nspname = $1)", schema).Scan(&there)
	if err == nil && !there { // whoever may not make one may use one that is there
		_, err = conn.ExecContext(ctx, "CREATE SCHEMA "+schema)
	}
	if err != nil {
		return err
	}
	return migrate(ctx, b.db, postgresDialect)
}

// postgresBackup copies a server's logbook into a file of its own.
func postgresBackup(ctx context.Context, b *Book, path string) error {
	if err := os.Remove(path); err != nil { // it is empty, and ours
		return unreachable(path, err)
	}
	file, err := openSQLite(ctx, path, Options{Wait: DefaultWait})
	if err != nil {
		return err
	}
	defer file.Close()
	copied, err := Copy(ctx, b, file, nil)
	if err == nil && len(copied.Refused) > 0 {
		err = b.damaged(copied.Refused[0].String(), nil)
	}
	return errors.Join(err, file.Close())
}
