package quantity_test

import (
	"bufio"
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"downdrop/rulebase/quantity"
)

// TestMain sets how many random readings are tried: 1,000, times DOWNDROP_DEEP.
func TestMain(m *testing.M) {
	deep, _ := strconv.Atoi(os.Getenv("DOWNDROP_DEEP"))
	if err := flag.Set("rapid.checks", strconv.Itoa(1000*max(1, deep))); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// TestReadings goes through testdata/readings.txt: a line is
//
//	unit [DC|AC] [low:high] | what is typed | what is understood, or after ? asked
//
// written and judged by hand. DOWNDROP_WRITE=1 writes it anew, to be judged again.
func TestReadings(t *testing.T) {
	const name = "testdata/readings.txt"
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	var anew strings.Builder
	n := 0
	for s := bufio.NewScanner(strings.NewReader(string(text))); s.Scan(); {
		line := s.Text()
		if strings.HasPrefix(line, "#") || line == "" {
			fmt.Fprintln(&anew, line)
			continue
		}
		parts := strings.SplitN(line, " | ", 3)
		want, err := readWant(parts[0])
		if err != nil || len(parts) < 2 {
			t.Fatalf("%q: %v", line, err)
		}
		n++
		r, err := quantity.Read(parts[1], want)
		got := r.String()
		if err != nil {
			got = "? " + err.Error()
		}
		fmt.Fprintf(&anew, "%s | %s | %s\n", parts[0], parts[1], got)
		if len(parts) < 3 || got != parts[2] {
			t.Errorf("%s\n understood as %s", line, got)
		}
	}
	if n < 150 {
		t.Errorf("the corpus has %d entries, want at least 150", n)
	}
	if os.Getenv("DOWNDROP_WRITE") != "" {
		if err := os.WriteFile(name, []byte(anew.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

func readWant(text string) (quantity.Want, error) {
	var want quantity.Want
	words := strings.Fields(text)
	// The unit may hold blanks; DC, AC and a range stand behind it.
	for len(words) > 1 {
		last := words[len(words)-1]
		if low, high, ok := strings.Cut(last, ":"); ok {
			a, errA := strconv.ParseFloat(low, 64)
			b, errB := strconv.ParseFloat(high, 64)
			if errA != nil || errB != nil {
				return want, errors.Join(errA, errB)
			}
			want.Range = &[2]float64{a, b}
		} else if last == "DC" {
			want.Current = quantity.DC
		} else if last == "AC" {
			want.Current = quantity.AC
		} else {
			break
		}
		words = words[:len(words)-1]
	}
	if want.Unit = strings.Join(words, " "); want.Unit == "-" {
		want.Unit = ""
	}
	return want, nil
}

func TestParse(t *testing.T) {
	for _, c := range []struct {
		text, unit string
		want       float64
	}{
		{"150", "ohm", 150}, {"150 ohm", "ohm", 150}, {"150ohm", "ohm", 150}, {"1.5k", "ohm", 1500}, {"1.5 kohm", "ohm", 1500}, {"1.5 k ohm", "ohm", 1500}, {"153.6k", "baud", 153600},
		{"300m", "m", 300}, {"300 m", "m", 300}, {"1km", "m", 1000}, {"3 mm", "m", 0.003}, {"40 mA", "A", 0.04}, {"40m", "A", 0.04}, {"40 mA", "mA", 40}, {"153.6 kbaud", "kbaud", 153.6},
		{"2 M", "ohm", 2e6}, {"2G", "ohm", 2e9}, {"5u", "A", 5e-6}, {"5 µA", "A", 5e-6}, {"-3.5", "V", -3.5}, {"+3.5", "V", 3.5}, {" 0.5 ", "V", 0.5}, {"0", "V", 0}, {"1e3", "V", 1000},
		{"5 drops", "drops", 5}, {"3 modules", "modules", 3}, {"2 units", "units", 2}, {"2k", "", 2000}, {"0.1k", "V", 100}, {"4.7k", "ohm", 4700}, {"1.1m", "V", 0.0011}, {"0.3u", "A", 3e-7},
	} {
		if got, err := quantity.Parse(c.text, c.unit); err != nil || got != c.want {
			t.Errorf("Parse(%q, %q) = %v, %v; want %v exactly", c.text, c.unit, got, err, c.want)
		}
	}
}

func TestParseRefuses(t *testing.T) {
	for _, c := range []struct{ text, unit, says string }{
		{"1,5", "V", `"1,5" holds a comma; write a decimal point and no group marks, like 23.8 V`},
		{"1,500 ohm", "ohm", `"1,500 ohm" holds a comma; write a decimal point and no group marks, like 23.8 ohm`},
		{"1 500", "ohm", `"1 500" holds marks between its digits; write the digits without, like 1500 ohm`},
		{"1'500", "ohm", `"1'500" holds marks between its digits; write the digits without, like 1500 ohm`},
		{"1_500", "ohm", `"1_500" holds marks between its digits; write the digits without, like 1500 ohm`},
		{"010", "ohm", `"010" begins with a zero; write 10`},
		{"-010.5 V", "V", `"-010.5 V" begins with a zero; write -10.5 V`},
		{"00", "V", `"00" begins with a zero; write 0`},
		{"24 A", "V", `"24 A" is not in V; write a value in V, like 23.8 V`},
		{"24 ohms", "ohm", `"24 ohms" is written 24 ohm here`},
		{"24 v", "V", `"24 v" is written 24 V here`},
		{"4.7K", "ohm", `"4.7K": kilo is a small k; write 4.7 k`},
		{"4k7", "ohm", `"4k7" has a letter for its decimal point; write 4.7 kohm`},
		{"4R7", "ohm", `"4R7" has a letter for its decimal point; write 4.7 ohm`},
		{"153.6k", "kbaud", `"153.6k" has a prefix; write it in kbaud, like 153.6 kbaud`},
		{"5m", "min", `"5m" has a prefix; write it in min, like 5 min`},
		{"NaN", "V", `"NaN" is no number; write one like 23.8 V, or the name of a band`},
		{"-inf", "V", `"-inf" is no number; write one like 23.8 V, or the name of a band`},
		{".5", "V", `".5" lacks the zero before its point; write 0.5`},
		{"", "V", `a number is missing; write it like 23.8 V`},
		{"OL", "V", `"OL" is not a number; write it like 23.8 V`},
		{"1.2.3", "V", `"1.2.3" is not a number; write it like 23.8 V`},
		{"1e999", "V", `"1e999" is out of all proportion`},
		{"1e99999", "V", `"1e99999" is out of all proportion`},
		{"5 V", "", `"5 V" has a unit; a bare number is wanted, like 5`},
	} {
		if x, err := quantity.Parse(c.text, c.unit); err == nil || err.Error() != c.says {
			t.Errorf("Parse(%q, %q) = %v, %v; want %s", c.text, c.unit, x, err, c.says)
		}
	}
}

var units = []string{"V", "A", "mA", "ohm", "W", "Hz", "baud", "kbaud", "bit/s", "m", "s", "min", "h", "%", "degC", "C", "drops", "years", "errors/min", ""}

func TestFormat(t *testing.T) {
	for _, c := range []struct {
		x          float64
		unit, want string
	}{
		{153600, "baud", "153.6 kbaud"}, {153.6, "kbaud", "153.6 kbaud"}, {84.6, "ohm", "84.6 ohm"}, {4700, "ohm", "4.7 kohm"}, {0.2, "V", "0.2 V"}, {0.05, "V", "50 mV"}, {0.1, "V", "0.1 V"},
		{0.0001, "A", "0.1 mA"}, {0.00009, "A", "90 uA"}, {1000, "V", "1 kV"}, {999.9, "V", "999.9 V"}, {2e6, "ohm", "2 Mohm"}, {0.005, "ohm", "0.005 ohm"}, {1500, "m", "1500 m"}, {0, "V", "0 V"},
		{-12.4, "V", "-12.4 V"}, {1500, "", "1500"}, {12, "years", "12 years"}, {1e30, "V", "1e27 kV"}, {math.Inf(1), "V", "+Inf V"},
	} {
		if got := quantity.Format(c.x, c.unit); got != c.want {
			t.Errorf("Format(%v, %q) = %q, want %q", c.x, c.unit, got, c.want)
		}
	}
	if got := quantity.FormatRounded(84.61234, "ohm", 3); got != "84.6 ohm" {
		t.Errorf("rounded to three digits: %q", got)
	}
}

func TestSpoken(t *testing.T) {
	for entry, want := range map[string]string{
		"ohm|4k7": "4.7 kilohms", "ohm|20 Mohm": "20 megohms", "ohm|1 ohm": "1 ohm", "V|24 VDC": "24 volts direct current", "V|50 mV": "50 millivolts", "kbaud|153.6": "153.6 kilobaud",
		"ohm|OL": "over-range", "ohm|below 2": "below 2 ohms", "V|min 18.2 max 24.1": "between 18.2 volts and 24.1 volts", "years|1": "1 year", "drops|5": "5 drops", "modules|3": "3 modules", "modules|3 modules": "3 modules", "m|about 300": "about 300 metres",
		"|120 at 10:05, 380 at 10:15": "26 per minute", "errors/min|26": "26 errors per minute",
	} {
		unit, text, _ := strings.Cut(entry, "|")
		if r, err := quantity.Read(text, quantity.Want{Unit: unit}); err != nil || r.Spoken() != want {
			t.Errorf("%s in %s is spoken %q (%v), want %q", text, unit, r.Spoken(), err, want)
		}
	}
}

// What is printed reads back to the same number, to the last bit.
func TestParseReadsFormat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom(units).Draw(t, "unit")
		x := drawNumber(t, "x")
		if got, err := quantity.Parse(quantity.Format(x, unit), unit); err != nil || got != x {
			t.Fatalf("%v is printed as %q, which reads %v, %v", x, quantity.Format(x, unit), got, err)
		}
	})
}

func drawNumber(t *rapid.T, label string) float64 {
	if rapid.Bool().Draw(t, label+" is short") {
		return float64(rapid.Int64Range(-999999, 999999).Draw(t, label)) / math.Pow10(rapid.IntRange(0, 9).Draw(t, label+" digits"))
	}
	return rapid.Float64().Draw(t, label)
}

// What is printed for people is read by people's way in as the same number, or
// asked back with that number among the answers.
func TestReadReadsFormat(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		unit := rapid.SampledFrom(units).Draw(t, "unit")
		x := math.Abs(float64(rapid.Int64Range(-999999, 999999).Draw(t, "x")) / math.Pow10(rapid.IntRange(0, 9).Draw(t, "digits")))
		text := quantity.Format(x, unit)
		r, err := quantity.Read(text, quantity.Want{Unit: unit})
		var q *quantity.Question
		if errors.As(err, &q) {
			for _, a := range q.Answers {
				if v, ok := a.Reading.Value(); ok && v == x {
					return
				}
			}
		}
		if v, ok := r.Value(); err != nil || !ok || v != x {
			t.Fatalf("%v is printed as %q, which is read as %v, %v", x, text, r, err)
		}
	})
}

