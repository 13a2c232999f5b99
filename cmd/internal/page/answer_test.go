package page_test

import (
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/testdata/support"
)

const fieldStory = "technician at the drop, not alone, drop 5 dead, 1-4 good"

// findings are what a case knows of this drop, as text.
func findings(c *cases.Case) string {
	var out []string
	for _, f := range c.Situation.Findings {
		out = append(out, f.Symptom+"="+f.Value.Word)
	}
	return strings.Join(out, " ")
}

func count(c *cases.Case, kind cases.Kind) int {
	n := 0
	for _, e := range c.Events {
		if e.Kind == kind {
			n++
		}
	}
	return n
}

// A page pressed twice, or sent again after a cut line, is one answer.
func TestTheSameFormIsOneAnswer(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {fieldStory}})
	_, body := s.get("/case/" + code)
	for range 3 {
		if status, after := s.say(body, "power light dark"); status != http.StatusOK || !strings.Contains(after, "power light: dark") {
			t.Fatalf("%d\n%s", status, after)
		}
	}
	c := s.kept(code)
	if got := strings.Count(findings(c), "power_light"); got != 1 || count(c, cases.KindTalked) != 2 {
		t.Errorf("%s, %d entries", findings(c), count(c, cases.KindTalked))
	}
	// Two windows with the same page open, another answer in each: both count, the later one as a correction.
	s.say(body, "power light lit")
	if c = s.kept(code); findings(c) != "drop_works=not_working power_light=lit" && !strings.HasSuffix(findings(c), "power_light=lit") {
		t.Errorf("after a correction: %s", findings(c))
	}
	form := newForm()
	if a, b := s.open(url.Values{"form": {form}, "location": {"Quarry Bend"}}), s.open(url.Values{"form": {form}, "location": {"Quarry Bend"}}); a != b {
		t.Errorf("one form opened two cases: %s %s", a, b)
	}
}

// The program is killed while an answer is on its way, started again, and the answer
// sent again: it is there once.
func TestKilledWhileAnswering(t *testing.T) {
	t.Parallel()
	store := filepath.Join(t.TempDir(), "cases.db")
	s := serve(t, store)
	code := s.open(url.Values{"story": {fieldStory}})
	rounds := support.Deep(t, 5)
	for round := range rounds {
		answer := url.Values{"form": {fmt.Sprintf("kill-%d", round)}, "kind": {"symptom"}, "about": {"power_light"}, "chosen": {"power_light=" + []string{"dark", "lit"}[round%2]}}
		sent := make(chan struct{})
		go func() {
			defer close(sent)
			if r, err := s.http.PostForm(s.At+"/case/"+code+"/answer", answer); err == nil {
				r.Body.Close()
			}
		}()
		time.Sleep(time.Duration(round*40/rounds) * time.Millisecond)
		s.Kill()
		<-sent
		s = serve(t, store)
		if status, _ := s.post("/case/"+code+"/answer", answer); status != http.StatusOK {
			t.Fatalf("round %d: %d", round, status)
		}
		c := s.kept(code)
		if got := count(c, cases.KindTalked); got != round+2 {
			t.Fatalf("round %d: %d entries, %d are wanted", round, got, round+2)
		}
		if got := strings.Count(findings(c), "power_light"); got != 1 {
			t.Fatalf("round %d: %s", round, findings(c))
		}
	}
	s.downdrop("", "store", "verify") // ends badly where something is
}

// Taking back goes back entry by entry to the beginning, past a taking back, and leaves alone what was said
// through another door.
func TestTakingBack(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{})
	states := []string{findings(s.kept(code))}
	_, body := s.get("/case/" + code)
	for _, words := range []string{"technician at the drop, not alone, drop dead", "power light dark", "power light lit", "run light dark", "power light dark"} {
		_, body = s.say(body, words)
		states = append(states, findings(s.kept(code)))
	}
	for i := len(states) - 2; i >= 2; i-- {
		if i == 3 { // something else in between, and back from that too
			_, body = s.say(body, "traffic light dark")
			_, body = s.press(body, "entry=undo")
		}
		_, body = s.press(body, "entry=undo")
		if got := findings(s.kept(code)); got != states[i] {
			t.Fatalf("taken back to %d: %q, %q is wanted", i, got, states[i])
		}
	}
	s.downdrop("", "case", "see", code, "traffic_light=dark")
	_, body = s.press(body, "entry=undo")
	if got := findings(s.kept(code)); !strings.Contains(got, "traffic_light=dark") || strings.Contains(got, "power_light") {
		t.Errorf("what the command line said meanwhile: %q", got)
	}
	_, body = s.press(body, "entry=undo")
	if got := findings(s.kept(code)); got != "traffic_light=dark" {
		t.Errorf("at the beginning: %q", got)
	}
	if strings.Contains(body, `value="undo"`) {
		t.Errorf("there is still something to take back")
	}
}

// What was passed over is not asked again, after a reload and through a hand-over.
func TestPassedOverStaysSo(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {fieldStory}})
	asked := map[string]bool{}
	_, body := s.get("/case/" + code)
	for range 6 {
		f := formsOf(t, body)
		var about string
		for _, x := range f {
			if strings.HasSuffix(x.action, "/answer") {
				about = x.values.Get("kind") + " " + x.values.Get("about")
			}
		}
		if strings.HasPrefix(about, "more") {
			break
		}
		if asked[about] {
			t.Fatalf("asked again: %s", about)
		}
		asked[about] = true
		s.say(body, "skip")
		_, body = s.get("/case/" + code)
	}
	if len(asked) < 3 {
		t.Errorf("only %d were asked", len(asked))
	}
}

