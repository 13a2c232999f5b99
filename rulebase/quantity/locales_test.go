package quantity_test

import (
	"errors"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"downdrop/rulebase/quantity"
)

// Entries of four locales parse as listed or are asked back with the unit; none is
// silently taken for something else.
func TestEntriesOfFourLocales(t *testing.T) {
	text, err := os.ReadFile("testdata/locales.tsv")
	if err != nil {
		t.Fatal(err)
	}
	read, asked := 0, 0
	for line := range strings.Lines(string(text)) {
		f := strings.Split(strings.TrimRight(line, "\n"), "\t")
		if strings.HasPrefix(line, "#") {
			continue
		}
		if len(f) != 4 {
			t.Fatalf("not a row: %q", line)
		}
		got, err := quantity.Read(f[1], quantity.Want{Unit: f[2]})
		var question *quantity.Question
		switch {
		case errors.As(err, &question):
			if f[3] != "ask" {
				t.Errorf("%s %q is asked back: %v", f[0], f[1], err)
			}
			if !strings.Contains(question.Error(), f[2]) {
				t.Errorf("%s %q is asked back without its unit %s: %v", f[0], f[1], f[2], question)
			}
			asked++
		case err != nil:
			t.Errorf("%s %q: %v", f[0], f[1], err)
		case f[3] == "ask":
			t.Errorf("%s %q is taken for %v and should be asked back", f[0], f[1], got)
		default:
			want, err := strconv.ParseFloat(f[3], 64)
			if err != nil {
				t.Fatal(err)
			}
			if got.Shape != quantity.Exact || !(math.Abs(got.Low-want) <= 1e-9*math.Max(1, math.Abs(want))) {
				t.Errorf("%s %q is %v, not %v", f[0], f[1], got.Low, want)
			}
			read++
		}
	}
	if read < 250 || asked < 30 {
		t.Errorf("%d read, %d asked back", read, asked)
	}
	t.Logf("%d read as listed, %d asked back", read, asked)
}
