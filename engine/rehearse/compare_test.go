package rehearse_test

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// Rivals are played against the same breakdowns; none ever takes a step that is not
// on offer, above the person, not to be asked for by phone, or gravely dangerous while a
// harmless one can still change what to do.
func TestRivalsKeepPermission(t *testing.T) {
	support.Alone(t)
	base := shipped.Base(t)
	rivals := rehearse.Rivals(base)
	played := map[rulebase.Place]int{rulebase.Phone: 1, rulebase.Field: 1, rulebase.Bench: 1}
	for place, n := range played {
		c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: support.Deep(t, n), Seed: 528, Places: []rulebase.Place{place}, Variant: rehearse.Own}, rivals)
		if err != nil {
			t.Fatal(err)
		}
		for r := range rivals {
			for i := range c.Runs[r] {
				run := &c.Runs[r][i]
				if run.Forbidden > 0 || run.TooSoon > 0 {
					t.Errorf("%s, %s, breakdown %d: %d steps forbidden, %d too soon", place, rivals[r].Name, i, run.Forbidden, run.TooSoon)
				}
				if run.End == "" || run.Minutes < 0 || run.Needless > run.Removals || run.Vain > run.Remedies {
					t.Errorf("%s, %s, breakdown %d: %+v", place, rivals[r].Name, i, run)
				}
			}
			m := c.Of(r, func(x *rehearse.Run) float64 { return x.Minutes })
			t.Logf("%s %-16s %.0f minutes, %.1f tests, answers %.0f at the median", place, rivals[r].Name, m.Value, c.Of(r, func(x *rehearse.Run) float64 { return float64(x.Tests) }).Value, c.Median(r, func(x *rehearse.Run) float64 { return float64(x.Answers) }))
		}
	}
}

// Where a rulebase is small the best order is among the rivals, and over many
// breakdowns from the rulebase's own numbers none does better than it.
func TestOptimalIsBest(t *testing.T) {
	folders, err := filepath.Glob("../../testdata/checks/features/*/rulebase")
	if err != nil {
		t.Fatal(err)
	}
	small, saved, all := 0, 0.0, 0.0
	for _, folder := range folders {
		base, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Fatal(err)
		}
		rivals := rehearse.Rivals(base)
		at := slices.IndexFunc(rivals, func(r rehearse.Rival) bool { return r.Optimal > 0 })
		if at < 0 || base.Complaint == nil || small == support.Deep(t, 2) {
			continue
		}
		small++
		c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: max(6, support.Deep(t, 6)), Seed: 77, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own}, rivals)
		if err != nil {
			t.Fatal(err)
		}
		for r := range rivals {
			m := c.Saves(r, at)
			if m.High < 0 {
				t.Errorf("%s: %s takes %.1f %% fewer minutes than the best there is (95 %% interval to %.1f)", folder, rivals[r].Name, -100*m.Value, -100*m.High)
			}
			t.Logf("%s %s: %.1f minutes", folder, rivals[r].Name, c.Of(r, (*rehearse.Run).All).Value)
		}
		saved += c.Of(len(rivals)-1, (*rehearse.Run).All).Value - c.Of(at, (*rehearse.Run).All).Value
		all += c.Of(at, (*rehearse.Run).All).Value
	}
	if small == 0 {
		t.Error("none is small")
	}
	t.Logf("%d small rulebases: the default takes %.2f %% more than the best", small, 100*saved/all)
}

// Whoever referees the rivals sees one that pulls at once what may set something in motion: it is not on
// offer, and it is too soon, as long as a harmless look can change what is to be done.
func TestARivalThatDoesNotWaitIsSeen(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, grave := range []string{"motion", "mains", "spark", "stored", "unknown"} {
		t.Run(grave, func(t *testing.T) { rivalThatDoesNotWait(t, string(tiny), grave) })
	}
}

