package takealong

import (
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
	"downdrop/testdata/support/built"
)

// The file is tested as people write it and read it in.
func TestMain(m *testing.M) { built.Main(m, browser.Close) }

// A place is a store and the command that works on it.
type place struct {
	t        *testing.T
	store    string
	dir      string
	rulebase string // a folder; "" the shipped one
}

func somewhere(t *testing.T) *place {
	dir := t.TempDir()
	return &place{t: t, store: filepath.Join(dir, "cases.db"), dir: dir}
}

func (p *place) downdrop(args ...string) string {
	p.t.Helper()
	cmd := built.Command([]string{"DOWNDROP_STORE=" + p.store, "DOWNDROP_RULEBASE=" + p.rulebase}, args...)
	cmd.Dir = p.dir
	return built.Output(p.t, cmd)
}

func (p *place) file(name string) string { return filepath.Join(p.dir, name) }

var codeRE = regexp.MustCompile(`Case ([0-9A-Z]{6})`)

// open begins the case of the README's example.
func (p *place) open() string {
	p.t.Helper()
	m := codeRE.FindStringSubmatch(p.downdrop("case", "open", "--at", "phone", "--who", "operator", "--location", "Invented Yard 7", "--drop", "5", "--see", "power_light=dark"))
	if m == nil {
		p.t.Fatal("no code was told")
	}
	return m[1]
}

var confirmedRE = regexp.MustCompile(`(?m)^confirmed:.*\n`)

// diagnosed is what the case, as a case file, is diagnosed as.
func (p *place) diagnosed(code string) string {
	p.t.Helper()
	text := confirmedRE.ReplaceAllString(p.downdrop("case", "show", code, "--as-case"), "") // the command line confirms nothing
	if err := os.WriteFile(p.file("as-case.yaml"), []byte(text), 0o600); err != nil {
		p.t.Fatal(err)
	}
	return p.downdrop("diagnose", "--json", p.file("as-case.yaml"))
}

// seen is what somebody at an invented drop would see whose fuse is blown, all else being well.
var seen = map[string]string{
	"power_light": "dark", "run_light": "dark", "traffic_light": "dark", "fault_light": "dark_as_it_should", "isolator_position": "closed_and_in", "drop_works": "not_working",
	"fuse_sign": "shows_nothing_ever", "beside_on_feed": "dead_as_well", "volts_across_fuse": "before_the_fuse_only", "supply_fuse_ohms": "fuse_found_open", "supply_light": "lit",
	"began_after": "nothing_known", "trouble_after_exchange": "not_exchanged", "smell_or_burn": "no", "how_it_fails": "all_the_time", "supply_wires_look": "plus_and_return_as_drawn",
	"what_helps": "not_tried", "unit_terminals_look": "whole", "fuse_blew_before": "not_touched", "supply_label_look": "labels_agree", "field_power_light": "lit", "others_on_supply": "others_fine",
	"classified_area": "no", "loss_of_bus": "off",
}

const helps = "replace_supply_fuse"

// choose picks one of the answers offered.
func choose(kind, about string, answers []string) string {
	for _, a := range answers {
		if id, value, ok := strings.Cut(a, "="); ok && seen[id] == value {
			return a
		}
		if kind == "confirm" && strings.HasPrefix(a, "confirm ") {
			return a
		}
	}
	var wanted []string
	switch {
	case kind == "step" && about == helps, kind == "drop_now" && about == helps:
		wanted = []string{"done, works now", "works now"}
	case kind == "step", kind == "drop_now":
		wanted = []string{"done, still down", "done", "still down"}
	case kind == "who":
		wanted = []string{"technician"}
	case kind == "proof":
		wanted = []string{"still works"}
	case kind == "alone":
		wanted = []string{"not alone"}
	}
	for _, w := range append(wanted, "out again", "go on", "leave the sheet", "don't know", "skip", "not now") {
		if slices.Contains(answers, w) {
			return w
		}
	}
	return ""
}

// A screen is a tab with a file that is taken along.
type screen struct {
	*browser.Tab
	t *testing.T
}

// take opens a file from disk, with the network cut.
func take(t *testing.T, file string) *screen {
	t.Helper()
	s := &screen{browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true, Downloads: filepath.Dir(file)}), t}
	s.load(file)
	return s
}

func (s *screen) load(file string) {
	s.t.Helper()
	s.Run(chromedp.Navigate("file://"+file), chromedp.WaitVisible("body[data-ready]", chromedp.ByQuery))
}

