package talk

import (
	"cmp"
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/engine"
	"downdrop/rulebase"
)

// The clock of these tests.
var clock = time.Date(2031, 5, 28, 9, 0, 0, 0, time.FixedZone("", 2*3600))

var packed = sync.OnceValue(func() string {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		panic(err)
	}
	text, err := base.Pack()
	if err != nil {
		panic(err)
	}
	return string(text)
})

// handed is an invented case as another place hands it over.
func handed(t testing.TB, s rulebase.Situation) string { return handedWith(t, s, "") }

// handedWith has the text of the line's sheet with it, one of those that the case names.
func handedWith(t testing.TB, s rulebase.Situation, sheet string, named ...string) string {
	t.Helper()
	var events []cases.Event
	drafts := append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Code: "K7Q4M2", Location: "Invented Yard 7", Drop: 5})}, (&cases.Case{}).Changes(s)...)
	for _, text := range named {
		drafts = append(drafts, cases.Say(cases.KindSituation, cases.Circumstances{At: s.At, Who: s.Who.String(), Drop: s.Drop, SheetFile: fmt.Sprintf("%x", sha256.Sum256([]byte(text)))}))
	}
	head := cases.Head{}
	for i, d := range drafts {
		d.ID, d.Subject, d.At = fmt.Sprintf("home-%d", i), cases.Subject{Kind: cases.AboutCase, ID: "case-1"}, clock
		e, err := cases.Seal(d, "home", head, int64(i)+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	parts, _, err := cases.HandOverText(cases.Fold(events), []byte(sheet), mostParts)
	if err != nil {
		t.Fatal(err)
	}
	return strings.Join(parts, "\n\n")
}

var atDrop = rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Drop: 5, Findings: []rulebase.Finding{{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}}}}

// A phone is a file that somebody opened.
type phone struct {
	*Case
	t    *testing.T
	site string
	now  time.Time
	n    int
}

func opened(t *testing.T, text, site string) *phone {
	t.Helper()
	p := &phone{t: t, site: site, now: clock.Add(time.Hour)}
	c, err := Open(Opening{Base: packed(), Case: text, Site: site, Program: "test"}, func() time.Time { return p.now })
	if err != nil {
		t.Fatal(err)
	}
	p.Case = c
	return p
}

// ask makes a request as the page's script does, as JSON both ways.
func (p *phone) ask(r Request) Reply {
	p.t.Helper()
	if r.Form == "" {
		p.n++
		r.Form = fmt.Sprintf("%s-%d", p.site, p.n)
	}
	text, err := json.Marshal(r)
	if err != nil {
		p.t.Fatal(err)
	}
	var reply Reply
	if err := json.Unmarshal([]byte(p.Do(string(text))), &reply); err != nil {
		p.t.Fatal(err)
	}
	if reply.Schema != Schema {
		p.t.Errorf("schema %q", reply.Schema)
	}
	return reply
}

func (p *phone) must(r Request) Reply {
	p.t.Helper()
	reply := p.ask(r)
	if reply.Error != "" {
		p.t.Fatal(reply.Error)
	}
	return reply
}

func (p *phone) words(text string) Reply {
	p.t.Helper()
	return p.must(Request{Do: "answer", Text: text, About: p.must(Request{Do: "show"}).About})
}

// pass answers what is asked with what passes it over.
func (p *phone) pass() (about string) {
	p.t.Helper()
	v := p.must(Request{Do: "show"})
	for _, says := range []string{"don't know", "skip", "not now"} {
		if slices.ContainsFunc(v.Answers, func(a conversation.Answer) bool { return a.Entry == says }) {
			p.must(Request{Do: "answer", Text: says, Chosen: true, About: v.About})
			return cmp.Or(v.About.ID, string(v.About.Kind))
		}
	}
	p.t.Fatalf("%v cannot be passed over: %v", v.About, v.Answers)
	return ""
}

func (p *phone) text() string { return strings.Join(p.must(Request{Do: "text"}).Parts, "\n\n") }

// stands is the case as whoever reads the hand-over has it.
func (p *phone) stands(text string) *kept.Standing {
	p.t.Helper()
	events, _, err := cases.ReadHandOver(text)
	if err != nil {
		p.t.Fatal(err)
	}
	st, err := kept.Stand(cases.Fold(events), p.talk)
	if err != nil {
		p.t.Fatal(err)
	}
	return st
}

