package page_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"
)

// mill is the sheet of an invented line that the examples ship.
func mill(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

const millStory = "technician, not alone, 3 and 4 dead, 1 and 2 good, power light lit, traffic light dark"

// textsIn are the texts of all elements that a class or a tag fits.
func textsIn(t testing.TB, page, tag, class string) []string {
	var out []string
	each(parse(t, page), func(n *html.Node) {
		if n.Type == html.ElementNode && n.Data == tag && (class == "" || slices.Contains(strings.Fields(attribute(n, "class")), class)) {
			out = append(out, words(n))
		}
	})
	return out
}

// Without a sheet the drops that were spoken of are drawn and it is said how to give one; with one
// the drawing has all of it, and says where along it something is looked for.
func TestTheLineIsDrawnFromItsSheet(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"3"}, "location": {"Tide mill"}, "story": {millStory}})
	_, body := s.get("/case/" + code + "/causes")
	for _, want := range []string{"downdrop line new SHEET.yaml", "downdrop case sheet " + code, "the order along the cable was not said", "drop 3", "this drop"} {
		if !strings.Contains(words(parse(t, body)), want) {
			t.Errorf("without a sheet the page lacks %q", want)
		}
	}
	for text, want := range map[string]string{
		"":                          "No sheet was given",
		"sheet: Mill\nline: string": "a kind of line",
		"- 1":                       "a sheet is keys and values",
	} {
		if status, body := s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {text}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, want) {
			t.Errorf("the sheet %q: %d\n%s", text, status, body)
		}
	}
	status, body := s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(t)}})
	if status != http.StatusOK {
		t.Fatalf("giving the sheet: %d\n%s", status, body)
	}
	drawn := strings.Join(textsIn(t, body, "svg", "strip"), " ")
	asText := strings.Join(textsIn(t, body, "ol", "plainlist"), " ")
	for _, want := range []string{"120 m, blue shielded pair, AWG 22", "terminator 150 ohm", "stub of 1.5 m", "joint", "drop 1 gate hall", "drop 4 upper pond", "fed by S2, past wheel pit", "power cable beside it from 200 m to 290 m", "end of the trunk, 420 m", "idle bias 650 ohm up", "dead, this drop"} {
		if !strings.Contains(asText, want) {
			t.Errorf("the drawing as text lacks %q: %s", want, asText)
		}
		if first := strings.Fields(want)[0]; !strings.Contains(drawn, first) {
			t.Errorf("the drawing lacks %q", first)
		}
	}
	marks := strings.Join(textsIn(t, body, "ul", "marks"), " ")
	if !strings.Contains(marks, "on the cable, from drop 2 sluice to drop 3 wheel pit : about") || !regexp.MustCompile(`\((solid|dashed|dotted) line\)`).MatchString(marks) {
		t.Errorf("where it is looked for: %s", marks)
	}
	before := s.kept(code)
	if len(before.Situation.Paper) == 0 || before.Situation.SheetFile == "" || !slices.Equal(before.Situation.Order, []int{1, 2, 3, 4}) {
		t.Errorf("kept of the sheet: %+v", before.Situation)
	}
	_, body = s.get("/case/" + code) // what is said later keeps the sheet
	s.say(body, "run light steady")
	if after := s.kept(code); after.Situation.SheetFile != before.Situation.SheetFile {
		t.Errorf("the sheet is lost by an answer")
	}
	sameJSON(t, s, code)
}

// sameJSON holds the page to the command line.
func sameJSON(t *testing.T, s *served, code string) {
	t.Helper()
	for path, args := range map[string][]string{"case.json": {"case", "show", code, "--json"}, "chart.json?places=12": {"chart", "--case", code, "--places", "12", "--json"}} {
		status, page := s.get("/case/" + code + "/" + path)
		var a, b any
		if err := json.Unmarshal([]byte(page), &a); err != nil || status != http.StatusOK {
			t.Fatalf("%s: %d %v", path, status, err)
		}
		if err := json.Unmarshal([]byte(s.downdrop("", args...)), &b); err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(a, b) {
			t.Errorf("%s and the command line differ", path)
		}
	}
}