// One case, two doors: the same bytes.
func TestSameAnswersAsTheCommandLine(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "location": {"Invented Yard 7"}, "story": {fieldStory}})
	_, body := s.get("/case/" + code)
	for _, words := range []string{"power light dark", "I have a multimeter", "23.8 V at the drop", "done replace_fuse, still down"} {
		_, body = s.say(body, words)
		_, page := s.get("/case/" + code + "/diagnosis.json")
		if cli := s.downdrop(s.downdrop("", "case", "show", code, "--as-case"), "diagnose", "-", "--json"); page != cli {
			t.Fatalf("after %q the page answers\n%.600s\nand the command line\n%.600s", words, page, cli)
		}
		_, page = s.get("/case/" + code + "/case.json")
		if cli := s.downdrop("", "case", "show", code, "--json"); page != cli {
			t.Fatalf("after %q the page shows\n%.600s\nand the command line\n%.600s", words, page, cli)
		}
	}
}

// hostileTexts are texts that would be something else than text in a page, an address,
// a script, a table or a database.
func hostileTexts(n int) []string {
	seeds := []string{
		`<script>alert(%d)</script>`, `"><img src=x onerror=alert(%d)>`, `'><svg onload=alert(%d)>`, `</textarea><script>alert(%d)</script>`, `</title><script>alert(%d)</script>`,
		`javascript:alert(%d)`, `{{alert %d}}`, `{{.Form}}%d`, `${alert(%d)}`, `<a href="javascript:alert(%d)">x</a>`, `" autofocus onfocus=alert(%d) x="`, `<!--%d`, `--><b>%d`, `]]>%d`,
		`<style>*{display:none}</style>%d`, `<base href=//evil.example/%d>`, `<meta http-equiv=refresh content=0;url=//evil.example/%d>`, `<form action=//evil.example/%d>`, `&lt;b&gt;%d`, `&#60;script&#62;%d`,
		"=cmd|' /C calc'!A%d", `+1+%d`, `-2+%d`, `@SUM(%d)`, `'; DROP TABLE events; --%d`, `" OR 1=1 --%d`, "\\u003cscript\\u003e%d", "%%3Cscript%%3E%d", "\u202e%d\u202d<b>", "\u200b<i>%d</i>",
		"<\u00adscript>%d", "＜script＞%d", "<ſcript>%d", "\x00<b>%d", "\x1b[31m%d", "a\u0301\u0301\u0301\u0301%d<u>", "<iframe srcdoc='<script>%d</script>'>", "<math><mi xlink:href=javascript:%d>", "%d\"'`<>&", "<input name=form value=%d>",
	}
	var out []string
	for i := range n {
		out = append(out, fmt.Sprintf(seeds[i%len(seeds)], i))
	}
	return out
}

// What is hostile comes out as text: every page has the elements that we wrote and no other.
func TestHostileTextsComeOutAsText(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	texts := hostileTexts(support.Deep(t, 50))
	for i := 0; i+10 <= len(texts); i += 10 {
		ten := texts[i : i+10]
		code := s.open(url.Values{"location": {ten[0]}, "type": {ten[1]}, "serial": {ten[2]}, "story": {"drop dead, " + strings.Join(ten[3:7], ", ")}})
		_, body := s.get("/case/" + code + "?did=open")
		onlyOurs(t, body, ten)
		_, body = s.say(body, strings.Join(ten[7:], ", "))
		onlyOurs(t, body, ten)
	}
	for _, path := range []string{"/", "/?find=" + url.QueryEscape(texts[1])} {
		_, body := s.get(path)
		onlyOurs(t, body, texts[:5])
	}
}

var ourElements = strings.Fields("html head meta title link script body a header h1 h2 p nav main section ul ol li div form input button span strong b label svg rect details summary footer textarea fieldset legend")

func onlyOurs(t *testing.T, body string, texts []string) {
	t.Helper()
	each(parse(t, body), func(n *html.Node) {
		if n.Type == html.CommentNode {
			t.Errorf("a comment in the page of %q", texts)
		}
		if n.Type != html.ElementNode {
			return
		}
		known := false
		for _, name := range ourElements {
			known = known || n.Data == name
		}
		if !known {
			t.Errorf("an element %s in the page of %q", n.Data, texts)
		}
		for _, a := range n.Attr {
			if strings.HasPrefix(a.Key, "on") || a.Key == "srcdoc" || a.Key == "autofocus" || a.Key == "style" ||
				(a.Key == "href" || a.Key == "src" || a.Key == "action") && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") {
				t.Errorf("an attribute %s=%q of %s in the page of %q", a.Key, a.Val, n.Data, texts)
			}
		}
		if n.Data == "script" && (attribute(n, "src") != "/page.js" || n.FirstChild != nil) {
			t.Errorf("a script in the page of %q", texts)
		}
	})
}

// The first page is small: a phone loads it over a poor line.
func TestFirstPageIsSmall(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {fieldStory}})
	for _, first := range []string{"/", "/new", "/case/" + code} {
		size := 0
		for _, path := range []string{first, "/style.css", "/page.js"} {
			_, body := s.get(path)
			size += len(body)
		}
		if size > 60<<10 {
			t.Errorf("%s with its style and script has %d bytes", first, size)
		}
	}
}
