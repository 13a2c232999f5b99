package page_test

import (
	"context"
	"fmt"
	"html"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/cookiejar"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cmd/internal/page"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// A countingStore counts the units that are read; forgetful it cannot say what changed.
type countingStore struct {
	cases.Store
	units     int
	forgetful bool
}

func (c *countingStore) Events(ctx context.Context, about cases.Subject) ([]cases.Event, error) {
	if about.Kind == cases.AboutUnit {
		c.units++
	}
	return c.Store.Events(ctx, about)
}

func (c *countingStore) Changed(ctx context.Context, kind cases.SubjectKind, since cases.Mark) ([]string, cases.Mark, bool, error) {
	if c.forgetful {
		return nil, cases.Mark{}, false, nil
	}
	return c.Store.(cases.Changing).Changed(ctx, kind, since)
}

// A shopDesk is the page of the shop over a store, asked in this process.
type shopDesk struct {
	t    *testing.T
	s    *countingStore
	at   string
	http *http.Client
}

var shelfNow = time.Date(2032, 3, 1, 6, 0, 0, 0, time.UTC)

func newShopDesk(t *testing.T) *shopDesk {
	t.Helper()
	store, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "cases.db"), sqlstore.Options{Site: "quarry"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { store.Close() })
	d := &shopDesk{t: t, s: &countingStore{Store: store}}
	var handler http.Handler
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { handler.ServeHTTP(w, r) }))
	t.Cleanup(server.Close)
	p := page.New(page.Options{Base: &rulebase.Base{}, Store: d.s, Now: func() time.Time { return shelfNow }, NewID: newForm, Hosts: []string{strings.TrimPrefix(server.URL, "http://")}, Log: slog.New(slog.DiscardHandler)})
	handler, d.at = p, server.URL
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	d.http = &http.Client{Jar: jar}
	way, err := url.Parse(p.Link())
	if err != nil {
		t.Fatal(err)
	}
	r, err := d.http.PostForm(d.at+"/enter", url.Values{"key": {way.Query().Get("key")}})
	if err != nil {
		t.Fatal(err)
	}
	r.Body.Close()
	return d
}

func (d *shopDesk) get(path string) string {
	d.t.Helper()
	r, err := d.http.Get(d.at + path)
	if err != nil {
		d.t.Fatal(err)
	}
	status, body := text(d.t, r)
	if status != http.StatusOK {
		d.t.Fatalf("%s: %d\n%s", path, status, body)
	}
	return html.UnescapeString(body)
}

func (d *shopDesk) write(u cases.Unit, drafts ...cases.Draft) {
	d.t.Helper()
	for i := range drafts {
		drafts[i].ID, drafts[i].Subject, drafts[i].At = newForm(), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}, shelfNow
		shelfNow = shelfNow.Add(time.Minute)
	}
	if _, err := d.s.Append(d.t.Context(), drafts...); err != nil {
		d.t.Fatal(err)
	}
}

var unitRowRE = regexp.MustCompile(`<a class="case" href="/unit\?of=[^"]*"><span class="tag">[^<]*</span> <span>([^<]*)</span></a>`)

// rows are the units that a page lists, as it says them.
func rows(body string) []string {
	var out []string
	for _, m := range unitRowRE.FindAllStringSubmatch(body, -1) {
		out = append(out, m[1])
	}
	return out
}

// slowRows are the units in the house, every event of the store read anew.
func (d *shopDesk) slowRows(state cases.ShopState) []string {
	d.t.Helper()
	var list []*cases.Card
	if err := cases.Units(d.t.Context(), d.s.Store, func(c *cases.Card) error {
		if c.State().InShop() && (state == "" || c.State() == state) {
			list = append(list, c)
		}
		return nil
	}); err != nil {
		d.t.Fatal(err)
	}
	report.SortUnits(list)
	var out []string
	for _, c := range list {
		out = append(out, report.UnitOfList(c, shelfNow))
	}
	return out
}

