package cases_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

var update = flag.Bool("update", false, "write the example cases anew")

const closedFolder = "examples/closed/"

// closedReader makes the events of examples/closed/closed.txt, which says how it is written.
type closedReader struct {
	base  *rulebase.Base
	line  int
	at    time.Time
	where cases.Circumstances
	after string
	seen  map[string]string // the last entry of a symptom
	n     int
	out   []cases.Draft
	about cases.Subject
}

func readClosed(t testing.TB, base *rulebase.Base) []cases.Draft {
	t.Helper()
	text, err := os.ReadFile(closedFolder + "closed.txt")
	if err != nil {
		t.Fatal(err)
	}
	r := &closedReader{base: base, at: time.Date(2031, 4, 1, 7, 0, 0, 0, time.UTC)}
	for line := range strings.Lines(string(text)) {
		r.line++
		line, _, _ = strings.Cut(line, "#")
		if line = strings.TrimSpace(line); line == "" {
			continue
		}
		if err := r.read(line); err != nil {
			t.Fatalf("%sclosed.txt:%d: %v", closedFolder, r.line, err)
		}
	}
	return r.out
}

func (r *closedReader) say(kind cases.Kind, body any) string {
	r.n++
	r.at = r.at.Add(3 * time.Minute)
	id := fmt.Sprintf("%s-%02d", r.about.ID, r.n)
	r.out = append(r.out, cases.Draft{ID: id, Subject: r.about, Kind: kind, Version: 1, At: r.at, Place: r.where.At, Program: "example", Body: cases.Body(body)})
	return id
}

func (r *closedReader) read(line string) error {
	word, rest, _ := strings.Cut(line, " ")
	switch word {
	case "case":
		return r.open(rest)
	case "given":
		id, value, _ := strings.Cut(rest, " ")
		v, err := r.base.ReadGiven(id + "=" + value)
		if err != nil {
			return err
		}
		r.say(cases.KindGiven, cases.GivenBody{ID: id, Value: bodyOf(v.Value)})
	case "at":
		place, who, _ := strings.Cut(rest, " ")
		r.where.At, r.where.Who = rulebase.Place(place), who
		r.say(cases.KindSituation, r.where)
	case "see":
		id, value, _ := strings.Cut(rest, " ")
		f, err := r.base.ReadSee(id + "=" + value)
		if err != nil {
			return err
		}
		r.seen[id] = r.say(cases.KindFinding, cases.FindingBody{Symptom: id, Value: bodyOf(f.Value), Sure: f.Sure, At: r.where.At, After: r.after, Read: f.Read})
	case "back":
		r.say(cases.KindTakenBack, cases.Reason{Why: "heard wrong"})
		r.out[len(r.out)-1].Corrects = r.seen[rest]
	case "done":
		id, drop, _ := strings.Cut(rest, " ")
		if ref, ok := r.base.Lookup(id); !ok || ref.Kind != rulebase.KindTest && ref.Kind != rulebase.KindRemedy {
			return fmt.Errorf("%s is no step", id)
		}
		now := rulebase.DropNow(drop)
		if drop == "not_tried" {
			now = ""
		}
		r.say(cases.KindDone, cases.DoneBody{ID: id, Drop: now})
		r.after = id
	case "closed":
		return r.closed(rest)
	default:
		return fmt.Errorf("%q begins no line", word)
	}
	return nil
}

func bodyOf(v rulebase.Value) cases.ValueBody {
	b := cases.ValueBody{Word: v.Word}
	if v.IsNumber {
		b.Number = &v.Number
	}
	return b
}

func (r *closedReader) open(rest string) error {
	f := strings.Split(rest, "|")
	if len(f) != 6 {
		return fmt.Errorf("%d parts, not 6", len(f))
	}
	for i := range f {
		f[i] = strings.TrimSpace(f[i])
	}
	drop, err := strconv.Atoi(f[2])
	if err != nil {
		return err
	}
	typ, serial, _ := strings.Cut(f[3], ", ")
	place, who, _ := strings.Cut(f[4], " ")
	r.about = cases.Subject{Kind: cases.AboutCase, ID: f[0]}
	r.n, r.after, r.seen = 0, "", map[string]string{}
	r.at = r.at.Add(26 * time.Hour)
	r.where = cases.Circumstances{At: rulebase.Place(place), Who: who, Drop: drop}
	r.say(cases.KindOpened, cases.Opening{Code: cases.NewCode(uint64(len(r.out)) * 7919), Location: f[1], Drop: drop, Unit: cases.Unit{Type: typ, Serial: serial}, Complaint: f[5]})
	r.say(cases.KindSituation, r.where)
	return nil
}

