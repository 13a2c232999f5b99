package page_test

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// handIn gives a file to the form that takes cases in.
func (s *served) handIn(name string, content []byte) (int, string) {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	err := m.WriteField("text", "")
	if err == nil {
		var w interface{ Write([]byte) (int, error) }
		if w, err = m.CreateFormFile("file", name); err == nil {
			_, err = w.Write(content)
		}
	}
	if err != nil {
		s.t.Fatal(err)
	}
	m.Close()
	r, err := s.http.Post(s.At+"/receive", m.FormDataContentType(), &b)
	if err != nil {
		s.t.Fatal(err)
	}
	return text(s.t, r)
}

// What was taken along, and what was handed over as a file, are taken in whole, as the command does; where the
// case went on at both places, what was settled at either stays so.
func TestWholeFilesAreTakenIn(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := serve(t, filepath.Join(dir, "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "story": {fieldStory}})
	attach(t, s.Store, code, "door.txt")
	along, export := filepath.Join(dir, "along.html"), filepath.Join(dir, "hand.jsonl")
	s.downdrop("", "case", "take-along", code, "--out", along)
	s.downdrop("", "case", "export", export, code)
	for name, file := range map[string]string{"along": along, "export": export} {
		content, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		at := serve(t, filepath.Join(dir, name+".db"))
		for range 2 { // once or twice, it is the same
			if status, body := at.handIn(filepath.Base(file), content); status != http.StatusOK || !strings.Contains(body, "Case "+code) {
				t.Fatalf("%s: %d %.300s", name, status, words(parse(t, body)))
			}
		}
		got, kept := at.kept(code), s.kept(code)
		if findings(got) != findings(kept) || len(got.Events) > len(kept.Events) {
			t.Errorf("%s: received %s of %s", name, findings(got), findings(kept))
		}
		cli := filepath.Join(dir, name+"-cli.db")
		downdrop(t, cli, "", "case", "receive", file)
		if a, b := at.downdrop("", "case", "export", "-", code), downdrop(t, cli, "", "case", "export", "-", code); lines(a) != lines(b) {
			t.Errorf("%s: the page took in other events than the command", name)
		}
	}
	for name, content := range map[string]string{"nothing": " \n", "a page": "<!doctype html><p>a page</p>", "an export": "{\"manifest\":{}}\n"} {
		if status, body := s.handIn("x.html", []byte(content)); status != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d %s", name, status, words(parse(t, body)))
		}
	}
	if status, body := s.handIn("long.jsonl", bytes.Repeat([]byte("x"), 17<<20)); status != 0 && (status != http.StatusRequestEntityTooLarge || !strings.Contains(body, "16384 kB")) {
		t.Errorf("17 MiB: %d", status)
	}
}

// The page gives the same file as the command, once it was said where the case goes; it comes back whole.
func TestTakenAlongFromThePage(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := serve(t, filepath.Join(dir, "cases.db"))
	code := s.open(url.Values{"at": {"phone"}, "drop": {"5"}, "story": {"operator there, power light dark"}})
	if status, body := s.get("/case/" + code + "/along.html"); status != http.StatusConflict || !strings.Contains(body, "Take it along") {
		t.Errorf("before it left: %d %s", status, words(parse(t, body)))
	}
	form := newForm()
	for range 2 { // two presses are one
		if status, _ := s.post("/case/"+code+"/take-along", url.Values{"form": {form}, "to": {"field"}}); status != http.StatusOK {
			t.Fatal(status)
		}
	}
	if status, _ := s.post("/case/"+code+"/take-along", url.Values{"form": {newForm()}, "to": {"nowhere"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("to nowhere: %d", status)
	}
	c := s.kept(code)
	if n := count(c, cases.KindHandedOver); n != 1 || c.HandedTo != rulebase.Field || c.Situation.At != rulebase.Field || c.Situation.Who != rulebase.Anybody {
		t.Errorf("handed over %d times, to %s; it stands at %s with %s", n, c.HandedTo, c.Situation.At, c.Situation.Who)
	}
	_, body := s.get("/case/" + code + "/hand-over")
	if !strings.Contains(body, `href="/case/`+code+`/along.html" download="`+code+`.html"`) {
		t.Fatalf("no file is offered: %s", words(parse(t, body)))
	}
	r, err := s.http.Get(s.At + "/case/" + code + "/along.html")
	if err != nil {
		t.Fatal(err)
	}
	if got := r.Header.Get("Content-Disposition"); got != `attachment; filename="`+code+`.html"` {
		t.Errorf("it comes as %q", got)
	}
	_, file := text(t, r)
	by := filepath.Join(dir, "by-command.html")
	s.downdrop("", "case", "export", filepath.Join(dir, "case.jsonl"), code)
	if s.downdrop("", "case", "take-along", code, "--to", "field", "--out", by); len(file) < 2<<20 {
		t.Errorf("%d bytes", len(file))
	}
	commands, err := os.ReadFile(by)
	if err != nil {
		t.Fatal(err)
	}
	head := func(s string) string { before, _, _ := strings.Cut(s, "DOWNDROP1/"); return before }
	if head(string(commands)) != head(file) {
		t.Error("the command writes another page")
	}
	there := serve(t, filepath.Join(dir, "there.db"))
	if status, body := there.handIn(code+".html", []byte(file)); status != http.StatusOK || !strings.Contains(body, "Case "+code) {
		t.Fatalf("it does not come back: %d %.300s", status, words(parse(t, body)))
	}
	was, err := os.ReadFile(filepath.Join(dir, "case.jsonl"))
	if err != nil {
		t.Fatal(err)
	}
	if lines(there.downdrop("", "case", "export", "-", code)) != lines(string(was)) {
		t.Error("other events came back than went")
	}
	s.post("/case/"+code+"/accept", url.Values{"form": {newForm()}, "symptom": {"power_light"}, "why": {"nobody knows"}})
	if status, body := s.post("/case/"+code+"/close", url.Values{"form": {newForm()}, "outcome": {"escalate"}, "how": {"given to another"}}); status != http.StatusOK {
		t.Fatal(status, words(parse(t, body)))
	}
	if status, _ := s.get("/case/" + code + "/along.html"); status != http.StatusConflict {
		t.Errorf("of a closed case: %d", status)
	}
	if status, body := s.post("/case/"+code+"/take-along", url.Values{"form": {newForm()}, "to": {"field"}}); status != http.StatusConflict {
		t.Errorf("a closed case is taken along: %d %s", status, words(parse(t, body)))
	}
}

// A case that is too long for codes and text goes as a file, with what was attached to it.
func TestTooLongForCodes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s := serve(t, filepath.Join(dir, "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "story": {fieldStory}})
	attach(t, s.Store, code, "door.txt")
	r := rand.New(rand.NewPCG(9, 0))
	for range 30 {
		var text strings.Builder
		for range 110 {
			fmt.Fprintf(&text, "%x ", r.Uint64())
		}
		if status, body := s.post("/case/"+code+"/note", url.Values{"form": {newForm()}, "text": {text.String()}}); status != http.StatusOK {
			t.Fatal(status, words(parse(t, body)))
		}
	}
	status, body := s.post("/case/"+code+"/hand-over", url.Values{"form": {newForm()}, "to": {"bench"}})
	if status != http.StatusOK || !strings.Contains(body, "too long for codes and text") || !strings.Contains(body, `download="`+code+`.jsonl"`) || len(textsIn(t, body, "textarea", "paste")) != 0 {
		t.Fatalf("%d %s", status, words(parse(t, body)))
	}
	got, err := s.http.Get(s.At + "/case/" + code + "/case.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	if d := got.Header.Get("Content-Disposition"); d != `attachment; filename="`+code+`.jsonl"` {
		t.Errorf("it comes as %q", d)
	}
	_, file := text(t, got)
	there := serve(t, filepath.Join(dir, "there.db"))
	if status, body := there.handIn(code+".jsonl", []byte(file)); status != http.StatusOK {
		t.Fatal(status, words(parse(t, body)))
	}
	if a, b := s.downdrop("", "case", "export", "-", code), there.downdrop("", "case", "export", "-", code); lines(a) != lines(b) || strings.Count(b, `{"file"`) != strings.Count(a, `{"file"`) {
		t.Error("what came is not what went")
	}
}

// lines are the events of an export, sorted, without its manifest.
func lines(export string) string {
	all := slices.DeleteFunc(strings.Split(export, "\n"), func(l string) bool { return !strings.HasPrefix(l, `{"event"`) })
	slices.Sort(all)
	return strings.Join(all, "\n")
}

// A case goes on at two places at once; once it is back, neither is asked again what it passed over.
func TestTwoPlacesAreJoined(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	here := serve(t, filepath.Join(dir, "here.db"))
	code := here.open(url.Values{"at": {"field"}, "drop": {"5"}, "story": {fieldStory}})
	_, body := here.get("/case/" + code + "/hand-over")
	_, body = here.press(body, "to=field")
	there := serve(t, filepath.Join(dir, "there.db"))
	there.post("/receive", url.Values{"text": textsIn(t, body, "textarea", "paste")})
	passed := map[*served]string{}
	for s, symptom := range map[*served]string{here: "smell_or_burn", there: "what_helps"} {
		_, page := s.get("/case/" + code)
		_, page = s.say(page, "ask "+symptom)
		if _, about, _ := asked(t, page); about != symptom {
			t.Fatalf("asked is %s", about)
		}
		s.press(page, "chosen=don't know")
		passed[s] = symptom
	}
	_, body = there.get("/case/" + code + "/hand-over")
	_, body = there.press(body, "to=field")
	if status, body := here.post("/receive", url.Values{"text": {strings.Join(textsIn(t, body, "textarea", "paste"), "\n\n")}}); status != http.StatusOK {
		t.Fatalf("%d %s", status, body)
	}
	m, err := conversation.MemoryOf(here.kept(code))
	if err != nil {
		t.Fatal(err)
	}
	for _, symptom := range passed {
		if !slices.Contains(m.Settled, symptom) {
			t.Errorf("%s would be asked again: settled are %v", symptom, m.Settled)
		}
	}
	if count(here.kept(code), cases.KindTalked) < 4 {
		t.Errorf("the entries of both are not there")
	}
}