// Every reading can be entered so that it is read in one way only, and that way.
func TestEntryReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := drawReading(t)
		got, err := quantity.Read(r.Entry(), quantity.Want{Unit: r.Unit})
		got.Text = ""
		if err != nil || got != r {
			t.Fatalf("%+v is entered as %q, which is read as %+v, %v", r, r.Entry(), got, err)
		}
	})
}

func drawReading(t *rapid.T) quantity.Reading {
	r := quantity.Reading{Unit: rapid.SampledFrom(units).Draw(t, "unit"), Shape: rapid.SampledFrom([]quantity.Shape{quantity.Exact, quantity.Below, quantity.Above, quantity.OverRange, quantity.Span}).Draw(t, "shape")}
	number := func(label string) float64 {
		return float64(rapid.Int64Range(0, 999999).Draw(t, label)) / math.Pow10(rapid.IntRange(0, 6).Draw(t, label+" digits"))
	}
	least := math.Inf(-1)
	if _, err := quantity.Read("-1", quantity.Want{Unit: r.Unit}); err != nil {
		least = 0
	}
	r.Low, r.High = number("low"), math.Inf(1)
	r.About = rapid.Bool().Draw(t, "about")
	switch r.Shape {
	case quantity.Exact:
		r.High = r.Low
	case quantity.Below:
		r.Low, r.High = least, r.Low+0.5
		r.Touching = rapid.Bool().Draw(t, "touching")
	case quantity.Above:
		r.Touching = rapid.Bool().Draw(t, "touching")
	case quantity.OverRange:
		r.Low, r.About = r.High, false
	case quantity.Span:
		r.Jumps = rapid.Bool().Draw(t, "jumps")
		if rapid.Bool().Draw(t, "ends") {
			r.High = r.Low + 1 + number("width")
		}
	}
	if r.Unit == "V" || r.Unit == "A" || r.Unit == "mA" {
		r.Current = rapid.SampledFrom([]quantity.Current{quantity.NotSaid, quantity.AC, quantity.DC}).Draw(t, "current")
	}
	return r
}

