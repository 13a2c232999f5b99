package report_test

import (
	"fmt"
	"io"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// lessons are of twelve cases made by hand, in which one cause is always proven and a light is seldom as it should be.
func lessons(b *rulebase.Base) *learn.Lessons {
	var all []learn.Experience
	for i := range 12 {
		prior := make([]float64, len(b.Causes)+1)
		for c := range prior {
			prior[c] = 1 / float64(len(prior))
		}
		all = append(all, learn.Experience{ID: fmt.Sprintf("mill-%02d", i), Opened: time.Date(2031, 3, 1+3*i, 8, 0, 0, 0, time.UTC), Proven: []int{0}, Prior: prior,
			Seen: []learn.Seen{{Symptom: 1, Row: 0, Value: i % 2, Sure: 0.9}}})
	}
	return learn.Learn(b, all, learn.Options{Worth: 4, WorthWeights: 10, Level: 0.9})
}

func heldOut(patched int, before, after []*cases.Replayed) *learn.Held {
	return &learn.Held{Folds: 3, Patched: patched, Before: sumOf(before), After: sumOf(after), Versus: against(before, after)}
}

func TestLessonsGoldens(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	was, after := replayed().Cases, before()
	gain := heldOut(2, was, after)
	for name, l := range map[string]*report.Lessons{
		"lessons":         {Lessons: lessons(base), Held: gain, Patch: "learned.yaml"},
		"lessons_all":     {Lessons: lessons(base), All: true, Held: heldOut(3, after, was)},
		"lessons_nothing": {Lessons: learn.Learn(base, nil, learn.Usual), Held: heldOut(0, nil, nil)},
	} {
		holds(t, name, func(w io.Writer) error { return l.Text(w, 80) }, l.JSON)
	}
}