func symptoms(s rulebase.Situation) string {
	var out []string
	for _, f := range s.Findings {
		out = append(out, f.Symptom+"="+f.Value.Word)
	}
	return strings.Join(out, " ")
}

// An entry sent twice is one; taken back it is gone, and nothing of it is deleted.
func TestEntriesAndUndo(t *testing.T) {
	p := opened(t, handed(t, atDrop), "take-a")
	first := p.must(Request{Do: "show"})
	p.must(Request{Do: "answer", Form: "x", Text: "run_light=dark", Chosen: true, About: first.About})
	p.must(Request{Do: "answer", Form: "x", Text: "run_light=dark", Chosen: true, About: first.About})
	if got := symptoms(p.stands(p.text()).Situation); got != "power_light=dark run_light=dark" {
		t.Errorf("said twice it knows %s", got)
	}
	v := p.must(Request{Do: "undo"})
	if !slices.Equal(v.Heard, []string{sayTakenBack}) || v.CanUndo {
		t.Errorf("taking back answers %v, and more can be taken back: %v", v.Heard, v.CanUndo)
	}
	st := p.stands(p.text())
	if got := symptoms(st.Situation); got != "power_light=dark" {
		t.Errorf("taken back it knows %s", got)
	}
	if v.About.Kind != first.About.Kind || v.About.ID != first.About.ID {
		t.Errorf("asked was %v, now %v", first.About, v.About)
	}
	if again := p.ask(Request{Do: "undo"}); again.Error != kept.ErrNoneBefore.Error() {
		t.Errorf("taking back once more says %q", again.Error)
	}
	for i := range st.Case.Events {
		if err := st.Case.Events[i].Check(); err != nil {
			t.Error(err)
		}
	}
}

// What was confirmed lapses after half an hour, and it is said.
func TestConfirmedLapses(t *testing.T) {
	p := opened(t, handed(t, atDrop), "take-a")
	p.words("confirm note_lights_first")
	if got := p.stands(p.text()).Situation.Confirmed; !slices.Equal(got, []string{"note_lights_first"}) {
		t.Fatalf("confirmed is %v", got)
	}
	before := p.must(Request{Do: "show"}).Notices
	p.now = p.now.Add(conversation.ConfirmedFor + time.Minute)
	if v := p.must(Request{Do: "show"}); len(v.Notices) <= len(before) {
		t.Errorf("half an hour later is said: %v", v.Notices)
	}
	if got := p.stands(p.text()).Situation.Confirmed; len(got) > 0 {
		t.Errorf("half an hour later %v stands", got)
	}
}

// Two phones go on with one case: each takes the other's in, in whatever order, and both then
// know all that was seen, what was passed over at either is not asked again, and what one said of
// the circumstances stands beside what the other said.
func TestTwoPhonesJoin(t *testing.T) {
	file := handed(t, atDrop)
	a, b := opened(t, file, "take-a"), opened(t, file, "take-b")
	a.words("run light dark")
	passedA := a.pass()
	a.words("5 dead, 1-4 good")
	b.words("isolator closed")
	b.words("drop_works=not_working")
	b.words("alone")
	passedB := b.pass()
	if passedA == passedB {
		t.Fatalf("both passed %s over, which shows nothing", passedA)
	}
	textA, textB := a.text(), b.text()
	a.must(Request{Do: "merge", Text: textB})
	b.must(Request{Do: "merge", Text: textA})
	for name, p := range map[string]*phone{"a": a, "b": b} {
		st := p.stands(p.text())
		knows := symptoms(st.Situation)
		for _, want := range []string{"power_light=dark", "run_light=dark", "isolator_position=closed_and_in"} {
			if strings.Count(knows, want) != 1 {
				t.Errorf("%s knows %s, of which %s should be one", name, knows, want)
			}
		}
		for _, id := range []string{passedA, passedB} {
			if !slices.Contains(st.Memory.Settled, id) {
				t.Errorf("%s would ask %s again; settled is %v", name, id, st.Memory.Settled)
			}
		}
		if len(st.Situation.Drops) != 5 {
			t.Errorf("%s knows of the drops %v", name, st.Situation.Drops)
		}
		if !st.Situation.Alone {
			t.Errorf("%s does not know that somebody is alone", name)
		}
	}
	if x, y := a.must(Request{Do: "show"}).About, b.must(Request{Do: "show"}).About; x.Kind != y.Kind || x.ID != y.ID {
		t.Errorf("a asks %v, b asks %v", x, y)
	}
	before := a.text()
	a.must(Request{Do: "merge", Text: textB})
	if a.text() != before {
		t.Error("taken in twice it is another case")
	}
}

