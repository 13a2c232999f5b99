package page_test

import (
	"context"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

// residentCases is how many cases stand in the store before the server starts; times DOWNDROP_DEEP,
// so DOWNDROP_DEEP=200 is the store of a large shop after years: a hundred thousand.
const residentCases = 500

// unitsOfCases is how many cases there are to each unit that a shop has had.
const unitsOfCases = 10

// largeStore is a store filled once and kept in the temporary folder.
func largeStore(b *testing.B, howMany int) string {
	b.Helper()
	path := filepath.Join(os.TempDir(), fmt.Sprintf("downdrop-resident-%d-schema%d.db", howMany, sqlstore.SchemaNow))
	ctx := b.Context()
	s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "quarry"})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	n, err := s.Count(ctx)
	if err != nil {
		b.Fatal(err)
	}
	if n == 0 {
		if _, err := s.Import(ctx, storetest.Invented("quarry", howMany, 1)); err != nil {
			b.Fatal(err)
		}
	}
	units, err := s.Subjects(ctx, cases.AboutUnit)
	if err != nil {
		b.Fatal(err)
	}
	if len(units) == 0 {
		receiveUnits(b, s, howMany/unitsOfCases)
	}
	return path
}

// receiveUnits brings so many units in, of which one in twenty stays in the shop.
func receiveUnits(b *testing.B, s *sqlstore.Store, howMany int) {
	b.Helper()
	ctx := context.Background()
	day := time.Date(2032, 3, 1, 6, 0, 0, 0, time.UTC)
	var drafts []cases.Draft
	for i := range howMany {
		u := cases.Unit{Type: fmt.Sprint("invented type ", i%7), Serial: fmt.Sprintf("R%05d", i)}
		list := []cases.Draft{cases.Say(cases.KindReceived, cases.Receipt{Unit: u, Complaint: "silent since the storm"}), cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed})}
		if i%20 > 0 {
			list = append(list, cases.Say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Why: "tested", Verdict: cases.UnitBad}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopInRepair, Why: "agreed"}),
				cases.Say(cases.KindMoved, cases.Move{To: cases.ShopInTest, Why: "repaired"}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopReleased, Why: "passed"}))
		}
		for n, d := range list {
			d.ID, d.Subject, d.At = fmt.Sprintf("resident-%d-%d", i, n), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}, day.Add(time.Duration(i+n)*time.Minute)
			drafts = append(drafts, d)
		}
		if len(drafts) > 600 || i == howMany-1 {
			if _, err := s.Append(ctx, drafts...); err != nil {
				b.Fatal(err)
			}
			drafts = nil
		}
	}
}

// How much memory the built program holds at most (VmHWM) with a large store, after the first page, the
// lists, searches, two hundred open cases with an answer each, the pages of a case and of units. At a
// hundred thousand cases 96 MiB are the bound:
//
//	DOWNDROP_DEEP=200 go test -run NONE -bench LargeStoreResident -benchtime 1x -timeout 60m ./cmd/internal/page
func BenchmarkLargeStoreResident(b *testing.B) {
	if runtime.GOOS != "linux" {
		b.Skip("the system does not say what a program holds")
	}
	s := serve(b, largeStore(b, support.Deep(b, residentCases)))
	pid := s.PID()
	get := func(path string) string {
		b.Helper()
		status, body := s.get(path)
		if status != http.StatusOK {
			b.Fatalf("%s: %d", path, status)
		}
		return body
	}
	for b.Loop() {
		get("/")
		b.ReportMetric(resident(b, pid), "MiB/first-page")
		for range 10 {
			for _, find := range []string{"storm", "storm kiln", "torm", "q", "a", "xyzzy", "night crane fuse", "Orsk", "W-123456", "unit dead"} {
				get("/?find=" + url.QueryEscape(find))
			}
			get("/")
		}
		b.ReportMetric(resident(b, pid), "MiB/searches")
		var codes []string
		for i := range open {
			codes = append(codes, s.open(url.Values{"location": {"Invented Yard"}, "serial": {fmt.Sprintf("A%07d", i)}, "type": {"bus unit A"}, "story": {[]string{fieldStory, "operator on the phone, 5 dead, 1-4 good", "technician at the bench, drop dead"}[i%3]}}))
		}
		for i, code := range codes {
			if status, _ := s.say(get("/case/"+code), []string{"power light dark", "run light dark", "I have a multimeter"}[i%3]); status != http.StatusOK {
				b.Fatalf("an answer: %d", status)
			}
		}
		b.ReportMetric(resident(b, pid), "MiB/answers")
		for _, code := range codes[:12] {
			s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(b)}})
			for _, page := range []string{"", "?say=else", "/causes", "/summary", "/close", "/hand-over", "/diagnosis.json", "/case.json"} {
				get("/case/" + code + page)
			}
			s.get("/case/" + code + "/chart") // a busy machine may refuse one that takes too long
		}
		b.ReportMetric(resident(b, pid), "MiB/pages")
		for i := range 3 {
			get("/shop?find=" + fmt.Sprintf("R0%d", i))
			get("/unit?of=" + url.QueryEscape(cases.UnitKey(cases.Unit{Type: fmt.Sprint("invented type ", i%7), Serial: fmt.Sprintf("R%05d", i)})))
		}
		b.ReportMetric(resident(b, pid), "MiB/units")
		s.severalAtOnce(codes)
		b.ReportMetric(resident(b, pid), "MiB/several-at-once")
		b.ReportMetric(rested(pid), "MiB/at-the-end")
		for _, code := range codes { // the next run finds the store as this one did
			s.post("/case/"+code+"/close", url.Values{"form": {newForm()}, "cause": {"supply_fuse_blown"}, "how": {"the measuring is over"}, "outcome": {"fixed"}})
		}
	}
}

// severalAtOnce has six people search and look at cases at the same time.
func (s *served) severalAtOnce(codes []string) {
	var people sync.WaitGroup
	for person := range 6 {
		people.Go(func() {
			for i := range 6 {
				code := codes[(person*6+i)%len(codes)]
				for _, path := range []string{"/", "/?find=storm", "/?find=torm", "/?find=q", "/?find=night+crane", "/case/" + code, "/case/" + code + "/causes"} {
					r, err := s.http.Get(s.At + path)
					if err != nil {
						s.t.Error(err)
						return
					}
					if status, _ := text(s.t, r); status != http.StatusOK {
						s.t.Errorf("%s: %d", path, status)
					}
				}
			}
		})
	}
	people.Wait()
}

// rested is what a process holds now, in MiB.
func rested(pid int) float64 {
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/statm", pid))
	if err != nil {
		return 0
	}
	var size, held float64
	if _, err := fmt.Fscan(strings.NewReader(string(text)), &size, &held); err != nil {
		return 0
	}
	return held * float64(os.Getpagesize()) / (1 << 20)
}