// A sheet is taken in as a file too, once; what it says is text, whatever it says; where the line was
// said to be good on both sides of a drop, only its own tap is in doubt.
func TestASheetAsAFile(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"2"}, "story": {"technician, 2 dead, 1 and 3 good, power light lit, traffic light dark"}})
	const hostile = `<script>alert(1)</script>"'><svg onload=alert(1)>`
	line := "sheet: '" + strings.ReplaceAll(hostile, "'", "''") + "'\nline: token_pair\ncable: [{type: '" + strings.ReplaceAll(hostile, "'", "''") + "', length: 90 m}]\ndrops:\n  - {drop: '" + strings.ReplaceAll(hostile, "'", "''") +
		"', at: 30 m, address: 1}\n  - {drop: two, at: 60 m, address: 2}\n  - {drop: three, at: 90 m, address: 3}\n"
	form := newForm()
	send := func() (int, string) {
		var b bytes.Buffer
		m := multipart.NewWriter(&b)
		m.WriteField("form", form)                    //nolint:errcheck // a buffer
		f, _ := m.CreateFormFile("file", "line.yaml") //nolint:errcheck // a buffer
		f.Write([]byte(line))                         //nolint:errcheck // a buffer
		m.WriteField("sheet", "")                     //nolint:errcheck // a buffer
		m.Close()                                     //nolint:errcheck // a buffer
		r, err := s.http.Post(s.At+"/case/"+code+"/sheet", m.FormDataContentType(), &b)
		if err != nil {
			t.Fatal(err)
		}
		return text(t, r)
	}
	status, body := send()
	events := len(s.kept(code).Events)
	if again, _ := send(); status != http.StatusOK || again != http.StatusOK || len(s.kept(code).Events) != events {
		t.Errorf("given twice: %d, %d", status, again)
	}
	each(parse(t, body), func(n *html.Node) {
		if n.Data == "script" && attribute(n, "src") == "" || attribute(n, "onload") != "" {
			t.Errorf("the sheet's words became %s", n.Data)
		}
	})
	if !strings.Contains(strings.Join(textsIn(t, body, "ol", "plainlist"), " "), hostile) {
		t.Errorf("the drop's name is not shown as it is written")
	}
	if marks := strings.Join(textsIn(t, body, "ul", "marks"), " "); !strings.Contains(marks, "on the cable, at the tap and plug of drop 2 two") {
		t.Errorf("where it is looked for: %s", marks)
	}
}

// The chart on the page is that of the command line; each place is drawn once, and its number leads to its step.
func TestTheChartOfACase(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"3"}, "story": {millStory}})
	sameJSON(t, s, code)
	_, body := s.get("/case/" + code + "/chart?places=20")
	steps := map[string]bool{}
	drawn := map[string]int{}
	each(parse(t, body), func(n *html.Node) {
		switch {
		case n.Data == "section" && strings.HasPrefix(attribute(n, "id"), "step-"):
			steps["#"+attribute(n, "id")] = true
		case n.Data == "a" && n.Namespace == "svg":
			each(n, func(m *html.Node) {
				if m.Data == "rect" {
					drawn[attribute(n, "href")]++
				}
			})
			if !strings.HasPrefix(attribute(n, "href"), "#step-") {
				t.Errorf("a place leads to %q", attribute(n, "href"))
			}
		}
	})
	if len(steps) < 3 || len(steps) != len(drawn) {
		t.Errorf("%d steps, %d drawn", len(steps), len(drawn))
	}
	for to, n := range drawn {
		if !steps[to] || n != 1 {
			t.Errorf("%s is drawn %d times, and is there: %v", to, n, steps[to])
		}
	}
	each(parse(t, body), func(n *html.Node) {
		if to := attribute(n, "href"); n.Data == "a" && strings.HasPrefix(to, "#step-") && !steps[to] {
			t.Errorf("%s leads nowhere", to)
		}
	})
	for _, places := range []string{"0", "91", "x"} {
		if status, _ := s.get("/case/" + code + "/chart?places=" + places); status != http.StatusUnprocessableEntity {
			t.Errorf("%s places: %d", places, status)
		}
	}
}

// How the ranking moved is drawn and told, entry by entry.
func TestHowItMovedIsTold(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"3"}, "story": {millStory}})
	_, body := s.get("/case/" + code)
	for _, words := range []string{"run light steady", "fault light dark"} {
		_, body = s.say(body, words)
	}
	_, body = s.get("/case/" + code + "/causes")
	told := strings.Join(textsIn(t, body, "ol", "plainlist"), " ")
	for _, want := range []string{"power light lit; traffic light dark; drop works not working: about", "run light steady: about", "fault light dark as it should: about"} {
		if !strings.Contains(told, want) {
			t.Errorf("it is not told %q: %s", want, told)
		}
	}
}

// No page names another host; the one with the drawings is small as well.
func TestNoPageNamesAnotherHost(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"3"}, "story": {millStory}})
	_, css := s.get("/style.css")
	_, js := s.get("/page.js")
	for _, path := range []string{"/", "/new", "/case/" + code, "/case/" + code + "/causes"} {
		_, body := s.get(path)
		if all := len(body) + len(css) + len(js); all >= 60_000 {
			t.Errorf("%s is %d bytes with its style and script", path, all)
		} else {
			t.Logf("%s: %d bytes", path, all)
		}
		each(parse(t, body), func(n *html.Node) {
			for _, a := range n.Attr {
				if at := a.Val; slices.Contains([]string{"src", "href", "action", "srcset", "data"}, a.Key) && !strings.HasPrefix(at, "/") && !strings.HasPrefix(at, "#") && !strings.HasPrefix(at, "?") || strings.HasPrefix(at, "//") {
					t.Errorf("%s leads to %s", path, at)
				}
			}
		})
	}
	if all := css + js; strings.Contains(all, "//") && regexp.MustCompile(`https?://|url\(|@import`).MatchString(all) {
		t.Errorf("style or script name another host")
	}
}