// A reading lies in a band if every number it can be lies there: compared with
// trying many of these numbers.
func TestBandHoldsAllOfTheReading(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		limits := rapid.SliceOfNDistinct(rapid.IntRange(-3, 12), 0, 4, rapid.ID[int]).Draw(t, "limits")
		var rising []float64
		for i := -3; i <= 12; i++ {
			for _, l := range limits {
				if l == i {
					rising = append(rising, float64(i))
				}
			}
		}
		r := drawReading(t)
		if r.Shape != quantity.OverRange {
			r.Low, r.High = max(math.Mod(r.Low, 10), math.Inf(-1)), math.Mod(r.High, 10)
			if math.IsNaN(r.High) {
				r.High = math.Inf(1)
			}
			if math.IsNaN(r.Low) {
				r.Low = math.Inf(-1)
			}
			if r.Low > r.High {
				r.Low, r.High = r.High, r.Low
			}
			if rapid.Bool().Draw(t, "whole") {
				r.Low, r.High = math.Floor(r.Low), math.Ceil(r.High)
			}
		}
		if r.Shape == quantity.Exact {
			r.High = r.Low
		}
		band, ok := r.Band(rising)
		slow, one := slowBand(r, rising)
		if ok != one || ok && band != slow {
			t.Fatalf("%+v in %v: band %d, %v; by trying numbers %d, %v", r, rising, band, ok, slow, one)
		}
	})
}

