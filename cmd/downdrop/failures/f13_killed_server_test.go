//go:build unix

package failures_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/testdata/support"
	"downdrop/testdata/support/built"
)

// inFlight is how many forms are on their way when the server is killed.
const inFlight = 8

// F13: the server is killed while forms are on their way, and each is sent again to the next one
// with the id that its page had: then exactly one entry is kept of it, and one case of one opening.
func TestF13ServerKilledDuringAPost(t *testing.T) {
	t.Parallel() // most of it is waiting
	kills := support.Deep(t, 3)
	store := filepath.Join(t.TempDir(), "cases.db")
	rng := rand.New(rand.NewPCG(13, 13))

	s := built.Serve(t, store)
	c := s.Client()
	codes := make([]string, inFlight)
	for i := range codes {
		_, body, err := post(c, s.At+"/open", url.Values{"form": {fmt.Sprintf("case-%d", i)}, "story": {"technician at the drop, not alone, drop dead"}})
		m := codeRE.FindStringSubmatch(body)
		if err != nil || m == nil {
			t.Fatalf("opening a case: %v", err)
		}
		codes[i] = m[1]
	}
	s.Kill()

	unanswered, opened := 0, 0
	for kill := range kills {
		type form struct {
			path   string
			values url.Values
		}
		forms := make([]form, inFlight)
		for i := range forms {
			id := fmt.Sprintf("f%d-%d", kill, i)
			switch {
			case i == 0:
				forms[i] = form{"/open", url.Values{"form": {id}, "story": {"operator on the phone, drop dead"}}}
				opened++
			case i%2 == 0:
				forms[i] = form{"/case/" + codes[i] + "/note", url.Values{"form": {id}, "text": {"note of " + id}}}
			default:
				forms[i] = form{"/case/" + codes[i] + "/answer", url.Values{"form": {id}, "kind": {"opening"}, "entry": {[]string{"power light dark", "power light lit"}[kill%2]}}}
			}
		}
		s = built.Serve(t, store)
		c = s.Client()
		var sent sync.WaitGroup
		came := make(chan struct{}, inFlight)
		answered := make([]bool, inFlight)
		for i, f := range forms {
			sent.Go(func() {
				status, _, err := post(c, s.At+f.path, f.values)
				answered[i] = err == nil && status == http.StatusOK
				came <- struct{}{}
			})
		}
		for range rng.IntN(inFlight) { // so many are answered, and the next ones are on their way
			<-came
		}
		time.Sleep(time.Duration(rng.IntN(5_000)) * time.Microsecond)
		s.Kill()
		sent.Wait()

		s = built.Serve(t, store)
		c = s.Client()
		for i, f := range forms {
			if !answered[i] {
				unanswered++
			}
			for range 2 { // and a second press
				if status, body, err := post(c, s.At+f.path, f.values); err != nil || status != http.StatusOK {
					t.Fatalf("kill %d: sent again, %s is answered %d %v\n%s", kill, f.path, status, err, body)
				}
			}
		}
		s.Kill()
	}

	kept, err := sqlite.Open(context.Background(), store, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer kept.Close()
	if v, err := kept.Verify(context.Background()); err != nil || len(v.Damage) > 0 {
		t.Fatalf("after %d kills the store is not whole: %v %v", kills, err, v.Damage)
	}
	openings, entries, notes := map[string]int{}, map[string]int{}, map[string]int{}
	for e, err := range kept.All(context.Background()) {
		if err != nil {
			t.Fatal(err)
		}
		switch e.Kind {
		case cases.KindOpened:
			openings[e.ID]++
		case cases.KindTalked:
			entry := strings.Split(e.ID, "-") // KILL-NUMBER-of what it says
			entries[strings.Join(entry[:2], "-")]++
		case cases.KindNote:
			notes[string(e.Body)]++
		}
	}
	if len(openings) != inFlight+opened {
		t.Errorf("%d cases are there of %d openings", len(openings), inFlight+opened)
	}
	for kill := range kills {
		for i := 1; i < inFlight; i++ {
			id := fmt.Sprintf("f%d-%d", kill, i)
			n := entries[id]
			if i%2 == 0 {
				n = 0
				for body, times := range notes {
					if strings.Contains(body, `"note of `+id+`"`) {
						n += times
					}
				}
			}
			if n != 1 {
				t.Errorf("%s was kept %d times", id, n)
			}
		}
	}
	t.Logf("%d kills, %d of %d forms had no answer before the kill", kills, unanswered, kills*inFlight)
	if kills >= 3 && unanswered == 0 {
		t.Error("no kill came while a form was on its way: the test says nothing")
	}
}