// A small sheet goes with the text that a case is handed over as. A long one does not: both places say so, and it
// is drawn once it is given again.
func TestASheetIsHandedOver(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(8, 1))
	var noise strings.Builder // nothing that can be packed
	for range 120 {
		fmt.Fprintf(&noise, "# %016x%016x%016x\n", rng.Uint64(), rng.Uint64(), rng.Uint64())
	}
	for name, long := range map[string]string{"small": "", "long": noise.String()} {
		s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
		code := s.open(url.Values{"at": {"phone"}, "drop": {"3"}, "story": {millStory}})
		s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(t) + long}})
		_, body := s.get("/case/" + code + "/hand-over")
		_, body = s.press(body, "to=field")
		if stays := strings.Contains(body, "The installation sheet of the line does not go with the text"); stays != (long != "") {
			t.Errorf("%s: it is said to stay: %v", name, stays)
		}
		parts := textsIn(t, body, "textarea", "paste")
		at := serve(t, filepath.Join(t.TempDir(), "phone.db"))
		if status, body := at.post("/receive", url.Values{"text": {strings.Join(parts, "\n\n")}}); status != http.StatusOK {
			t.Fatalf("receiving: %d\n%s", status, body)
		}
		if len(at.kept(code).Situation.Paper) == 0 {
			t.Errorf("%s: what it was weighed with is not there", name)
		}
		_, body = at.get("/case/" + code + "/causes")
		if drawn := strings.Contains(body, "drop 1 gate hall"); drawn != (long == "") || strings.Contains(body, "whose text is not here") == drawn {
			t.Errorf("%s: it is drawn: %v", name, drawn)
		}
		if _, body = at.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(t)}}); !strings.Contains(body, "drop 1 gate hall") {
			t.Errorf("%s: it is not drawn once it is given again", name)
		}
	}
}

// Any two causes are weighed against each other on a plain form, with the figures of the command.
func TestTwoChosenCausesAreWeighed(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "story": {fieldStory + ", power light dark, run light dark, isolator closed"}})
	at := "/case/" + code + "/causes"
	weighed := func(first, second string) string {
		t.Helper()
		status, page := s.get(at + "?first=" + first + "&second=" + second)
		if status != http.StatusOK {
			t.Fatalf("%s against %s: %d", first, second, status)
		}
		for _, id := range []string{first, second} {
			if id != "" && !strings.Contains(page, `<option value="`+id+`" selected>`) {
				t.Errorf("%s is not the one chosen", id)
			}
		}
		spoke := ""
		each(parse(t, page), func(n *html.Node) {
			if attribute(n, "aria-labelledby") == "spoke" {
				spoke = words(n)
			}
		})
		return spoke
	}
	page := weighed("supply_fuse_blown", "unit_line_driver_dead")
	said := s.downdrop(s.downdrop("", "case", "show", code, "--as-case"), "diagnose", "-", "--json", "--weigh", "supply_fuse_blown", "--weigh", "unit_line_driver_dead")
	var doc struct {
		Weighed []string
		Weights []struct {
			Finding, Value string
			Factor         float64
		}
	}
	if err := json.Unmarshal([]byte(said), &doc); err != nil || len(doc.Weighed) != 2 {
		t.Fatalf("%v %v", err, doc.Weighed)
	}
	for _, w := range doc.Weights {
		if w.Factor > 1.1 {
			if want := fmt.Sprintf("%s %s %.2g times for the first", strings.ReplaceAll(w.Finding, "_", " "), strings.ReplaceAll(w.Value, "_", " "), w.Factor); !strings.Contains(page, want) {
				t.Errorf("the page lacks %q: %s", want, page)
			}
		}
	}
	if turned := weighed("unit_line_driver_dead", "supply_fuse_blown"); turned == page || !strings.Contains(turned, "times for the second") {
		t.Errorf("turned round it is %s", turned)
	}
	if weighed("", "") == page {
		t.Error("unasked, the likeliest two are weighed")
	}
	for path, want := range map[string]int{"?first=nobody": http.StatusNotFound, "?first=%3Cscript%3E": http.StatusNotFound, "?first=supply_fuse_blown&second=supply_fuse_blown": http.StatusUnprocessableEntity} {
		if status, _ := s.get(at + path); status != want {
			t.Errorf("%s: %d", path, status)
		}
	}
}
