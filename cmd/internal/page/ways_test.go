package page_test

import (
	"fmt"
	"testing"

	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// A way is how somebody works a page: on a phone's screen or a desk's, by keys alone or by presses of a
// finger or the mouse, with scripts or without.
type way struct {
	size          [2]int
	keys, scripts bool
}

func (w way) String() string {
	by, scripts := "presses", "without"
	if w.keys {
		by = "keys"
	}
	if w.scripts {
		scripts = "with"
	}
	return fmt.Sprintf("%d wide, by %s, %s scripts", w.size[0], by, scripts)
}

// name is for pictures.
func (w way) name() string {
	return fmt.Sprintf("%d-%s-%s", w.size[0], map[bool]string{true: "keys", false: "presses"}[w.keys], map[bool]string{true: "scripts", false: "none"}[w.scripts])
}

// tab opens a browser for a way.
func (w way) tab(s *served) *browser.Tab {
	s.t.Helper()
	return s.tab(browser.Options{Width: w.size[0], Height: w.size[1], NoScript: !w.scripts})
}

// everyWay plays a job, side by side, in four ways in which any two of size, hands and scripts meet in each way
// that they can, and from DOWNDROP_DEEP=4 in all eight. It takes many seconds, so that a step of CI does it, with
// DOWNDROP_DEEP=2; without is the test that plays the same job without a browser.
func everyWay(t *testing.T, without string, play func(*testing.T, way)) {
	t.Helper()
	times := support.Deep(t, 1)
	if times == 1 {
		t.Skip("a step of CI plays it, with DOWNDROP_DEEP=2; " + without + " does without a browser")
	}
	t.Parallel() // most of it is waiting: for a browser, and hands that rest between presses
	var ways []way
	for i, size := range sizes {
		for _, keys := range []bool{false, true} {
			for _, scripts := range []bool{false, true} {
				if times >= 4 || scripts == ((i == 0) != keys) {
					ways = append(ways, way{size, keys, scripts})
				}
			}
		}
	}
	for _, w := range ways {
		t.Run(w.String(), func(t *testing.T) {
			t.Parallel()
			play(t, w)
		})
	}
}