// asks is what is asked, with its answers.
func (s *screen) asks() (kind, about string, answers []string) {
	s.t.Helper()
	var got []string
	s.Eval(`(function(){var b=document.querySelector("section.box"); return [b.dataset.kind||"",b.dataset.about||""].concat(Array.from(document.querySelectorAll("button[name=chosen]")).map(function(b){return b.value}))})()`, &got)
	return got[0], got[1], got[2:]
}

// turn does something and waits for the next question.
func (s *screen) turn(do func()) {
	s.t.Helper()
	s.Eval(`document.querySelector("main").firstElementChild.dataset.old = "1"`, nil)
	do()
	s.Run(chromedp.Poll(`!document.querySelector("main").firstElementChild.dataset.old`, nil, chromedp.WithPollingInterval(10*time.Millisecond)))
}

func (s *screen) press(value string) {
	s.t.Helper()
	s.Eval(`document.querySelectorAll("input[name=fact]:not(:checked)").forEach(function (b) { b.click() })`, nil) // facts that are asked for are all so
	s.turn(func() { s.Click(fmt.Sprintf(`button[name=chosen][value="%s"]`, value)) })
}

func (s *screen) say(words string) {
	s.t.Helper()
	s.turn(func() { s.Run(chromedp.SendKeys("#entry", words+"\r", chromedp.ByQuery)) })
}

// saved presses "save" and gives the file that the browser wrote.
func (s *screen) saved(dir, name string) string {
	s.t.Helper()
	file := filepath.Join(dir, name)
	os.Remove(file)
	s.Click("#save")
	for range 500 {
		if info, err := os.Stat(file); err == nil && info.Size() > 0 {
			return file
		}
		time.Sleep(10 * time.Millisecond)
	}
	s.t.Fatalf("%s was not saved", name)
	return ""
}

// fit holds the page to what a glove and a small screen need, and to axe.
func (s *screen) fit(where string) {
	s.t.Helper()
	axe, err := os.ReadFile(filepath.Join("..", "page", "testdata", "axe", "axe.min.js"))
	if err != nil {
		s.t.Fatal(err)
	}
	var wrong []string
	s.Eval(`(function(){
		var out = [], wide = document.documentElement.scrollWidth, room = document.documentElement.clientWidth;
		if (wide > room) out.push("the page is " + wide + " wide on a screen of " + room);
		document.querySelectorAll("button, input:not([type=radio]):not([type=checkbox]), textarea").forEach(function (b) {
			var r = b.getBoundingClientRect();
			if (r.height && r.height < 55.5) out.push(b.tagName + " " + b.textContent.trim() + " is " + r.height + " high");
		});
		return out;
	})()`, &wrong)
	var found []string
	s.Run(chromedp.Evaluate(string(axe)+";0", nil), chromedp.Evaluate(`axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"], rules: {"color-contrast-enhanced": {enabled: true}}, resultTypes: ["violations"]})
		.then(function (r) { return r.violations.map(function (v) { return v.id + ": " + v.nodes.map(function (n) { return n.target.join(" ") + " (" + n.failureSummary.replace(/\s+/g, " ") + ")" }).join("; ") }) })`, &found, func(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }))
	for _, w := range append(wrong, found...) {
		s.t.Errorf("%s: %s", where, w)
	}
	if dir := os.Getenv("DOWNDROP_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "take-"+where+".png"), s.Screenshot(), 0o600); err != nil {
			s.t.Fatal(err)
		}
	}
}

