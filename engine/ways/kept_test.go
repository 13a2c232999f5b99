package ways_test

import (
	"fmt"
	"math/big"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"downdrop/engine/ways"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// What drawn prices decide, with every cost and all that would turn it, is what it was.
func TestDecisionsStayAsTheyAre(t *testing.T) {
	var b strings.Builder
	r := rand.New(rand.NewPCG(31, 712))
	for n := range 24 {
		name := []string{"tide_mill.yaml", "shop.yaml"}[n%2]
		text, err := os.ReadFile("../../cases/examples/prices/" + name)
		if err != nil {
			t.Fatal(err)
		}
		p := support.DrawnAs(r, text, func(text []byte) (*rulebase.Prices, error) { return rulebase.ReadPrices(name, text) })
		d, err := ways.Decide(p, ways.Case{Bad: big.NewRat(int64(r.IntN(101)), 100), Pulled: r.IntN(3) == 0, SerialReturns: r.IntN(3)})
		fmt.Fprintf(&b, "== %d %v\n", n, err)
		if err == nil {
			b.WriteString(support.Figures(d.Ways) + support.Figures(d.Withheld) + support.Figures(d.Turns))
			fmt.Fprintln(&b, d.Tied)
		}
	}
	support.Kept(t, "drawn.txt", b.String())
}
