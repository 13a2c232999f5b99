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

// everyWay plays a job in each of the eight ways, side by side, where DOWNDROP_DEEP has the time for it, as in
// CI's step for browsers; else in those that are named.
func everyWay(t *testing.T, play func(*testing.T, way), usual ...way) {
	t.Helper()
	ways := usual
	deep := support.Deep(t, 1) > 1
	if deep {
		ways = nil
		for _, size := range sizes {
			for _, keys := range []bool{false, true} {
				for _, scripts := range []bool{false, true} {
					ways = append(ways, way{size, keys, scripts})
				}
			}
		}
	}
	for _, w := range ways {
		t.Run(w.String(), func(t *testing.T) {
			if deep {
				t.Parallel()
			}
			play(t, w)
		})
	}
}