// The whole job: a case of the telephone is taken along to the drop, led to its end from
// disk without a network on a phone's screen, over a reload, saved, and read in where it is kept; it
// says what the same answers say on the command line.
func TestWholeJob(t *testing.T) {
	t.Parallel()
	home := somewhere(t)
	code := home.open()
	file := home.file("along.html")
	home.downdrop("case", "take-along", code, "--out", file)
	s := take(t, file)
	s.fit("first")
	s.say("technician, not alone, 5 dead, 1-4 good, loss_of_bus=off")
	looked := map[string]bool{}
	var findings []string
	answers := 0
	for ; ; answers++ {
		kind, about, offered := s.asks()
		if !looked[kind] {
			looked[kind] = true
			s.fit(kind)
		}
		if kind == "end" {
			break
		}
		pick := choose(kind, about, offered)
		if pick == "" || answers > 30 {
			t.Fatalf("after %d answers at %s %s nothing can be answered: %v", answers, kind, about, offered)
		}
		if _, _, isFinding := strings.Cut(pick, "="); isFinding && kind != "given" {
			findings = append(findings, pick)
		}
		s.press(pick)
		if answers == 3 { // a reload loses nothing
			before, _, _ := s.asks()
			s.load(file)
			if after, _, _ := s.asks(); after != before {
				t.Errorf("before the reload %s was asked, after it %s", before, after)
			}
		}
	}
	back := s.saved(home.dir, code+".html")
	said := home.downdrop("case", "receive", back)
	if !strings.Contains(said, "Taken in: ") || strings.Contains(said, "Taken in: 0 ") {
		t.Errorf("reading it in said %q", said)
	}
	if again := home.downdrop("case", "receive", back); !strings.Contains(again, "Taken in: 0 ") {
		t.Errorf("reading it in twice said %q", again)
	}
	home.downdrop("store", "verify")
	t.Logf("%d answers", answers)
	sameFigures(t, home, code)
	sameAsTheCommandLine(t, home, code, findings)
}

// sameAsTheCommandLine gives what was seen and done at the drop to a new case by commands, one after
// the other, and compares what both are then diagnosed as, figure for figure.
func sameAsTheCommandLine(t *testing.T, home *place, code string, findings []string) {
	t.Helper()
	other := somewhere(t)
	start := "at: field\nwho: technician\ndrop: 5\ndrops: {1: good, 2: good, 3: good, 4: good, 5: dead}\nfindings:\n  - {symptom: power_light, value: dark}\n  - {symptom: drop_works, value: not_working}\n" // what the story at the drop says
	if err := os.WriteFile(other.file("start.yaml"), []byte(start), 0o600); err != nil {
		t.Fatal(err)
	}
	typed := codeRE.FindStringSubmatch(other.downdrop("case", "open", other.file("start.yaml"), "--given", "loss_of_bus=off", "--given", "classified_area=no"))[1]
	for _, f := range findings {
		other.downdrop("case", "see", typed, f)
	}
	other.downdrop("case", "done", typed, helps, "--drop", "well")
	if a, b := home.diagnosed(code), other.diagnosed(typed); a != b {
		x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
		for i := range min(len(x), len(y)) {
			if x[i] != y[i] {
				t.Fatalf("line %d: from disk %q, by commands %q; around it:\n%s", i+1, x[i], y[i], strings.Join(x[max(0, i-12):i], "\n"))
			}
		}
		t.Fatalf("from disk there are %d lines, by commands %d", len(x), len(y))
	}
}

// sameFigures holds the last ranking that was shown in the browser to that of the program here,
// to the last digit.
func sameFigures(t *testing.T, home *place, code string) {
	t.Helper()
	var last struct {
		Causes []struct {
			ID          string  `json:"id"`
			Probability float64 `json:"probability"`
		} `json:"causes"`
	}
	var newest int64
	for line := range strings.Lines(home.downdrop("case", "export", "-", code)) { // site by site: each load of the file is one
		var l struct {
			Event struct {
				Kind, Site string
				Order      int64
				Body       json.RawMessage
			}
		}
		if err := json.Unmarshal([]byte(line), &l); err != nil {
			t.Fatal(err)
		}
		if strings.HasPrefix(l.Event.Site, "take-") && l.Event.Kind == string(cases.KindRanking) && l.Event.Order > newest {
			newest, last.Causes = l.Event.Order, nil
			if err := json.Unmarshal(l.Event.Body, &last); err != nil {
				t.Fatal(err)
			}
		}
	}
	here := last
	here.Causes = nil
	if err := json.Unmarshal([]byte(home.diagnosed(code)), &here); err != nil {
		t.Fatal(err)
	}
	if n := len(last.Causes); n == 0 || !slices.Equal(last.Causes, here.Causes[:n]) {
		t.Errorf("in the browser %v, here %.5v", last.Causes, here.Causes)
	}
}