// Whatever is written, by whomever, the list that is kept between two requests is that of a store read anew;
// and a store that cannot tell what changed is listed as well.
func TestTheListOfTheShopIsThatOfTheStore(t *testing.T) {
	d := newShopDesk(t)
	r := rand.New(rand.NewPCG(26, 11))
	for round := range support.Deep(t, 40) {
		for range r.IntN(4) {
			u := cases.Unit{Type: "invented type", Serial: fmt.Sprint("R", r.IntN(12))}
			c, err := cases.ReadUnit(t.Context(), d.s.Store, cases.UnitKey(u))
			switch {
			case err != nil || c.MayCome():
				d.write(u, cases.Say(cases.KindReceived, cases.Receipt{Unit: u}))
			case r.IntN(4) == 0: // the last entry was wrong
				back := cases.Say(cases.KindTakenBack, cases.Reason{Why: "the wrong unit"})
				back.Corrects = c.Events[len(c.Events)-1].ID
				d.write(u, back)
			case r.IntN(5) == 0:
				d.write(u, cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed}))
			case r.IntN(5) == 0:
				d.write(u, cases.Say(cases.KindOffer, cases.Offer{Until: []string{"2031-01-01", "2099-01-01"}[r.IntN(2)], Ways: []cases.OfferedWay{{Way: "repair"}}}))
				if r.IntN(2) == 0 {
					c, _ = cases.ReadUnit(t.Context(), d.s.Store, c.ID)
					d.write(u, cases.Say(cases.KindAnswer, cases.Answer{Offer: c.Stay().Offer().Event.ID, Way: []string{"", "repair"}[r.IntN(2)]}))
				}
			case r.IntN(9) == 0: // two people at once
				d.write(u, cases.Say(cases.KindMoved, cases.Move{To: c.State(), Why: "drawn"}))
			case len(c.State().MayFollow()) > 0:
				may := c.State().MayFollow()
				d.write(u, cases.Say(cases.KindMoved, cases.Move{To: may[r.IntN(len(may))], Why: "drawn", Verdict: []string{"", cases.UnitGood, cases.UnitBad}[r.IntN(3)]}))
			}
		}
		d.s.forgetful = r.IntN(5) == 0
		if got, want := rows(d.get("/shop")), d.slowRows(""); !slices.Equal(got, want) {
			t.Fatalf("round %d: the page lists\n%q\nand the store holds\n%q", round, got, want)
		}
	}
}

// A list costs what changed since the last one, not what the shop has ever had.
func TestTheListOfTheShopReadsWhatChanged(t *testing.T) {
	d := newShopDesk(t)
	unit := func(i int) cases.Unit { return cases.Unit{Type: "invented type", Serial: fmt.Sprint("R", i)} }
	const units = 60
	for i := range units {
		d.write(unit(i), cases.Say(cases.KindReceived, cases.Receipt{Unit: unit(i)}))
	}
	read := func() int {
		before := d.s.units
		d.get("/shop")
		return d.s.units - before
	}
	if n := read(); n != units {
		t.Errorf("the first list read %d units of %d", n, units)
	}
	if n := read(); n != 0 {
		t.Errorf("nothing was written, and %d units were read", n)
	}
	d.write(unit(7), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopReturned, Why: "as it was"}))
	d.write(unit(8), cases.Say(cases.KindNote, cases.Note{Text: "on the shelf"}))
	if n := read(); n != 2 {
		t.Errorf("two units were written to, and %d were read", n)
	}
}

// However many units are in the house, a page shows few of them, and leads to each of the others once.
func TestTheListOfTheShopIsBounded(t *testing.T) {
	d := newShopDesk(t)
	var drafts []cases.Draft
	for i := range 230 {
		u := cases.Unit{Type: "invented type", Serial: fmt.Sprintf("R%03d", i)}
		draft := cases.Say(cases.KindReceived, cases.Receipt{Unit: u})
		draft.ID, draft.Subject, draft.At = newForm(), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}, shelfNow.Add(-time.Duration(1000-i)*time.Minute)
		drafts = append(drafts, draft)
	}
	if _, err := d.s.Append(t.Context(), drafts...); err != nil {
		t.Fatal(err)
	}
	all := d.slowRows(cases.ShopReceived)
	body := d.get("/shop")
	if got := rows(body); !slices.Equal(got, all[:20]) || !strings.Contains(body, "Received (230)") {
		t.Errorf("the first page lists %d: %q", len(got), got)
	}
	next := regexp.MustCompile(`href="(/shop\?state=[^"]*)">(All of these|The next ones|The ones before)<`)
	way := func(body, says string) string {
		for _, m := range next.FindAllStringSubmatch(body, -1) {
			if m[2] == says {
				return m[1]
			}
		}
		return ""
	}
	var seen []string
	var pages int
	last := ""
	for at := way(body, "All of these"); at != "" && pages < 10; at = way(body, "The next ones") {
		body, last = d.get(at), at
		seen = append(seen, rows(body)...)
		pages++
	}
	if !slices.Equal(seen, all) || pages != 3 {
		t.Errorf("%d pages after %s list %d units of %d", pages, last, len(seen), len(all))
	}
	if !strings.Contains(body, "Shown are 201 to 230 of 230") {
		t.Errorf("the last part does not say which it is")
	}
	back := d.get(way(body, "The ones before"))
	if got := rows(back); !slices.Equal(got, all[100:200]) {
		t.Errorf("the part before lists %d: %q", len(got), got)
	}
	for _, odd := range []string{"from=0", "from=-3", "from=999", "from=x", "from="} {
		if got := rows(d.get("/shop?state=received&" + odd)); !slices.Equal(got, all[:100]) {
			t.Errorf("%s lists %d", odd, len(got))
		}
	}
	if got := rows(d.get("/shop?state=nonsense")); !slices.Equal(got, all[:20]) {
		t.Errorf("a state that there is not lists %d", len(got))
	}
	if body := d.get("/shop?state=in_repair"); len(rows(body)) > 0 || !strings.Contains(body, "No unit is in this state now.") {
		t.Errorf("a state without a unit: %s", body)
	}
}