func (r *closedReader) closed(rest string) error {
	what, how, _ := strings.Cut(rest, "|")
	f := strings.Fields(what)
	if len(f) != 3 || !slices.Contains(cases.Outcomes, f[1]) || !slices.Contains(cases.UnitVerdicts, f[2]) {
		return fmt.Errorf("%q is no closing", what)
	}
	causes := strings.Split(f[0], ",")
	for _, c := range causes {
		if ref, ok := r.base.Lookup(c); !ok || ref.Kind != rulebase.KindCause {
			return fmt.Errorf("%s is no cause", c)
		}
	}
	r.say(cases.KindClosed, cases.Closing{Causes: causes, How: strings.TrimSpace(how), Outcome: f[1], UnitVerdict: f[2]})
	return nil
}

// closedCases are the example cases, read from what ships.
func closedCases(t testing.TB) []*cases.Case {
	t.Helper()
	text, err := os.ReadFile(closedFolder + "closed.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	all, err := cases.ExportedCases(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// What ships is what the readable text says, and only words of the shipped rulebase.
func TestClosedExamplesAreAsWritten(t *testing.T) {
	base := shipped.Base(t)
	m := storetest.NewModel("example")
	if _, err := m.Append(context.Background(), readClosed(t, base)...); err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if _, err := cases.Export(context.Background(), m, &b, cases.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	if *update {
		if err := os.WriteFile(closedFolder+"closed.jsonl", b.Bytes(), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(closedFolder + "closed.jsonl")
	if err != nil || !bytes.Equal(want, b.Bytes()) {
		t.Errorf("closed.jsonl is not what closed.txt says (%v): go test ./cases -run ClosedExamples -update", err)
	}
	all := closedCases(t)
	if len(all) < 36 {
		t.Errorf("%d cases", len(all))
	}
	causes := map[string]bool{}
	for _, c := range all {
		if c.State != cases.StateClosed || len(c.Unknown) > 0 {
			t.Errorf("%s: %s, %d entries cannot be read", c.ID, c.State, len(c.Unknown))
		}
		for _, id := range c.Closing.Causes {
			causes[id] = true
		}
	}
	if len(causes) < 30 {
		t.Errorf("%d causes", len(causes))
	}
}

// The floors of the shipped rulebase over the example cases, which mislead here and there
// as calls do. Whoever changes knowledge and falls below looks at the cases, and at
// what became worse: downdrop replay cases/examples/closed/closed.jsonl --against OLD.
const (
	floorFirst   = 0.75
	floorInThree = 0.85
	ceilingLog   = 0.9 // nats
)

// keepsFloors says what a rulebase falls short of over the example cases; "" nothing.
func keepsFloors(t *testing.T, base *rulebase.Base) string {
	t.Helper()
	p := engine.Prepare(base)
	var all []*cases.Replayed
	for _, c := range closedCases(t) {
		r, err := cases.Replay(context.Background(), p, c)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, r)
		t.Logf("%-10s %-28s rank %2d, first %.2f, true %.3f, known from %d of %d", r.ID, strings.Join(r.Causes, "+"), r.Last(), r.First, r.True, r.KnownFrom, len(r.Ranks)-1)
	}
	s := sumOf(all)
	if s.First == s.Cases {
		t.Error("a list of cases in which nothing misleads shows nothing")
	}
	n := float64(s.Cases)
	if first, three := float64(s.First)/n, float64(s.InThree)/n; first < floorFirst || three < floorInThree || s.Log > ceilingLog || s.Unknown > 0 {
		return fmt.Sprintf("first in %.2f, in three in %.2f, log score %.2f, %d unknown", first, three, s.Log, s.Unknown)
	}
	return ""
}

func TestShippedRulebaseOverClosedCases(t *testing.T) {
	base := shipped.Base(t)
	if says := keepsFloors(t, base); says != "" {
		t.Error(says)
	}
}

// The floors can fail: without what one group of symptoms shows the same rulebase falls short of them.
func TestFloorsCanFail(t *testing.T) {
	base := shipped.Base(t)
	dull := *base
	dull.Symptoms = slices.Clone(base.Symptoms)
	for i := range dull.Symptoms {
		if s := &dull.Symptoms[i]; i%4 == 0 && i != base.Complaint.Symptom {
			s.Shows, s.Weighs = nil, false
		}
	}
	if says := keepsFloors(t, &dull); says == "" {
		t.Error("a quarter of the symptoms says nothing any more, and every floor is kept")
	}
}
