package page_test

import (
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/rulebase"
)

// What is put in for a test is kept only as one of the things that can be put in, and with where it is.
func TestPuttingIn(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {millStory}})
	for _, c := range []struct {
		what, where string
		status      int
		kept        int
	}{
		{"a spoon", "terminal 4", http.StatusUnprocessableEntity, 0},
		{"force", " ", http.StatusUnprocessableEntity, 0},
		{"force", strings.Repeat("x", 2000), http.StatusUnprocessableEntity, 0},
		{"force", "output 3 of the sluice", http.StatusOK, 1},
	} {
		status, _ := s.post("/case/"+code+"/put-in", url.Values{"form": {newForm()}, "what": {c.what}, "where": {c.where}})
		if standing := s.kept(code).Standing(); status != c.status || len(standing) != c.kept {
			t.Errorf("%s at %.30s: %d, kept %d", c.what, c.where, status, len(standing))
		}
	}
	if p := s.kept(code).Standing(); len(p) == 1 && (p[0].Body.What != "force" || p[0].Body.Where != "output 3 of the sluice") {
		t.Errorf("kept is %+v", p[0].Body)
	}
	_, page := s.get("/case/" + code + "/close")
	choosable(t, page, map[string][]string{"what": cases.PutInKinds, "outcome": cases.Outcomes, "unit": cases.UnitVerdicts})
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range base.Causes {
		if strings.Count(page, `value="`+c.ID+`"`) != 1 {
			t.Errorf("%s cannot be chosen once", c.ID)
		}
	}
}

// A closing that is refused is shown as it was filled in, with all that stands against it in words of the
// page, which has no command line; and any cause can be chosen, however unlikely it was.
func TestClosingThatIsRefused(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "story": {"power light dark, traffic light dark"}})
	s.post("/case/"+code+"/put-in", url.Values{"form": {newForm()}, "what": {"jumper"}, "where": {"terminal 4"}})
	fill := url.Values{"cause": {"", "address_wrong_on_drop", "handheld_faulty"}, "how": {"it was \"seen\""}, "unit": {"good"}}
	send := func() (int, string) { fill.Set("form", newForm()); return s.post("/case/"+code+"/close", fill) }
	status, page := send()
	alert := ""
	each(parse(t, page), func(n *html.Node) {
		if attribute(n, "role") == "alert" {
			alert = words(n)
		}
	})
	for _, want := range []string{"Choose how it ended", "Something is still in place", "What was found for power light"} {
		if !strings.Contains(alert, want) {
			t.Errorf("it does not say %q: %s", want, alert)
		}
	}
	if status != http.StatusUnprocessableEntity || strings.Contains(words(parse(t, page)), "--") {
		t.Errorf("%d, %s", status, alert)
	}
	for _, want := range []string{`name="cause" value="address_wrong_on_drop" checked`, `name="cause" value="handheld_faulty" checked`, `>it was &#34;seen&#34;</textarea>`, `value="good" selected`} {
		if !strings.Contains(page, want) {
			t.Errorf("%s is not kept", want)
		}
	}
	if strings.Contains(alert, sayHow) {
		t.Errorf("it asks what was said: %s", alert)
	}
	fill.Set("how", " ")
	if _, page = send(); !strings.Contains(page, sayHow) {
		t.Error("it does not ask how that was proven")
	}
	for _, n := range []string{"power_light", "traffic_light"} {
		s.post("/case/"+code+"/accept", url.Values{"form": {newForm()}, "symptom": {n}, "why": {"the lamps are taken out"}})
	}
	for _, n := range []string{"0", "2", "-1", "one", ""} { // one thing is in place
		if status, _ := s.post("/case/"+code+"/take-out", url.Values{"form": {newForm()}, "number": {n}}); status != http.StatusConflict {
			t.Errorf("number %q is taken out: %d", n, status)
		}
	}
	s.post("/case/"+code+"/take-out", url.Values{"form": {newForm()}, "number": {"1"}})
	fill.Set("how", "seen")
	fill.Set("outcome", "adjusted")
	if status, page = send(); status != http.StatusOK || s.kept(code).State != cases.StateClosed {
		t.Fatalf("%d %s", status, words(parse(t, page)))
	}
	if got := s.kept(code).Closing.Causes; !slices.Equal(got, []string{"address_wrong_on_drop", "handheld_faulty"}) {
		t.Errorf("closed with %v", got)
	}
}

const sayHow = "Say how it was proven"

// choosable holds the lists of a page to what can be chosen: each once, in its order, and something said of
// each. Above them may stand what chooses nothing.
func choosable(t *testing.T, page string, want map[string][]string) {
	t.Helper()
	lists := 0
	each(parse(t, page), func(n *html.Node) {
		if n.Type != html.ElementNode || n.Data != "select" {
			return
		}
		var values []string
		each(n, func(o *html.Node) {
			if o.Type != html.ElementNode || o.Data != "option" {
				return
			}
			if value := attribute(o, "value"); value != "" {
				values = append(values, value)
			}
			if words(o) == "" {
				t.Errorf("of %s the choice %q says nothing", attribute(n, "name"), attribute(o, "value"))
			}
		})
		list, known := want[attribute(n, "name")]
		if !known {
			return
		}
		lists++
		if !slices.Equal(values, list) {
			t.Errorf("of %s can be chosen %q, wanted %q", attribute(n, "name"), values, list)
		}
	})
	if lists != len(want) {
		t.Errorf("%d lists of %d are there", lists, len(want))
	}
}

var shopGroupRE = regexp.MustCompile(`<h2 id="g\d+">([^<]*)</h2>`)

// The shop lists each unit once, under the state that it is in.
func TestTheShopListsUnitsByState(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	for _, serial := range []string{"B0001", "B0002", "B0003"} {
		s.downdrop("", "unit", "receive", "BIU-2", serial, "--by", "p1")
	}
	s.downdrop("", "unit", "statement", "B0002", "not_exposed", "--by", "p1")
	s.downdrop("", "unit", "move", "B0002", "evaluated", "--why", "tested", "--unit", "bad", "--by", "p1")
	_, page := s.get("/shop")
	want := map[string]string{"Received (2)": "B0001 B0003", "Evaluated (1)": "B0002"}
	heads := shopGroupRE.FindAllStringSubmatchIndex(page, -1)
	if len(heads) != len(want) {
		t.Errorf("%d groups", len(heads))
	}
	for i, at := range heads {
		end := len(page)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		head, part := page[at[2]:at[3]], page[at[1]:end]
		for _, serial := range []string{"B0001", "B0002", "B0003"} {
			if is, should := strings.Contains(part, serial), strings.Contains(want[head], serial); is != should {
				t.Errorf("under %q stands %s: %t", head, serial, is)
			}
		}
	}
	_, page = s.get("/unit?of=" + url.QueryEscape("BIU-2/B0002"))
	choosable(t, page, map[string][]string{
		"to":   {"quarantined", "awaiting_customer", "in_repair", "in_test", "core_accepted", "core_refused", "released", "returned_unrepaired", "scrapped"},
		"unit": cases.UnitVerdicts,
	})
	_, page = s.get("/unit?of=" + url.QueryEscape("BIU-2/B0001"))
	choosable(t, page, map[string][]string{"to": {"quarantined", "evaluated", "core_accepted", "core_refused", "returned_unrepaired"}, "state": cases.ContaminationStates})
}
