package waveform_test

import (
	"fmt"
	"strings"
	"testing"

	"downdrop/testdata/support"
)

// Every figure of drawn captures is that of yesterday; that they are right the tests beside say, within bounds.
func TestFiguresStayAsTheyAre(t *testing.T) {
	support.Alone(t)
	var b strings.Builder
	for i := range uint64(12) {
		c := draw(1000+i, []string{"wrong_rate", "open_end", "stub", "none", "low_end"}[i%5])
		r := c.play(t, i)
		r.Bursts = nil
		fmt.Fprintf(&b, "== %d %s: %s %v\n%s", i, c.fault, told(r), r.Troubles(), support.Figures(r))
	}
	support.Kept(t, "drawn.txt", b.String())
}
