package takealong

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"downdrop/testdata/support"
)

// yard is a store of a yard that has a rulebase of its own, with nothing of the shipped one.
func yard(t *testing.T) *place {
	p := somewhere(t)
	own, err := filepath.Abs(filepath.Join("testdata", "own"))
	if err != nil {
		t.Fatal(err)
	}
	p.rulebase = own
	return p
}

// ringWorn is what somebody would see at an invented crane whose ring of the drum is worn.
var ringWorn = []string{"hatch_look=dry", "drum_turns=comes_and_goes", "crane_answers=silent"}

// pickOwn picks one of the answers offered.
func pickOwn(kind, about string, offered []string) string {
	wanted := slices.Clone(ringWorn)
	switch {
	case kind == "confirm":
		for _, o := range offered {
			if strings.HasPrefix(o, "confirm ") {
				return o
			}
		}
	case about == "renew_ring":
		wanted = append(wanted, "done, works now", "works now")
	case kind == "who":
		wanted = append(wanted, "technician")
	case kind == "alone":
		wanted = append(wanted, "not alone")
	}
	for _, w := range append(wanted, "done, still down", "done", "still works", "leave the sheet", "don't know", "skip", "not now") {
		if slices.Contains(offered, w) {
			return w
		}
	}
	return ""
}

// A case by a rulebase that is not the shipped one is taken along, led to its end from disk with the
// network cut, and read in: it is then diagnosed as the same answers by commands are, to the last
// digit of the JSON.
func TestACaseByItsOwnRulebaseInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	home := yard(t)
	code := codeRE.FindStringSubmatch(home.downdrop("case", "open", "--at", "phone", "--who", "operator", "--location", "Invented Yard 3", "--drop", "2", "--see", "crane_answers=silent"))[1]
	file := home.file("along.html")
	home.downdrop("case", "take-along", code, "--to", "field", "--out", file)
	s := take(t, file)
	s.fit("own-first")
	s.say("technician, not alone, I have a multimeter, began after rain: no")
	var findings []string
	for n := 0; ; n++ {
		kind, about, offered := s.asks()
		if kind == "end" {
			break
		}
		pick := pickOwn(kind, about, offered)
		if pick == "" || n > 30 {
			t.Fatalf("after %d answers at %s %s nothing can be answered: %v", n, kind, about, offered)
		}
		if slices.Contains(ringWorn, pick) {
			findings = append(findings, pick)
		}
		s.press(pick)
	}
	s.fit("own-end")
	var said string
	s.Run(chromedp.Text("main", &said, chromedp.ByQuery))
	if !strings.Contains(said, "Renew the ring of the drum") {
		t.Errorf("at the end nothing is said of the drum: %.400s", said)
	}
	if out := home.downdrop("case", "receive", s.saved(home.dir, code+".html")); strings.Contains(out, "Taken in: 0 ") {
		t.Errorf("reading it in said %q", out)
	}
	home.downdrop("store", "verify")
	sameFigures(t, home, code)

	other := yard(t)
	start := strings.Join([]string{"at: field", "who: technician", "drop: 2", "tools: [multimeter]", "givens: {after_rain: false}", "findings: [{symptom: crane_answers, value: silent}]"}, "\n") + "\n"
	if err := os.WriteFile(other.file("start.yaml"), []byte(start), 0o600); err != nil {
		t.Fatal(err)
	}
	typed := codeRE.FindStringSubmatch(other.downdrop("case", "open", other.file("start.yaml")))[1]
	for _, f := range findings {
		other.downdrop("case", "see", typed, f)
	}
	other.downdrop("case", "done", typed, "renew_ring", "--drop", "well")
	a, b := home.diagnosed(code), other.diagnosed(typed)
	if !strings.Contains(a, `"name": "yard"`) || !strings.Contains(a, "drum_worn") {
		t.Errorf("it is not diagnosed by its own rulebase: %.300s", a)
	}
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			t.Fatalf("line %d: from disk %q, by commands %q; around it:\n%s\nfrom disk:\n%s\nby commands:\n%s", i+1, x[i], y[i], strings.Join(x[max(0, i-12):i], "\n"),
				home.downdrop("case", "show", code, "--as-case"), other.downdrop("case", "show", typed, "--as-case"))
		}
	}
	if len(x) != len(y) {
		t.Errorf("from disk there are %d lines, by commands %d", len(x), len(y))
	}
}
