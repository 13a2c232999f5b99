package postgres_test

import (
	"errors"
	"io"
	"net"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cases/postgres"
	"downdrop/cases/sqlstore"
)

// What the server has against an entry comes with a code, and is told as what it means; nothing
// of the entry is kept.
func TestCodesOfTheServer(t *testing.T) {
	where := fresh(t)
	s, err := postgres.Open(ctx, where, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	db := server(t)
	schema := where[strings.Index(where, "search_path=")+len("search_path="):]
	schema, _, _ = strings.Cut(schema, "&")
	for code, c := range map[string]struct {
		kind error
		says string
	}{
		"28000": {cases.ErrUnavailable, "does not let this user in"},
		"53100": {cases.ErrUnavailable, "no room left"},
		"XX001": {cases.ErrIntegrity, "storage damaged"},
		"42501": {cases.ErrUnavailable, "may not be written"},
		"40001": {cases.ErrUnavailable, "Try again"},
		"08006": {cases.ErrUnavailable, "Try again"},
	} {
		if _, err := db.Exec(`CREATE OR REPLACE FUNCTION ` + schema + `.fails() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'made to fail' USING ERRCODE = '` + code + `'; END $$;
			CREATE OR REPLACE TRIGGER fails BEFORE INSERT ON ` + schema + `.events EXECUTE FUNCTION ` + schema + `.fails()`); err != nil {
			t.Fatal(err)
		}
		d := cases.Say(cases.KindNote, cases.Note{Text: "an entry"})
		d.ID, d.Subject = "n"+strings.ToLower(code), cases.Subject{Kind: cases.AboutCase, ID: "c1"}
		_, err := s.Append(ctx, d)
		if !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), "made to fail") {
			t.Errorf("%s: %v", code, err)
		}
	}
	if _, err := db.Exec(`DROP TRIGGER fails ON ` + schema + `.events`); err != nil {
		t.Fatal(err)
	}
	if n, err := s.Count(ctx); err != nil || n != 0 {
		t.Errorf("%d events, %v", n, err)
	}
}

// Whatever answers in the server's place, a refusal without a code or half an answer, is told.
func TestWhatIsNoServer(t *testing.T) {
	for name, answer := range map[string]string{
		"a refusal without a code": "E\x00\x00\x00\x12SFATAL\x00Mgone\x00\x00",
		"half an answer":           "E\x00\x00\x00\x13SFA",
		"another protocol":         "HTTP/1.1 400 Bad Request\r\n\r\n",
		"nothing":                  "",
	} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			for {
				c, err := l.Accept()
				if err != nil {
					return
				}
				_, _ = c.Read(make([]byte, 1000)) // what the client begins with
				_, _ = io.WriteString(c, answer)
				c.Close()
			}
		}()
		s, err := postgres.Open(ctx, "postgres://somebody@"+l.Addr().String()+"/cases?sslmode=disable", sqlstore.Options{})
		if err == nil {
			s.Close()
		}
		if !errors.Is(err, cases.ErrUnavailable) {
			t.Errorf("%s: %v", name, err)
		}
		l.Close()
	}
}
