package page

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
)

// tornStore is a store whose events cannot be read any more once its case was found.
type tornStore struct {
	cases.Store
	torn bool
}

func (s *tornStore) Events(ctx context.Context, subject cases.Subject) ([]cases.Event, error) {
	if s.torn {
		return nil, errors.New("the disk is gone")
	}
	return s.Store.Events(ctx, subject)
}

// A file that cannot be sent to its end does not come as if it were whole.
func TestAFileThatIsCutOffDoesNotArrive(t *testing.T) {
	store := &tornStore{Store: storetest.NewModel("mill")}
	d := cases.Say(cases.KindOpened, cases.Opening{})
	d.ID, d.Subject, d.At = "e", cases.Subject{Kind: cases.AboutCase, ID: "c"}, time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	if _, err := store.Append(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	s := New(Options{Store: store, Now: time.Now, NewID: func() string { return "n" }, Log: slog.New(slog.DiscardHandler)})
	mux := http.NewServeMux()
	mux.HandleFunc("GET /case/{code}/case.jsonl", func(w http.ResponseWriter, r *http.Request) {
		defer s.catch(w, r)
		s.answering(s.whole).ServeHTTP(w, r)
	})
	server := httptest.NewServer(mux)
	defer server.Close()
	for _, store.torn = range []bool{false, true} {
		r, err := http.Get(server.URL + "/case/c/case.jsonl")
		if err == nil {
			_, err = io.Copy(io.Discard, r.Body)
			r.Body.Close()
		}
		if (err != nil) != store.torn {
			t.Errorf("torn %v: %v", store.torn, err)
		}
	}
}

// A file of a case is named by a code of ours, and by nothing else that another site may have put there.
func TestFilesAreNamedByCodes(t *testing.T) {
	code := cases.NewCode(20261126)
	for is, want := range map[string]string{code: code + ".html", "": "case.html", code + "\r\nX: y": "case.html", "../" + code: "case.html", `a"; filename="b`: "case.html"} {
		if got := fileOf(&cases.Case{Code: is}, ".html"); got != want {
			t.Errorf("of %q the file is %q", is, got)
		}
	}
}