// What a file taken along holds is not written into by whoever has another case, or no case.
func TestOtherCasesAreRefused(t *testing.T) {
	p := opened(t, handed(t, atDrop), "take-a")
	before := p.text()
	for _, text := range []string{"", "DOWNDROP1/1/1/AAAAAAAAAAAAAAAA/AAAA", strings.Replace(before, "DOWNDROP1/1/", "DOWNDROP1/2/", 1)} {
		if got := p.ask(Request{Do: "merge", Text: text}); got.Error == "" {
			t.Errorf("%.40q was taken in", text)
		}
	}
	for _, r := range []Request{{Do: "nonsense"}, {Do: "answer"}, {Do: "answer", Form: "no id!", Text: "x"}, {Do: "answer", Text: strings.Repeat("x", mostStory+1)}, {Do: "agree", Off: "a", Back: "b"}} {
		if got := p.ask(r); got.Error == "" {
			t.Errorf("%+v was taken in", r)
		}
	}
	if got := p.Do("no JSON"); !strings.Contains(got, `"error":"invalid`) {
		t.Errorf("no JSON gives %s", got)
	}
	if p.text() != before {
		t.Error("a refusal changed the case")
	}
	if _, err := Open(Opening{Base: packed(), Case: "nothing", Site: "take-a"}, time.Now); err == nil {
		t.Error("a file without a case was opened")
	}
	if _, err := Open(Opening{Base: "{}", Case: before, Site: "take-a"}, time.Now); err == nil {
		t.Error("a file without a rulebase was opened")
	}
}

// By telephone nothing beyond looking is asked before three things are agreed with the caller.
func TestCallIsSettledFirst(t *testing.T) {
	s := atDrop.Clone()
	s.At, s.Who = rulebase.Phone, rulebase.Electrician
	p := opened(t, handed(t, s), "take-a")
	for range 40 {
		v := p.must(Request{Do: "show"})
		if v.Call == nil {
			t.Fatal("nobody is on the telephone")
		}
		if v.Call.Settle {
			if got := p.ask(Request{Do: "agree", Off: "the shift electrician", Back: " ", Else: "the control room"}); got.Error != sayAgreeAll {
				t.Errorf("two of three: %q", got.Error)
			}
			v = p.must(Request{Do: "agree", Off: "the shift electrician", Back: "10:40", Else: "the control room"})
			if v.Call.Settle || len(p.stands(p.text()).Case.Notes) != 1 {
				t.Errorf("agreed, and asked again: %v", v.Call)
			}
			return
		}
		if v.About.Kind == "step" && p.stands(p.text()).CallSettles(p.base, conversation.Question{Kind: v.About.Kind, ID: v.About.ID, For: v.About.For}) {
			t.Fatalf("%v is proposed before anything was agreed", v.About)
		}
		p.pass()
	}
	t.Fatal("no step beyond looking ever came up")
}

