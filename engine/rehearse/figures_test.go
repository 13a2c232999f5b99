package rehearse_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
)

// Means, intervals, medians and what one rival saves another, on four breakdowns that can be reckoned on paper.
func TestFiguresOfAComparison(t *testing.T) {
	c := rehearse.Comparison{Runs: [][]rehearse.Run{
		{{Minutes: 10, After: 2, Tests: 1}, {Minutes: 20, Tests: 2}, {Minutes: 30, Tests: 7}, {Minutes: 38, Tests: 4}},
		{{Minutes: 6, Tests: 1}, {Minutes: 10, After: 4, Tests: 1}, {Minutes: 20, Tests: 1}, {Minutes: 20, Tests: 1}},
	}}
	near := func(what string, got rehearse.Mean, value, half float64) {
		t.Helper()
		if !(math.Abs(got.Value-value) <= 1e-12) || !(math.Abs(got.Low-(value-half)) <= 1e-12) || !(math.Abs(got.High-(value+half)) <= 1e-12) {
			t.Errorf("%s is %+v, wanted %v ± %v", what, got, value, half)
		}
	}
	// 12, 20, 30, 38: mean 25, squares 169 + 25 + 25 + 169 = 388, over 3 and over 4.
	near("all minutes", c.Of(0, (*rehearse.Run).All), 25, 1.96*math.Sqrt(388./3/4))
	// Saved are 6, 6, 10, 18: mean 10, squares 16 + 16 + 0 + 64 = 96; over the mean of 25.
	near("saved", c.Saves(0, 1), 10./25, 1.96*math.Sqrt(96./3/4)/25)
	// 6, 14, 20, 20: mean 15, of which the other takes 10 more.
	near("saved the other way", c.Saves(1, 0), -10./15, 1.96*math.Sqrt(96./3/4)/15)
	tests := func(r *rehearse.Run) float64 { return float64(r.Tests) }
	if got := c.Median(0, tests); got != 3 { // 1, 2, 4, 7
		t.Errorf("the median of four is %v", got)
	}
	c.Runs[0] = c.Runs[0][:3]
	if got := c.Median(0, tests); got != 2 { // 1, 2, 7
		t.Errorf("the median of three is %v", got)
	}
	c.Runs[0] = c.Runs[0][:1]
	near("of one", c.Of(0, tests), 1, 0)
	c.Runs[0] = nil
	near("of none", c.Of(0, tests), 0, 0)
	near("saved of none", c.Saves(0, 1), 0, 0)
	if got := c.Median(0, tests); got != 0 {
		t.Errorf("the median of none is %v", got)
	}
}

