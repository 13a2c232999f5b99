package sheet_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// Whatever is reckoned of drawn sheets is what it was: every rule with its figure, limit and sum, the facts for the
// rulebase, and where along the trunk something may be.
func TestSheetsStayAsTheyAre(t *testing.T) {
	var b strings.Builder
	r := rand.New(rand.NewPCG(31, 711))
	for n := range 24 {
		s := support.DrawnAs(r, []byte(exampleText(t)), func(text []byte) (*rulebase.Sheet, error) {
			return rulebase.ReadSheet("sheet.yaml", text, sheet.Kinds())
		})
		results := sheet.Check(s)
		fmt.Fprintf(&b, "== %d\n", n)
		for _, x := range results {
			fmt.Fprintf(&b, "%s %s: %s %.6g of %.6g %s; %s; %s; %s", x.Rule, x.Where, x.Verdict, x.Figure, x.Limit, x.Unit, x.Says, x.Sum, x.Do)
			if x.Along != nil {
				fmt.Fprintf(&b, "; along %+v", *x.Along)
			}
			b.WriteString("\n")
		}
		var drops []string
		for _, d := range s.Drops {
			drops = append(drops, d.Name)
		}
		for _, d := range append(drops[:min(2, len(drops))], "") {
			facts, sums := sheet.Facts(s, d, results)
			b.WriteString(support.Figures(facts) + support.Figures(sums))
		}
		for i, seg := range sheet.Segments(s) {
			fmt.Fprintf(&b, "segment %d: %s\n", i, strings.ReplaceAll(support.Figures(seg), "\n", "; "))
		}
		at := 400 * r.Float64()
		for _, reading := range []float64{60 + 30*r.Float64(), 150 * r.Float64()} {
			b.WriteString(support.Figures(sheet.Explain(s, at, reading, r.IntN(2) == 0)))
		}
		ways, known := sheet.Expected(s, at, []float64{100, 300}, []float64{200})
		fmt.Fprintf(&b, "at %.6g: %v %v\n%s", at, known, sheet.Lost(s, at), support.Figures(ways))
		for _, ohm := range []float64{1, 5, 20} {
			short, ok := sheet.ToShort(s, ohm, r.IntN(2) == 0)
			fmt.Fprintf(&b, "%v ohm: %.6g %v\n", ohm, short, ok)
		}
		drop, middle, ok := sheet.Halve(s, at/3, at)
		fmt.Fprintf(&b, "half of it: %s %.6g %v\n", drop, middle, ok)
		b.WriteString(support.Figures(sheet.Spots(s, at, 150*r.Float64(), 25)))
		stubs, fits := sheet.StubsOf(s, 6*r.Float64(), 2)
		volts, said := sheet.Idle(s, at)
		fmt.Fprintf(&b, "%s%v; idle %.6g %v\n", support.Figures(stubs), fits, float64(volts), said)
		if e, ok := sheet.EchoOf(s, 3); ok {
			b.WriteString(support.Figures(e))
		}
	}
	support.Kept(t, "drawn.txt", b.String())
}
