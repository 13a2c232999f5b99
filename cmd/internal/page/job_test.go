package page_test

import (
	"context"
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A truth is what somebody at an invented drop would see and do: answers by the beginning of what they
// say, the remedy that helps, and what is said where nothing is known.
type truth struct {
	seen  map[string]string // symptom or given → value
	helps string            // the remedy that puts it right
}

// blownFuse is a drop whose fuse is blown, all else being well.
var blownFuse = truth{
	seen: map[string]string{
		"power_light": "dark", "run_light": "dark", "traffic_light": "dark", "fault_light": "dark_as_it_should", "isolator_position": "closed_and_in", "drop_works": "not_working",
		"fuse_sign": "shows_nothing_ever", "beside_on_feed": "dead_as_well", "volts_across_fuse": "before_the_fuse_only", "supply_fuse_ohms": "fuse_found_open", "supply_light": "lit",
		"began_after": "nothing_known", "trouble_after_exchange": "not_exchanged", "smell_or_burn": "no", "how_it_fails": "all_the_time", "supply_wires_look": "plus_and_return_as_drawn",
		"what_helps": "not_tried", "unit_terminals_look": "whole", "fuse_blew_before": "not_touched", "supply_label_look": "labels_agree", "field_power_light": "lit", "others_on_supply": "others_fine",
		"classified_area": "no", "loss_of_bus": "off",
	},
	helps: "replace_supply_fuse",
}

// switchedOff is a drop whose supply somebody switched off.
var switchedOff = truth{seen: map[string]string{"isolator_position": "open_or_out", "supply_light": "dark", "beside_on_feed": "nothing_else_on_it", "fuse_sign": "no_sign_of_it", "began_after": "work_here", "loss_of_bus": "off", "field_power_light": "dark"}, helps: "have_supply_closed"}

// choose picks one of the answers on a page.
func (tr truth) choose(kind, about string, answers []string) string {
	has := func(want string) bool { return slices.Contains(answers, want) }
	for id, value := range tr.seen {
		if has(id + "=" + value) {
			return id + "=" + value
		}
	}
	switch kind {
	case "confirm":
		for _, a := range answers {
			if strings.HasPrefix(a, "confirm ") {
				return a
			}
		}
	case "step":
		switch {
		case about == tr.helps && has("done, works now"):
			return "done, works now"
		case has("done, still down"):
			return "done, still down"
		case has("done"):
			return "done"
		}
	case "alone":
		return "not alone"
	case "proof":
		return "still works"
	case "drop_now":
		if about == tr.helps {
			return "works now"
		}
		return "still down"
	}
	for _, pass := range []string{"out again", "go on", "leave the sheet", "don't know", "skip", "not now"} {
		if has(pass) {
			return pass
		}
	}
	return ""
}

// asked is what a page asks, with its answers.
func asked(t testing.TB, page string) (kind, about string, answers []string) {
	for _, f := range formsOf(t, page) {
		if strings.HasSuffix(f.action, "/answer") && f.values.Has("kind") {
			kind, about = f.values.Get("kind"), f.values.Get("about")
			for _, b := range f.names {
				if a, ok := strings.CutPrefix(b, "chosen="); ok {
					answers = append(answers, a)
				}
			}
			if len(answers) > 0 {
				return kind, about, answers
			}
		}
	}
	return kind, about, nil
}

var agreeRE = regexp.MustCompile(`/case/[0-9A-Z]{6}/agree`)

// play answers until the page asks what ends the case, or says what ends the call; it gives the
// page and how many answers that took.
func (s *served) play(page string, tr truth, ended func(kind, page string) bool) (string, int) {
	s.t.Helper()
	for taps := 0; ; taps++ {
		if m := agreeRE.FindString(page); m != "" {
			_, page = s.post(m, url.Values{"form": {newForm()}, "off": {"the shift electrician"}, "back": {"10:40"}, "else": {"the control room"}})
		}
		kind, about, answers := asked(s.t, page)
		if ended(kind, page) {
			return page, taps
		}
		pick := tr.choose(kind, about, answers)
		if pick == "" || taps > 40 {
			s.t.Fatalf("after %d answers at %s %s nothing can be answered: %v", taps, kind, about, answers)
		}
		s.t.Logf("%s %s: %s", kind, about, pick)
		_, page = s.press(page, "chosen="+pick)
	}
}

// The whole job at the drop, from the first story to the closed case, without a browser.
func TestFieldJobToTheClosedCase(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "location": {"Invented Yard 7"}, "story": {"technician, not alone, 5 dead, 1-4 good, power light dark, loss_of_bus=off"}})
	_, body := s.get("/case/" + code)
	_, taps := s.play(body, blownFuse, func(kind, _ string) bool { return kind == "end" })
	t.Logf("%d answers", taps)
	s.get("/case/" + code + "/close")
	if status, body := s.post("/case/"+code+"/close", url.Values{"form": {newForm()}, "cause": {"supply_fuse_blown"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, `role="alert"`) {
		t.Errorf("closing without saying how: %d", status)
	}
	status, body := s.post("/case/"+code+"/close", url.Values{"form": {newForm()}, "cause": {"supply_fuse_blown"}, "how": {"Works with a new fuse, watched for as long as was asked"}})
	if status != http.StatusOK || !strings.Contains(body, "This case is closed") {
		t.Fatalf("closing: %d\n%s", status, body)
	}
	if c := s.kept(code); c.State != cases.StateClosed || !slices.Equal(c.Closing.Causes, []string{"supply_fuse_blown"}) || c.Closing.Outcome == "" {
		t.Errorf("%s %+v", c.State, c.Closing)
	}
	s.get("/case/" + code)
	if _, body = s.post("/case/"+code+"/reopen", url.Values{"form": {newForm()}, "why": {"down again"}}); strings.Contains(body, "This case is closed") || s.kept(code).State != cases.StateOpen {
		t.Errorf("it stays closed")
	}
}

// A call: the first story in few letters, then few answers until it is said how it ends: with the drop put
// right at the telephone, or with who is to be sent.
func TestCallIsShort(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	const story = "operator, 5 dead, 1-4 good, power dark, run dark"
	if len(story) > 60 {
		t.Fatalf("%d keystrokes", len(story))
	}
	for name, call := range map[string]struct {
		truth truth
		sends bool
	}{"switched off": {switchedOff, false}, "a blown fuse": {blownFuse, true}} {
		code := s.open(url.Values{"at": {"phone"}, "story": {story}})
		c := s.kept(code)
		if len(c.Situation.Findings) < 3 || len(c.Situation.Drops) != 5 || c.Situation.Drop != 5 || c.Situation.Who != rulebase.Operator {
			t.Fatalf("of the story was taken in: %+v", c.Situation)
		}
		_, body := s.get("/case/" + code)
		if !strings.Contains(body, "Please get someone who may") {
			t.Errorf("the script does not say who may do more")
		}
		sends := false
		_, answers := s.play(body, call.truth, func(kind, page string) bool {
			sends = strings.Contains(page, "Enough is known for this call")
			return kind == "end" || sends
		})
		t.Logf("%s: %d answers", name, answers)
		if answers > 8 {
			t.Errorf("%s: %d answers until the call can end; at most 8 are wanted", name, answers)
		}
		if sends != call.sends {
			t.Errorf("%s: that somebody is sent is %v", name, sends)
		}
		_, body = s.get("/case/" + code + "/summary")
		if !strings.Contains(body, "power light") {
			t.Errorf("the summary lacks what was said")
		}
	}
}

// attach adds a file to a case as the command does.
func attach(t *testing.T, store, code, name string) {
	t.Helper()
	o, err := sqlite.Open(context.Background(), store, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	c, err := o.Case(context.Background(), code)
	if err != nil {
		t.Fatal(err)
	}
	digest, err := o.PutFile(context.Background(), []byte("door"))
	if err != nil {
		t.Fatal(err)
	}
	d := cases.Say(cases.KindFile, cases.Attachment{Name: name, Media: "text/plain", Digest: digest, Bytes: 4})
	d.ID, d.Subject, d.At = "attached", cases.Subject{Kind: cases.AboutCase, ID: c.ID}, time.Now()
	if _, err := o.Append(context.Background(), d); err != nil {
		t.Fatal(err)
	}
}

// A call goes on at the drop, where nothing is asked again.
func TestHandedOverNothingIsAskedAgain(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"phone"}, "story": {"operator, 5 dead, 1-4 good, power dark, run dark"}})
	_, body := s.get("/case/" + code)
	n := 0
	s.play(body, blownFuse, func(string, string) bool { n++; return n > 7 })
	attach(t, s.Store, code, "door.txt")
	settled := s.kept(code)
	_, body = s.get("/case/" + code + "/hand-over")
	_, body = s.press(body, "to=field")
	if !strings.Contains(body, "door.txt, text/plain, 4 bytes, SHA-256") {
		t.Error("what codes and text cannot hold is not named")
	}
	var text []string
	each(parse(t, body), func(n *html.Node) {
		if n.Data == "textarea" {
			text = append(text, words(n))
		}
	})
	at := serve(t, filepath.Join(t.TempDir(), "phone.db"))
	status, body := at.post("/receive", url.Values{"text": {"Your case:\n" + strings.Join(text, "\n\n")}})
	if status != http.StatusOK {
		t.Fatalf("receiving: %d\n%s", status, body)
	}
	code = codeRE.FindStringSubmatch(body)[1]
	got := at.kept(code)
	if findings(got) != findings(settled) || got.Talked == nil {
		t.Errorf("received %s of %s", findings(got), findings(settled))
	}
	known := map[string]bool{}
	for _, f := range got.Situation.Findings {
		known[f.Symptom] = true
	}
	_, body = at.say(body, "I am at the drop, technician, not alone")
	questions := 0
	for range 12 {
		kind, about, list := asked(t, body)
		for _, a := range list { // also where it comes as what a step is to show
			if id, _, is := strings.Cut(a, "="); is && known[id] {
				t.Errorf("%s is asked again, at %s %s", id, kind, about)
				break
			}
		}
		pick := blownFuse.choose(kind, about, list)
		if pick == "" || strings.HasPrefix(pick, "done") {
			break
		}
		if strings.Contains(pick, "=") {
			questions++
		}
		_, body = at.press(body, "chosen="+pick)
	}
	if questions == 0 || len(known) < 4 {
		t.Errorf("%d questions were put about a case of which %v is known: nothing could be asked again", questions, known)
	}
	if status, _ := at.post("/receive", url.Values{"text": {"nothing"}}); status != http.StatusUnprocessableEntity {
		t.Errorf("no hand-over: %d", status)
	}
}

