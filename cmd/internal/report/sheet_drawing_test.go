package report_test

import (
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// The trunk of a sheet is drawn to scale: by the marks of its ruler, every drop, terminator, stub, device,
// joint and hatching is where the sheet has it, and every drop has its name at the foot of its line.
func TestATrunkIsDrawnToScale(t *testing.T) {
	mill, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	const edges = `sheet: Weir house, trunk 2
line: token_pair
length_limit: 500 m
cable: [{length: 650 m}, {length: 230 m}]
terminators: [{at: host}, {at: 880 m}]
drops:
  - {drop: gate of the upper weir, at: 0 m, address: 1}
  - {drop: PUMP, at: 150 m, address: 2}
  - {drop: fish ladder below the weir, at: 700 m, address: 3}
  - {drop: GATE, at: 740 m, address: 4}
  - {drop: the pump house at the far bank where the river bends, at: 880 m}
`
	const bare = "sheet: s\nline: token_pair\ncable: [{length: 7 m}]\ndrops: [{drop: a, at: 7 m}]\n"
	for name, text := range map[string]string{"tide mill": string(mill), "crowded": crowded, "edges": edges, "bare": bare} {
		s, err := rulebase.ReadSheet("sheet.yaml", []byte(text), sheet.Kinds())
		if err != nil {
			t.Fatal(err)
		}
		results := sheet.Check(s)
		page := svgOf(t, func(w io.Writer) error { return report.SheetPage(w, s, results) })
		_, rest, _ := strings.Cut(page, "<svg")
		svg, _, _ := strings.Cut(rest, "</svg>")
		d := readDrawing(t, "<svg"+svg+"</svg>", styleOf.FindString(page))
		d.tidy(t, name)
		place := ruled(t, name, d, s.TrunkM())
		stands := func(what string, class string, is string, at []float64, of func(drawnThing) float64) []drawnThing {
			t.Helper()
			all := d.of(is, class)
			if len(all) != len(at) {
				t.Fatalf("%s: %d %s are drawn, and there are %d", name, len(all), what, len(at))
			}
			for i, x := range all {
				if !(math.Abs(of(x)-place(at[i])) <= 0.2) {
					t.Errorf("%s: %s %d stands at %.1f, and %g m are at %.1f", name, what, i+1, of(x), at[i], place(at[i]))
				}
			}
			return all
		}
		middle := func(x drawnThing) float64 { return (x.left + x.right) / 2 }
		var drops, stubs, devices, joints []float64
		for _, x := range s.Drops {
			drops = append(drops, x.AtM)
		}
		for _, x := range s.Stubs {
			stubs = append(stubs, x.AtM)
		}
		for _, x := range s.Inline {
			devices = append(devices, x.AtM)
		}
		at := 0.0
		for _, x := range s.Cable[:len(s.Cable)-1] {
			at += x.LengthM
			joints = append(joints, at)
		}
		stands("stubs", "stub", "line", stubs, middle)
		stands("joints", "joint", "line", joints, middle)
		feet := stands("drops", "drop", "line", drops, middle)
		names := d.of("text", "name")
		for i, x := range names {
			if !strings.HasPrefix(x.says, s.Drops[i].Name) || x.top < feet[i].bottom-3 || x.top > feet[i].bottom+6 || x.left > middle(feet[i])+1 || x.right < middle(feet[i])-1 {
				t.Errorf("%s: %q stands at %.0f, its line at %.0f", name, x.says, x.box, feet[i].box)
			}
		}
		boxes := stands("devices", "device", "rect", devices, middle)
		for i, x := range boxes {
			if !slices.ContainsFunc(d.of("text", "small"), func(l drawnThing) bool {
				return l.within(x.box) && l.says == strings.ToUpper(s.Inline[i].Kind[:1])
			}) {
				t.Errorf("%s: device %s has no letter in it", name, s.Inline[i].Name)
			}
		}
		for i, x := range d.of("rect", "terminator") { // beside a device that sends anew
			if off := math.Abs(middle(x) - place(s.Terminators[i].AtM)); off > 0.2 && !slices.Contains(devices, s.Terminators[i].AtM) || off > 25 {
				t.Errorf("%s: terminator %d stands at %.1f", name, i+1, middle(x))
			}
			for _, y := range boxes {
				if x.over(y.box) {
					t.Errorf("%s: terminator %d lies on a device", name, i+1)
				}
			}
		}
		if got := len(d.of("rect", "terminator")); got != len(s.Terminators) {
			t.Errorf("%s: %d terminators are drawn of %d", name, got, len(s.Terminators))
		}
		letters := d.of("text", "letter")
		hatched := slices.DeleteFunc(d.of("rect", ""), func(x drawnThing) bool { return x.class != "" })
		if len(hatched) != len(letters) {
			t.Fatalf("%s: %d letters for %d hatchings", name, len(letters), len(hatched))
		}
		for _, r := range results {
			if r.Along == nil || r.Verdict != sheet.Fail && r.Verdict != sheet.Marginal {
				continue
			}
			from, to := place(r.Along.FromM), place(r.Along.ToM)
			if to-from < 16 { // as wide as can be seen
				from, to = (from+to)/2-8, (from+to)/2+8
			}
			if !slices.ContainsFunc(hatched, func(x drawnThing) bool {
				return math.Abs(x.left-from) < 0.2 && math.Abs(x.right-to) < 0.2
			}) {
				t.Errorf("%s: %s is hatched nowhere from %.1f to %.1f", name, r.Rule, from, to)
			}
		}
		for i, x := range hatched {
			if !(math.Abs(middle(x)-middle(letters[i])) <= 0.2) || letters[i].bottom > x.top || letters[i].bottom < x.top-19*8 {
				t.Errorf("%s: letter %s stands at %.0f, its hatching at %.0f", name, letters[i].says, letters[i].box, x.box)
			}
		}
	}
}

// ruled reads the ruler of a trunk: where so many metres are. Between two marks with numbers there are
// four small ones, and none stands beyond the trunk's end.
func ruled(t *testing.T, name string, d *drawing, trunk float64) func(metres float64) float64 {
	t.Helper()
	ruler := d.of("line", "ruler")
	whole := ruler[0]
	var marks, small []drawnThing
	for _, x := range ruler[1:] {
		if x.bottom != whole.top || x.left != x.right {
			t.Errorf("%s: a mark of the ruler stands at %v", name, x.box)
		}
		if x.bottom-x.top > 5 {
			marks = append(marks, x)
		} else {
			small = append(small, x)
		}
	}
	place := func(metres float64) float64 { return whole.left + (whole.right-whole.left)*metres/trunk }
	var numbers []float64
	for _, mark := range marks {
		for _, x := range d.of("text", "small") {
			if x.x == mark.left && x.bottom < mark.top && x.bottom > mark.top-12 {
				numbers = append(numbers, number(t, strings.TrimSuffix(x.says, " m")))
			}
		}
	}
	if len(numbers) != len(marks) || len(marks) < 4 || len(marks) > 10 || numbers[0] != 0 {
		t.Fatalf("%s: the ruler has %d marks and the numbers %v", name, len(marks), numbers)
	}
	step := numbers[1]
	for i, mark := range marks {
		if !(math.Abs(numbers[i]-float64(i)*step) <= 1e-9) || !(math.Abs(mark.left-place(numbers[i])) <= 0.1) {
			t.Errorf("%s: the mark of %g m stands at %.1f", name, numbers[i], mark.left)
		}
	}
	if last := numbers[len(numbers)-1]; last > trunk || last+step <= trunk {
		t.Errorf("%s: the last mark is at %g m of %g", name, last, trunk)
	}
	var want []float64
	for i := 1; float64(i)*step/5 < trunk-1e-9; i++ {
		if i%5 != 0 {
			want = append(want, place(float64(i)*step/5))
		}
	}
	if len(small) != len(want) {
		t.Fatalf("%s: the ruler has %d small marks, wanted %d", name, len(small), len(want))
	}
	for i, x := range small {
		if !(math.Abs(x.left-want[i]) <= 0.1) {
			t.Errorf("%s: a small mark stands at %.1f, wanted %.1f", name, x.left, want[i])
		}
	}
	return place
}