func slowBand(r quantity.Reading, limits []float64) (band int, one bool) {
	bandOf := func(x float64) int {
		for i, l := range limits {
			if x < l {
				return i
			}
		}
		return len(limits)
	}
	if r.Shape == quantity.OverRange {
		return len(limits), true
	}
	low, high := max(r.Low, -1000), min(r.High, 1000)
	if r.Shape == quantity.Above && !r.Touching {
		low = math.Nextafter(low, 1000)
	}
	if r.Shape == quantity.Below && !r.Touching {
		high = math.Nextafter(high, -1000)
	}
	if high < low {
		high = low
	}
	for i := range 500 {
		if bandOf(low+(high-low)*float64(i)/500) != bandOf(low) {
			return 0, false
		}
	}
	for _, l := range limits {
		if l > low && l <= high {
			return 0, false
		}
	}
	return bandOf(low), bandOf(low) == bandOf(high)
}

func TestBandNeedsRisingLimits(t *testing.T) {
	r := quantity.Reading{Low: 5, High: 5}
	for _, limits := range [][]float64{{3, 3}, {4, 2}, {math.NaN()}, {1, math.NaN()}} {
		if band, ok := r.Band(limits); ok {
			t.Errorf("limits %v give band %d", limits, band)
		}
	}
}

// checkQuestion holds whatever is asked back to its promises.
func checkQuestion(t *testing.T, text string, want quantity.Want, err error) {
	t.Helper()
	var q *quantity.Question
	if !errors.As(err, &q) || q.Says == "" || q.Doubt == "" {
		t.Fatalf("%q in %+v: the error is no question: %#v", text, want, err)
	}
	for _, a := range q.Answers {
		r, err := quantity.Read(a.Entry, want)
		r.Text, a.Reading.Text = "", ""
		if err != nil || r != a.Reading {
			t.Fatalf("%q in %+v asks %q; its answer %q reads %+v, %v, not %+v", text, want, q.Says, a.Entry, r, err, a.Reading)
		}
	}
}

func TestAnswersReadBack(t *testing.T) {
	f, err := os.Open("testdata/readings.txt")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for s := bufio.NewScanner(f); s.Scan(); {
		if parts := strings.SplitN(s.Text(), " | ", 3); len(parts) == 3 {
			want, _ := readWant(parts[0])
			if _, err := quantity.Read(parts[1], want); err != nil {
				checkQuestion(t, parts[1], want, err)
			}
		}
	}
}

func FuzzQuantity(f *testing.F) {
	for _, s := range []string{"23.8 V", "4k7", "OL", "min 1 max 2", "1,500", "120 at 10:05, 380 at 10:15", "jumps 3 to 40 ohm", "\u2009\u00a0", "<", "1e308k", "24 ± 5 %", "l50", "-5 m", "really 010"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, want := range []quantity.Want{{}, {Unit: "V", Current: quantity.DC}, {Unit: "ohm", Range: &[2]float64{50, 500}}, {Unit: "m"}, {Unit: "kbaud", Range: &[2]float64{9, 1000}}, {Unit: "min"}, {Unit: "s"}} {
			r, err := quantity.Read(s, want)
			if err != nil {
				checkQuestion(t, s, want, err)
			} else if math.IsNaN(r.Low) || math.IsNaN(r.High) || r.Low > r.High || r.Unit != want.Unit {
				t.Errorf("%q reads as %+v", s, r)
			}
			if x, err := quantity.Parse(s, want.Unit); err == nil && (math.IsNaN(x) || math.IsInf(x, 0)) {
				t.Errorf("%q parses as %v", s, x)
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	for _, text := range []string{"23.8 V", "jumps 3 to 40 ohm", "power light dark"} {
		b.Run(strings.ReplaceAll(text, " ", "_"), func(b *testing.B) {
			for b.Loop() {
				_, _ = quantity.Read(text, quantity.Want{Unit: "ohm"})
			}
		})
	}
}
