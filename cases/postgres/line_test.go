package postgres_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/jackc/pgx/v5"

	"downdrop/cases"
	"downdrop/cases/postgres"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

// A line stands between a store and the server. It breaks, and stays broken, when a message of the store holds a
// certain text.
type line struct {
	network, server string
	mu              sync.Mutex
	breaks          string // ""; it is whole
	broken          bool
}

// arm has the line break at a text; fired mends it, and says whether it broke.
func (l *line) arm(text string) { l.mu.Lock(); l.breaks, l.broken = text, false; l.mu.Unlock() }

func (l *line) fired() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	fired := l.broken
	l.breaks, l.broken = "", false
	return fired
}

// lets says whether a message goes through.
func (l *line) lets(message []byte) bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.broken = l.broken || l.breaks != "" && bytes.Contains(message, []byte(l.breaks))
	return !l.broken
}

// carry takes what a client says, message by message, to the server, and the answers back.
func (l *line) carry(client net.Conn) {
	defer client.Close()
	server, err := net.Dial(l.network, l.server)
	if err != nil {
		return
	}
	defer server.Close()
	go func() { _, _ = io.Copy(client, server); client.Close() }()
	kind := 0 // the first message has no letter for its kind
	for {
		head := make([]byte, kind+4)
		if _, err := io.ReadFull(client, head); err != nil {
			return
		}
		body := make([]byte, binary.BigEndian.Uint32(head[kind:])-4)
		if _, err := io.ReadFull(client, body); err != nil || !l.lets(body) {
			return
		}
		if _, err := server.Write(append(head, body...)); err != nil {
			return
		}
		kind = 1
	}
}

// lined gives the URL of a place in the test server that is reached by a line.
func lined(t *testing.T) (*line, string) {
	t.Helper()
	where := fresh(t)
	config, err := pgx.ParseConfig(where)
	if err != nil {
		t.Fatal(err)
	}
	l := &line{network: "tcp", server: net.JoinHostPort(config.Host, fmt.Sprint(config.Port))}
	if strings.HasPrefix(config.Host, "/") {
		l.network, l.server = "unix", filepath.Join(config.Host, fmt.Sprintf(".s.PGSQL.%d", config.Port))
	}
	end, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { end.Close() })
	go func() {
		for {
			client, err := end.Accept()
			if err != nil {
				return
			}
			go l.carry(client)
		}
	}()
	u, err := url.Parse(where)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Del("host")
	q.Del("port")
	q.Set("sslmode", "disable")
	u.Host, u.RawQuery = end.Addr().String(), q.Encode()
	return l, u.String()
}

// F14: the line breaks while an older store is copied aside and brought up, or while a name is forgotten: that is told,
// the store is as it was, and done again it is done.
func TestF14LineBreaks(t *testing.T) {
	l, where := lined(t)
	u, err := url.Parse(where)
	if err != nil {
		t.Fatal(err)
	}
	old, err := os.ReadFile("testdata/schema1.sql")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := server(t).Exec(strings.ReplaceAll(string(old), "SCHEMA_NAME", u.Query().Get("search_path"))); err != nil {
		t.Fatal(err)
	}
	for _, at := range []string{"to_char(now()", "begin isolation level", "string_agg", "CREATE SCHEMA", "pg_advisory_xact_lock", "DELETE FROM summaries"} {
		l.arm(at)
		s, err := postgres.Open(ctx, where, sqlstore.Options{})
		if err == nil {
			s.Close()
		}
		if !l.fired() || !errors.Is(err, cases.ErrUnavailable) {
			t.Errorf("it breaks at %s: %v", at, err)
		}
	}
	s, err := postgres.Open(ctx, where, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	want, err := os.ReadFile("../sqlite/testdata/filled.jsonl")
	if err != nil || storetest.Exported(t, s) != string(want) {
		t.Errorf("it says something else afterwards: %v", err)
	}
	for _, at := range []string{"lock_timeout", "VACUUM"} {
		l.arm(at)
		err := s.SetName(ctx, "p3", "")
		if !l.fired() || !errors.Is(err, cases.ErrUnavailable) {
			t.Errorf("it breaks at %s: %v", at, err)
		}
	}
	if err := s.SetName(ctx, "p3", ""); err != nil {
		t.Error(err)
	}
	l.arm("FROM meta")
	if _, err := postgres.Look(ctx, where, sqlstore.Options{}); !l.fired() || !errors.Is(err, cases.ErrUnavailable) {
		t.Errorf("looked at: %v", err)
	}
}

// A store may be looked at that is there, and whoever may not use its schema is told.
func TestLookedAt(t *testing.T) {
	where := fresh(t)
	s, err := postgres.Open(ctx, where, sqlstore.Options{Site: "quarry"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Import(ctx, storetest.Invented("quarry", 1, 1)); err != nil {
		t.Fatal(err)
	}
	looked, err := postgres.Look(ctx, where, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer looked.Close()
	if got := storetest.Exported(t, looked); got != storetest.Exported(t, s) || looked.SetName(ctx, "p", "x") == nil {
		t.Errorf("it is looked at as\n%s", got)
	}
	if _, err := postgres.Look(ctx, "postgres://%zz", sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) {
		t.Errorf("an address that is none: %v", err)
	}

	u, err := url.Parse(where)
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	role := q.Get("search_path") + "_visitor"
	db := server(t)
	if _, err := db.Exec(`CREATE ROLE ` + role); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal("in CI this user has to be able to make another: ", err)
		}
		t.Skip("this user may make no other: ", err)
	}
	t.Cleanup(func() { _, _ = server(t).Exec(`DROP ROLE ` + role) })
	q.Set("options", "-c role="+role)
	u.RawQuery = strings.ReplaceAll(q.Encode(), "+", "%20")
	if _, err := postgres.Open(ctx, u.String(), sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "may not use the schema") {
		t.Errorf("a visitor: %v", err)
	}
}