// What cases come to is counted place by place; a wrong end is named with what there was to do.
func TestSumsOfCourses(t *testing.T) {
	list := func(lists ...string) engine.ToDo { return engine.ToDo{Lists: lists} }
	ended := func(number int, end rehearse.End, is, advised engine.ToDo, v rehearse.Verdict) rehearse.Course {
		v.True = is
		d := &engine.Diagnosis{Possible: true}
		d.Advice.Lead = advised
		return rehearse.Course{Place: rulebase.Field, Number: number, End: end, Minutes: float64(10 * number), Final: d, Verdict: v}
	}
	fuse, plug := list("new_fuse"), list("push_plug new_plug")
	impossible := ended(6, rehearse.Restored, engine.ToDo{Outside: true}, engine.ToDo{}, rehearse.Verdict{})
	impossible.Final.Possible = false
	call := ended(7, rehearse.Advised, fuse, plug, rehearse.Verdict{Stated: 0.5, Cheapest: engine.SolveNow, NeedlessVisit: true})
	call.Place = rulebase.Phone
	call.Final.Disposition = &engine.Disposition{Kind: engine.SendUnit}
	got := rehearse.Sum([]rehearse.Course{
		ended(1, rehearse.Advised, fuse, fuse, rehearse.Verdict{Right: true, Stated: 0.9, Tests: 2}),
		ended(2, rehearse.Advised, fuse, plug, rehearse.Verdict{Part: true, Stated: 0.999, NeedlessTries: 2, Condemned: true}),
		ended(3, rehearse.Restored, fuse, plug, rehearse.Verdict{Stated: 0.7, Condemned: true, Bad: true, Forbidden: 1}),
		ended(4, rehearse.CannotTell, fuse, plug, rehearse.Verdict{Bad: true, DeclaredGood: true, Stated: 1}), // neither right nor wrong
		ended(5, rehearse.RanOut, fuse, plug, rehearse.Verdict{}),
		impossible, call,
	})
	want := []rehearse.Figures{
		{Place: rulebase.Phone, Cases: 1, Advice: rehearse.Share{Hits: 1, Of: 1}, Right: rehearse.Share{Of: 1}, Stated: 0.5, Part: rehearse.Share{Of: 1},
			Restored: rehearse.Share{Of: 1}, CannotTell: rehearse.Share{Of: 1}, RanOut: rehearse.Share{Of: 1},
			NeedlessVisit: rehearse.Share{Hits: 1, Of: 1}, SecondVisit: rehearse.Share{Of: 1}, CondemnedOfCalls: rehearse.Share{Of: 1}, FalseCertainty: rehearse.Share{Of: 1}, Minutes: 70,
			Confused: []rehearse.Confusion{{True: "solve_now: new_fuse", Advised: "send_unit: push_plug>new_plug", Count: 1, Numbers: []int{7}}}},
		{Place: rulebase.Field, Cases: 6, Advice: rehearse.Share{Hits: 4, Of: 6}, Right: rehearse.Share{Hits: 1, Of: 4}, Stated: (0.9 + 0.999 + 0.7) / 4, Part: rehearse.Share{Hits: 1, Of: 4},
			Restored: rehearse.Share{Hits: 2, Of: 6}, CannotTell: rehearse.Share{Hits: 1, Of: 6}, RanOut: rehearse.Share{Hits: 1, Of: 6},
			CondemnedOfCalls: rehearse.Share{Hits: 1, Of: 6}, CondemnedOfPulled: rehearse.Share{Hits: 1, Of: 2}, DeclaredGood: rehearse.Share{Hits: 1, Of: 2}, FalseCertainty: rehearse.Share{Hits: 1, Of: 4},
			NeedlessTries: 2. / 6, Tests: 2. / 6, Minutes: 35, Forbidden: 1,
			Confused: []rehearse.Confusion{{True: "new_fuse", Advised: "push_plug>new_plug", Count: 2, Numbers: []int{2, 3}}, {True: "outside", Advised: "impossible", Count: 1, Numbers: []int{6}}}},
	}
	if d := cmp.Diff(want, got, cmp.Comparer(func(a, b float64) bool { return math.Abs(a-b) < 1e-12 })); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
	for _, c := range []struct {
		is   engine.ToDo
		want string
	}{
		{engine.ToDo{}, "nothing"}, {engine.ToDo{Outside: true}, "outside"}, {list("a b", "c"), "a>b + c"},
		{engine.ToDo{Lists: []string{"a"}, Elsewhere: true}, "a + elsewhere"}, {engine.ToDo{Elsewhere: true}, "elsewhere"},
	} {
		if got := rehearse.Named(c.is); got != c.want {
			t.Errorf("%+v is named %q, wanted %q", c.is, got, c.want)
		}
	}
	for n, names := range map[int]string{2: "[1 2]", 3: "[1 2 3]", 5: "[1 2 3]"} { // three cases of each are enough to look at
		var all []rehearse.Course
		for i := range n {
			all = append(all, ended(i+1, rehearse.Advised, fuse, plug, rehearse.Verdict{}))
		}
		if c := rehearse.Sum(all)[0].Confused[0]; c.Count != n || fmt.Sprint(c.Numbers) != names {
			t.Errorf("%d times: %+v", n, c)
		}
	}
}
