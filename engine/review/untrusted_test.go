package review_test

import (
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"downdrop/engine/review"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// strangers are rulebases that somebody might send who wants the program to work for ever or
// the memory to fill: all are as large as one from elsewhere may be, each in another way. In a
// line %d counts, %c counts round a few causes or symptoms.
func strangers() map[string]string {
	some := func(n int, line string) string {
		var b strings.Builder
		for i := range n {
			b.WriteString(strings.ReplaceAll(line, "%d", fmt.Sprint(i)))
		}
		return b.String()
	}
	const header = "rulebase: {name: x, version: 1}\n"
	causes := func(n int) string {
		return header + "causes:\n" + some(n, "  c%d: {name: n%d, per_thousand: 1, source: common_practice}\n")
	}
	symptoms := func(n int) string {
		return "symptoms:\n" + some(n, "  s%d: {ask: a%d, values: [a, b], shows: [{when: c%d, a: always}, {a: rarely, b: usually}]}\n")
	}
	fixed := func(n int) (ids string) {
		for i := range n {
			ids += fmt.Sprintf("s%d, ", 399-i)
		}
		return ids
	}
	givens := header + "givens:\n" + some(2000, "  g%d: {ask: a, unit: m, range: [1, 2000], default: 5}\n")
	var or strings.Builder
	for i := range 150 {
		fmt.Fprintf(&or, " or c%d", 13*i)
	}
	all := map[string]string{}
	for name, x := range map[string][2]string{
		"causes":                  {header + "remedies:\n  m: {do: x, minutes: 1, ends_as: unit_out}\ncauses:\n", "  c%d: {name: n%d, per_thousand: 1, source: common_practice, part: unit, remedy: m}\n"},
		"causes of a thousand":    {causes(990) + symptoms(400) + "conditions:\n", "  d%d: {when: c%c or c1}\n"},
		"chains of conditions":    {causes(1) + "conditions:\n  x0: {when: c0}\n", "  x%n: {when: x%d and c0}\n"},
		"chains of rules":         {header + "givens: {f0: {}}\nrules:\n", "  r%d: {when: f%d, then: {f%n: true}, source: common_practice}\n"},
		"long conditions":         {causes(2000) + "conditions:\n", "  d%d: {when: c1" + or.String() + "}\n"},
		"symptoms":                {causes(2000) + "symptoms:\n", "  s%d: {ask: a%d, values: [a, b], shows: [{when: c%c, a: always}, {a: rarely, b: usually}]}\n"},
		"symptoms that are alike": {causes(20) + "symptoms:\n", "  s%d: {ask: \"Is the lamp of the unit in the second row lit\", values: [a, b], shows: [{when: c1, a: always}, {a: rarely, b: usually}]}\n"},
		"rows":                    {causes(2000) + "symptoms:\n  s:\n    ask: a\n    values: [a, b]\n    shows:\n", "      - {when: c%c, a: 0.%d}\n"},
		"tests":                   {causes(400) + symptoms(400) + "tests:\n", "  t%d: {do: x%d, yields: [s%e], minutes: 6, needs: [meter], at: [field, bench], who: technician, stops: bus, puts_right: [c%e]}\n"},
		"tools":                   {causes(400) + symptoms(400) + "tests:\n", "  t%d: {do: x%d, yields: [s%e], minutes: 6, needs: [tool%d, tool%n], at: [field, bench]}\n"},
		"tests of many symptoms":  {causes(400) + symptoms(400) + "tests:\n", "  t%d: {do: x%d, yields: [" + fixed(20) + "s%e]}\n"},
		"givens":                  {header + "givens:\n", "  g%d: {ask: a, unit: m, range: [1, 2000], default: 5}\n"},
		"flags that rows read":    {causes(200) + "givens:\n" + some(300, "  g%d: {default: false}\n") + "symptoms:\n", "  s%d: {ask: a%d, values: [a, b], shows: [{when: c%f and g%e and not g%f, a: always}, {a: rarely, b: usually}]}\n"},
		"rules on numbers":        {givens + "rules:\n", "  r%d: {when: g%c > 3 and g%e * 2 < 40, then: {h%f: true}, source: common_practice}\n"},
		"warnings":                {header + "warnings:\n", "  w%d: {level: warning, says: a}\n"},
		"sources":                 {header + "sources:\n", "  s%d: {says: a}\n"},
		"unknown names":           {header + "conditions:\n", "  c%d: {when: d%d}\n"},
		"words":                   {header + "sources:\n  s: {says: ", "word%d "},
	} {
		// The whole size, which may be more values than one file holds, and one that loads.
		for share, of := range map[string]float64{"": 1, ", half": 0.55} {
			text := longAs(x[0], x[1], of)
			if name == "words" {
				text += "}\n"
			}
			all[name+share] = text
		}
	}
	return all
}

// longAs repeats a line until the text is as long as a share of what one from elsewhere may be.
func longAs(begin, line string, share float64) string {
	marks := func(text string) int {
		n := 0
		for _, mark := range []string{",", "\n", "- ", "[", "{"} {
			n += strings.Count(text, mark)
		}
		return n
	}
	var b strings.Builder
	b.WriteString(begin)
	n := marks(begin)
	for i := 0; ; i++ {
		more := strings.NewReplacer("%d", fmt.Sprint(i), "%n", fmt.Sprint(i+1), "%c", fmt.Sprint(i%900), "%e", fmt.Sprint(i%300), "%f", fmt.Sprint(i*7%190)).Replace(line)
		n += marks(more)
		if float64(b.Len()+len(more)+2) > share*rulebase.StrangersBytes || float64(n) > share*rulebase.StrangersValues {
			return b.String()
		}
		b.WriteString(more)
	}
}

func lookAt(text string) (loads bool, result review.Result, err error) {
	layer := rulebase.Layer{Name: "x", FS: fstest.MapFS{"a.yaml": &fstest.MapFile{Data: []byte(text)}}}
	if err := rulebase.CheckSize(layer); err != nil {
		return false, review.Result{}, err
	}
	base, err := rulebase.Load(layer)
	if err != nil {
		return false, review.Result{}, nil
	}
	return true, review.Within(base, nil, review.StrangersWork), nil
}

// Whoever sends a rulebase gets an answer, and no more than so much work; the shipped one is
// far from that.
func TestStrangersGetSoMuchWork(t *testing.T) {
	loaded, stopped := 0, 0
	all := strangers()
	for i, name := range slices.Sorted(maps.Keys(all)) {
		if !strings.HasSuffix(name, "half") || i%4 != 1 && support.Deep(t, 1) == 1 {
			continue // those that do not load are the benchmark's, most of the others are DOWNDROP_DEEP's
		}
		text := all[name]
		began := time.Now()
		loads, result, err := lookAt(text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if took := time.Since(began); took > 30*time.Second {
			t.Errorf("%s: no answer in 30 s", name)
		}
		if loads {
			loaded++
			if !result.Whole {
				stopped++
			}
			if len(result.Found) > 100_000 {
				t.Errorf("%s: %d findings", name, len(result.Found))
			}
		}
	}
	if loaded < 4 || stopped < 1 {
		t.Errorf("%d of them load, the work of %d is too much: they try nothing", loaded, stopped)
	}
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	tests, err := base.RuleTests()
	if err != nil {
		t.Fatal(err)
	}
	if r := review.Within(base, tests, review.NoLimit); r.Work > review.StrangersWork/3 {
		t.Errorf("the shipped rulebase takes %d steps of work; one from elsewhere may take %d", r.Work, review.StrangersWork)
	} else {
		t.Logf("the shipped rulebase takes %d steps", r.Work)
	}
	if err := rulebase.CheckSize(rulebase.Layer{Name: "drop", FS: rulebase.Shipped()}); err != nil {
		t.Error(err)
	}
}

// Stopping is no matter of chance: the same rulebase comes to the same end.
func TestReviewStopsAtTheSamePlace(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	whole := review.Within(base, nil, review.NoLimit)
	if !whole.Whole {
		t.Fatal("without a limit it stopped")
	}
	for _, most := range []int{0, 1000, whole.Work / 2, whole.Work - 1} {
		x, y := review.Within(base, nil, most), review.Within(base, nil, most)
		if x.Whole || x.Work != y.Work || len(x.Found) != len(y.Found) || len(x.Found) > len(whole.Found) {
			t.Errorf("%d steps: %t, %d and %d steps, %d and %d found", most, x.Whole, x.Work, y.Work, len(x.Found), len(y.Found))
		}
	}
	if exact := review.Within(base, nil, whole.Work); !exact.Whole {
		t.Error("as much work as it takes is not enough")
	}
}

// The longest answer to a rulebase from elsewhere, and the most memory.
func BenchmarkUntrusted(b *testing.B) {
	for name, text := range strangers() {
		b.Run(strings.ReplaceAll(name, " ", "_"), func(b *testing.B) {
			stop, most := make(chan bool), make(chan uint64)
			go func() {
				var m runtime.MemStats
				top := uint64(0)
				for {
					runtime.ReadMemStats(&m)
					top = max(top, m.HeapInuse+m.StackInuse)
					select {
					case <-stop:
						most <- top
						return
					case <-time.After(5 * time.Millisecond):
					}
				}
			}()
			before := support.ProcessorTime()
			for b.Loop() {
				if _, _, err := lookAt(text); err != nil {
					b.Fatal(err)
				}
			}
			close(stop)
			b.ReportMetric(float64(<-most)/(1<<20), "MiB-most")
			b.ReportMetric((support.ProcessorTime()-before).Seconds()/float64(b.N), "cpu-s/op")
		})
	}
}
