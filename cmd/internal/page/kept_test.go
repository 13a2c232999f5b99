package page_test

import (
	"net/http"
	"net/url"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// What is put in for a test is kept only as one of the things that can be put in, and with where it is.
func TestPuttingIn(t *testing.T) {
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
}

var shopGroupRE = regexp.MustCompile(`<h2 id="g\d+">([^<]*)</h2>`)

// The shop lists each unit once, under the state that it is in.
func TestTheShopListsUnitsByState(t *testing.T) {
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
}