// Nothing beyond looking is put to a caller before it is settled who can switch off, when to call
// back, and whom to call.
func TestACallIsSettledBeforeAnythingBeyondLooking(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"phone"}, "story": {"technician, not alone, 5 dead, 1-4 good, power light dark, isolator closed, loss_of_bus=off, classified_area=no"}})
	_, body := s.get("/case/" + code)
	for range 30 {
		kind, about, answers := asked(t, body)
		settling := strings.Contains(body, "/agree")
		if settling {
			if kind == "step" && len(answers) > 0 {
				t.Errorf("the step %s stands beside what is to be agreed", about)
			}
			form := newForm()
			if status, _ := s.post("/case/"+code+"/agree", url.Values{"form": {form}, "off": {"the shift electrician"}, "back": {"10:40"}}); status != http.StatusUnprocessableEntity {
				t.Errorf("two of three agreed: %d", status)
			}
			_, body = s.post("/case/"+code+"/agree", url.Values{"form": {form}, "off": {"the shift electrician"}, "back": {"10:40"}, "else": {"the control room"}})
			if strings.Contains(body, "/agree") || !strings.Contains(s.kept(code).Notes[0].Body.Text, "control room") {
				t.Errorf("it is not agreed then")
			}
			return
		}
		pick := blownFuse.choose(kind, about, answers)
		if pick == "" {
			t.Fatalf("at %s %s", kind, about)
		}
		_, body = s.press(body, "chosen="+pick)
	}
	t.Errorf("nothing was ever to be agreed")
}

// An operator on the telephone is asked to look and read out, and for nothing more.
func TestAnOperatorOnThePhoneOnlyLooks(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	prepared := engine.Prepare(base)
	for _, light := range []string{"dark", "lit", "blinking"} {
		see, err := base.ReadSee("power_light=" + light)
		if err != nil {
			continue
		}
		d, err := engine.Diagnose(context.Background(), prepared, rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator, Tools: []string{}, Findings: []rulebase.Finding{see}}, engine.Options{NoMinutes: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range d.Next {
			if strings.HasPrefix(p.Step.ID, "hand_over_") || strings.HasPrefix(p.Step.ID, "have_") {
				continue // somebody who may is asked to
			}
			if st := p.Step; st.Hazard != 0 || st.Stops != rulebase.StopsNothing || st.BringsBack || len(st.Needs) > 0 || st.Who > rulebase.Operator {
				t.Errorf("power light %s: %s is asked of an operator on the phone", light, st.ID)
			}
		}
	}
}