func rivalThatDoesNotWait(t *testing.T, tiny, grave string) {
	t.Parallel()
	const usual = "ends_as: unit_out}"
	moving := strings.Replace(tiny, usual, "hazard: ["+grave+"], warnings: [clear], ends_as: unit_out}", 1)
	if moving == tiny {
		t.Fatalf("the rulebase no longer holds %q", usual)
	}
	moving += "\nwarnings: {clear: {level: danger, says: \"People are clear.\", because: \"Outputs may act.\"}}\n"
	base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: []byte(moving)}}})
	if err != nil {
		t.Fatal(err)
	}
	ref, _ := base.Lookup("exchange")
	exchange := &base.Remedies[ref.Index]
	done := func(d *engine.Diagnosis, id string) bool {
		return slices.ContainsFunc(d.Situation.Done, func(x rulebase.Done) bool { return x.ID == id })
	}
	atOnce := rehearse.Rival{Name: "at once", Pick: func(d *engine.Diagnosis) *rulebase.Step {
		if done(d, "exchange") {
			return nil
		}
		return exchange
	}}
	looked := rehearse.Rival{Name: "looks first", Pick: func(d *engine.Diagnosis) *rulebase.Step {
		for i := range d.Next {
			if d.Next[i].Step.Kind == rulebase.KindTest && d.Fresh(d.Next[i].Step) {
				return d.Next[i].Step
			}
		}
		return atOnce.Pick(d)
	}}
	c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: 30, Seed: 5, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own}, []rehearse.Rival{atOnce, looked})
	if err != nil {
		t.Fatal(err)
	}
	soon, hazardous := 0, 0
	for i, run := range c.Runs[0] {
		if run.TooSoon > run.Hazardous || run.Forbidden < run.TooSoon {
			t.Errorf("breakdown %d: %+v", i, run)
		}
		soon += run.TooSoon
		hazardous += run.Hazardous
	}
	if soon < 25 || hazardous < 30 {
		t.Errorf("of %d exchanges at once %d were seen to be too soon", hazardous, soon)
	}
	for i, run := range c.Runs[1] {
		if run.TooSoon > 0 {
			t.Errorf("breakdown %d: all was looked at, and it was too soon: %+v", i, run)
		}
	}
}

// A call in which the drop comes back costs nothing more, though a lamp may be left that nobody asked for: nobody
// comes, and no unit is counted. One that ends otherwise costs a visit at least.
func TestWhatACallCostsAfterIt(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(string(tiny), "minutes: 40, who: engineer, ends_as: adjusted}", "minutes: 4, at: [phone, field], ends_as: adjusted, proof: {watch: works, minutes: 1}}", 1)
	text = strings.NewReplacer("faults_at_most: 1", "faults_at_most: 2",
		"\nconditions:", "  lamp: {name: \"A lamp is dead\", part: unit, per_thousand: 400, source: practice, remedy: mend_feed}\n\nconditions:").Replace(text)
	if !strings.Contains(text, "lamp") || !strings.Contains(text, "at: [phone") {
		t.Fatal("the rulebase no longer holds what is changed here")
	}
	base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: 60, Seed: 3, Places: []rulebase.Place{rulebase.Phone}, Variant: rehearse.Own}, rehearse.Rivals(base)[:1])
	if err != nil {
		t.Fatal(err)
	}
	ends := map[rehearse.End]int{}
	for i, run := range c.Runs[0] {
		ends[run.End]++
		if run.End == rehearse.Restored && (run.After != 0 || !run.Right || run.Units > 0) || run.End != rehearse.Restored && !(run.After >= base.Effort.Visit) {
			t.Errorf("breakdown %d: %+v", i, run)
		}
	}
	if ends[rehearse.Restored] < 3 || ends[rehearse.Advised] < 3 {
		t.Errorf("ends %v", ends)
	}
}

// Who swaps the unit first takes it out once in every breakdown, and goes by the list from then on.
func TestWhoSwapsFirstSwapsOnce(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: bytes.ReplaceAll(tiny, []byte("who: engineer"), []byte("who: technician"))}}})
	if err != nil {
		t.Fatal(err)
	}
	order := rehearse.SwapUnitFirst()
	c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: 40, Seed: 7, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own}, []rehearse.Rival{{Name: order.Name, Order: &order}})
	if err != nil {
		t.Fatal(err)
	}
	well := 0
	for i, run := range c.Runs[0] {
		if run.Units != 1 || run.End == rehearse.Restored && run.UnitsVain == 1 && run.Remedies < 2 {
			t.Errorf("breakdown %d: %+v", i, run)
		}
		if run.End == rehearse.Restored && run.UnitsVain == 1 {
			well++ // it was not the unit, and the list led on
		}
	}
	if well < 5 {
		t.Errorf("in %d breakdowns something else than the unit was found behind the swap", well)
	}
}