// The case goes on at home while it is taken along: all of both is there afterwards, by file and
// by text, on both sides; a saved file goes on as the first did.
func TestGoesOnAtBothInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	home := somewhere(t)
	code := home.open()
	file := home.file("along.html")
	home.downdrop("case", "take-along", code, "--out", file)
	s := take(t, file)
	s.say("isolator closed")
	home.downdrop("case", "see", code, "run_light=dark")
	home.downdrop("case", "note", code, "the shift called again")
	back := s.saved(home.dir, code+".html")
	// From the file that was saved, on another phone.
	if err := os.Rename(back, home.file("second.html")); err != nil {
		t.Fatal(err)
	}
	second := take(t, home.file("second.html"))
	second.say("fault light dark as it should")
	var text string
	second.turn(func() {
		second.Eval(`Array.from(document.querySelectorAll("button")).find(function(b){return b.textContent==="Show as text"}).click()`, nil)
	})
	second.fit("text")
	second.Run(chromedp.Value("#astext", &text, chromedp.ByQuery))
	if err := os.WriteFile(home.file("mail.txt"), []byte("Here it is:\n\n"+text+"\n\nRegards"), 0o600); err != nil {
		t.Fatal(err)
	}
	home.downdrop("case", "receive", home.file("mail.txt"))
	home.downdrop("case", "receive", home.file("second.html")) // the same again, and less of it
	all := home.downdrop("case", "show", code, "--as-case")
	for _, want := range []string{"power_light", "isolator_position", "run_light", "fault_light"} {
		if strings.Count(all, "symptom: "+want) != 1 {
			t.Errorf("at home %s is not known once:\n%s", want, all)
		}
	}
	if notes := home.downdrop("case", "show", code, "--entries"); !strings.Contains(notes, "the shift called again") {
		t.Errorf("the note is gone:\n%s", notes)
	}
	home.downdrop("store", "verify")
	// And what home knows goes into the first phone.
	home.downdrop("case", "hand-over", code, "--to", "field")
	out := home.downdrop("case", "hand-over", code, "--to", "field")
	s.Run(chromedp.Evaluate(`document.querySelector(".take details").open = true`, nil), chromedp.SetValue("#merge", out, chromedp.ByQuery))
	s.turn(func() { s.Eval(`document.querySelector("#merge").form.requestSubmit()`, nil) })
	var known string
	s.Eval(`document.querySelector(".beside").textContent`, &known)
	for _, want := range []string{"run light: dark", "fault light"} {
		if !strings.Contains(known, want) {
			t.Errorf("the first phone does not know %s: %s", want, known)
		}
	}
	s.fit("joined")
}

// Where a browser keeps nothing it is said, and the file can be saved all the same; where it
// runs no program, the case is there as text.
func TestWhereABrowserDoesLessInABrowser(t *testing.T) {
	t.Parallel()
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	home := somewhere(t)
	code := home.open()
	file := home.file("along.html")
	home.downdrop("case", "take-along", code, "--out", file)
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	variant := func(name, before string) string {
		// Hashes are of the page as it is: this one allows the test's own line.
		changed := regexp.MustCompile(`script-src [^"]*`).ReplaceAllString(string(text), "script-src 'unsafe-inline' 'wasm-unsafe-eval'")
		changed = strings.Replace(changed, "<script>", "<script>"+before+"</script><script>", 1)
		if err := os.WriteFile(home.file(name), []byte(changed), 0o600); err != nil {
			t.Fatal(err)
		}
		return home.file(name)
	}
	s := take(t, variant("forgets.html", `Object.defineProperty(window, "localStorage", {get: function () { throw new Error("none") }});`))
	var says string
	s.Eval(`document.querySelector(".take").textContent`, &says)
	if !strings.Contains(says, "This browser keeps nothing of a file") {
		t.Errorf("a browser that keeps nothing: %s", says)
	}
	s.say("isolator closed")
	home.downdrop("case", "receive", s.saved(home.dir, code+".html"))
	if all := home.downdrop("case", "show", code, "--as-case"); !strings.Contains(all, "isolator_position") {
		t.Errorf("what was saved lacks the answer:\n%s", all)
	}
	s.Run(chromedp.Navigate("file://"+variant("old.html", `delete window.DecompressionStream;`)), chromedp.WaitVisible("textarea", chromedp.ByQuery))
	var shown string
	s.Run(chromedp.Value("textarea", &shown, chromedp.ByQuery))
	s.fit("old")
	if !strings.HasPrefix(shown, "DOWNDROP1/") {
		t.Errorf("an old browser is shown %.80s", shown)
	}
	none := browser.New(t, browser.Options{Width: 360, Height: 740, NoScript: true, Offline: true})
	none.Run(chromedp.Navigate("file://"+file), chromedp.WaitVisible("noscript p", chromedp.ByQuery))
}
