package quantity_test

import (
	"bufio"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"downdrop/rulebase/quantity"
)

// The corpus: a line is `unit [range] | entry | what is understood`, written by hand.
func TestReadings(t *testing.T) {
	f, err := os.Open("testdata/readings.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	n := 0
	for s := bufio.NewScanner(f); s.Scan(); {
		line := s.Text()
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		parts := strings.Split(line, "|")
		if len(parts) != 3 {
			t.Fatalf("line %q", line)
		}
		n++
		want := quantity.Want{}
		head := strings.Fields(parts[0])
		if len(head) > 0 && head[0] != "-" {
			want.Unit = head[0]
		}
		for _, h := range head[min(1, len(head)):] {
			if h == "DC" || h == "AC" {
				want.Current = h
			} else if _, err := fmt.Sscanf(h, "%g:%g", &want.Low, &want.High); err != nil {
				t.Fatalf("line %q: %v", line, err)
			}
		}
		entry, expected := strings.TrimSpace(parts[1]), strings.TrimSpace(parts[2])
		r, err := quantity.Read(entry, want)
		got := r.String()
		if ask, ok := err.(*quantity.Ask); ok {
			got = "ask: " + ask.Question
		} else if err != nil {
			got = "error: " + err.Error()
		}
		if got != expected {
			t.Errorf("%q in %q: understood %q, want %q", entry, want.Unit, got, expected)
		}
	}
	if n < 150 {
		t.Errorf("the corpus has %d entries, want at least 150", n)
	}
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64
		err        string
	}{
		{"150", "ohm", 150, ""}, {"150 ohm", "ohm", 150, ""}, {"1.5k", "ohm", 1500, ""}, {"1.5 kohm", "ohm", 1500, ""}, {"153.6k", "baud", 153600, ""},
		{"300m", "m", 300, ""}, {"300 m", "m", 300, ""}, {"40 mA", "A", 0.04, ""}, {"40m", "A", 0.04, ""}, {"2 M", "ohm", 2e6, ""}, {"5u", "A", 5e-6, ""}, {"1km", "m", 1000, ""},
		{"-3.5", "V", -3.5, ""}, {"0.5", "V", 0.5, ""}, {"0", "V", 0, ""}, {"1e3", "V", 1000, ""},
		{"1,5", "V", 0, "comma"}, {"010", "ohm", 0, "begins with a zero"}, {"24 A", "V", 0, "not in V"}, {"NaN", "V", 0, "not a number"}, {"inf", "V", 0, "not a number"},
		{".5", "V", 0, "not a number"}, {"", "V", 0, "not a number"}, {"1e999", "V", 0, "too large"}, {"5 V", "", 0, "bare number"},
	} {
		got, err := quantity.Parse(c.text, c.unit)
		switch {
		case c.err == "" && err != nil, c.err != "" && (err == nil || !strings.Contains(err.Error(), c.err)):
			t.Errorf("Parse(%q, %q): error %v, want one with %q", c.text, c.unit, err, c.err)
		case math.Abs(got-c.want) > 1e-15*math.Abs(c.want):
			t.Errorf("Parse(%q, %q) = %v, want %v", c.text, c.unit, got, c.want)
		}
	}
}

// What is printed for people reads back to the same value, to the digits shown.
func TestFormatReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom([]string{"V", "ohm", "A", "baud", "m", "%", "C"}).Draw(t, "unit")
		v := rapid.Float64Range(-1e9, 1e9).Draw(t, "v")
		if rapid.Bool().Draw(t, "small") {
			v /= 1e12
		}
		text := quantity.Format(v, unit)
		r, err := quantity.Read(text, quantity.Want{Unit: unit})
		if ask, ok := err.(*quantity.Ask); ok && len(ask.Choices) == 2 {
			return // three digits behind a point: asked back, as it should be
		}
		got, ok := r.Value()
		if err != nil || !ok || math.Abs(got-v) > 1e-5*math.Abs(v)+1e-12 {
			t.Fatalf("%v prints as %q and reads as %v, %v", v, text, got, err)
		}
	})
}

func TestBand(t *testing.T) {
	limits := []float64{1, 20.4, 28.8}
	for _, c := range []struct {
		text string
		band int
		ok   bool
	}{
		{"0.3 V", 0, true}, {"1 V", 1, true}, {"20.4", 2, true}, {"28.8", 3, true}, {"OL", 3, true}, {"below 1 V", 0, true}, {"below 0.5", 0, true},
		{"below 5", 0, false}, {"above 28.8", 3, true}, {"above 20", 0, false}, {"min 21 max 24", 2, true}, {"min 18 max 24", 0, false}, {"jumps 2 to 12", 1, true},
	} {
		r, err := quantity.Read(c.text, quantity.Want{Unit: "V"})
		if err != nil {
			t.Errorf("%s: %v", c.text, err)
			continue
		}
		band, ok := r.Band(limits)
		if ok != c.ok || ok && band != c.band {
			t.Errorf("%s lies in band %d, %v; want %d, %v", c.text, band, ok, c.band, c.ok)
		}
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"23.8 V", "4k7", "OL", "min 1 max 2", "1,500", "120 at 10:05, 380 at 10:15", "jumps 3 to 40 ohm", "\u2009\u00a0", "<", "1e308k"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, unit := range []string{"", "V", "ohm", "m"} {
			if r, err := quantity.Read(s, quantity.Want{Unit: unit}); err == nil && (math.IsNaN(r.Low) || math.IsInf(r.Low, 0) || math.IsNaN(r.High) || math.IsInf(r.High, 0)) {
				t.Errorf("%q reads as %v", s, r)
			}
			if x, err := quantity.Parse(s, unit); err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
				t.Errorf("%q parses as %v", s, x)
			}
		}
	})
}