// The packed base is the base: it gives the same diagnosis, figure for figure.
func TestPackedBaseDiagnosesAlike(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	other, err := rulebase.Unpack([]byte(packed()))
	if err != nil {
		t.Fatal(err)
	}
	if d := rulebase.FirstDifference(base, other); d != "" {
		t.Fatalf("they differ at %s", d)
	}
	var got [2]string
	for i, b := range []*rulebase.Base{base, other} {
		d, err := engine.Diagnose(t.Context(), engine.Prepare(b), atDrop, engine.Options{Weights: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes {
			got[i] += fmt.Sprintf("%s %v %v\n", b.Causes[c.Cause].ID, c.Probability, c.Now)
		}
		for _, p := range d.Next {
			if p.Step == nil {
				continue
			}
			got[i] += fmt.Sprintf("%s %v %v\n", p.Step.ID, p.GainBits, p.Planned)
		}
	}
	if got[0] != got[1] {
		t.Error("the packed base gives another diagnosis")
	}
}

// All facts before a step are asked for at once; none counts that was not ticked.
func TestFactsAreTicked(t *testing.T) {
	p := opened(t, handed(t, atDrop), "take-a")
	p.words("electrician at the drop, not alone, 5 dead, 1-4 good, power light dark, loss_of_bus=off, classified_area=no")
	v := p.words("do replace_supply_fuse")
	for v.About.Kind == "found" {
		v = p.must(Request{Do: "answer", Text: "leave the sheet", Chosen: true, About: v.About})
	}
	if len(v.Facts) < 5 || v.Answers[0].Entry != kept.Ticked {
		t.Fatalf("asked are %v, answers %v", v.Facts, v.Answers)
	}
	if got := p.ask(Request{Do: "answer", Text: kept.Ticked, Chosen: true, About: v.About}); got.Error != kept.SayNoneTicked {
		t.Errorf("none ticked: %q", got.Error)
	}
	all := v.Facts
	v = p.must(Request{Do: "answer", Text: kept.Ticked, Chosen: true, About: v.About, Facts: []string{all[0].Warning, all[1].Warning}})
	if len(v.Facts) != len(all)-2 || len(v.Confirmed) != 2 || v.About.Kind != "confirm" {
		t.Errorf("two ticked: %d are asked for, %d stand", len(v.Facts), len(v.Confirmed))
	}
	var rest []string
	for _, f := range v.Facts {
		rest = append(rest, f.Warning)
	}
	if v = p.must(Request{Do: "answer", Text: kept.Ticked, Chosen: true, About: v.About, Facts: rest}); v.About.Kind != "step" || len(p.stands(p.text()).Situation.Confirmed) != len(all) {
		t.Errorf("then it is %v", v.About)
	}
}

// The line's sheet goes back with the case, though nothing of it is asked here: the one that came last,
// and one that came with an earlier hand-over where the last has none.
func TestTheSheetGoesBackWithTheCase(t *testing.T) {
	const first, second = "line: {name: invented yard}\n", "line: {name: invented yard, trunk_m: 300}\n"
	p := opened(t, handedWith(t, atDrop, first, first, second), "take-a")
	sheet := func() string {
		_, sheet, err := cases.ReadHandOver(p.text())
		if err != nil {
			t.Fatal(err)
		}
		return string(sheet)
	}
	if got := sheet(); got != first {
		t.Errorf("it goes back with %q", got)
	}
	p.words("run light dark")
	p.must(Request{Do: "merge", Text: handedWith(t, atDrop, "", first, second)})
	if got := sheet(); got != first {
		t.Errorf("after a hand-over without one it goes back with %q", got)
	}
	p.must(Request{Do: "merge", Text: handedWith(t, atDrop, second, first, second)})
	if got := sheet(); got != second {
		t.Errorf("after a hand-over with another it goes back with %q", got)
	}
	p = opened(t, handedWith(t, atDrop, "", first, second), "take-b")
	if got := sheet(); got != "" {
		t.Errorf("without one it goes back with %q", got)
	}
}

// The likeliest causes are shown with their chance of a hundred, to the nearest.
func TestCausesAreShownToTheNearestHundredth(t *testing.T) {
	p := opened(t, handed(t, atDrop), "take-a")
	v := p.must(Request{Do: "show"})
	d, err := engine.Diagnose(t.Context(), engine.Prepare(p.base), p.stands(p.text()).Situation, engine.Options{NoMinutes: true})
	if err != nil {
		t.Fatal(err)
	}
	shown := kept.ShownNow(d, 6)
	if len(v.Causes) == 0 || len(v.Causes) != len(shown) {
		t.Fatalf("%d of %d causes are shown", len(v.Causes), len(shown))
	}
	for i, c := range shown {
		if got := v.Causes[i]; got.Name != d.Base.Causes[c.Cause].Name || got.Width != int(math.Round(100*c.Now)) {
			t.Errorf("%d: %+v, of %v", i, got, c.Now)
		}
	}
}
