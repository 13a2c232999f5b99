package waveform_test

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"downdrop/engine/waveform"
)

// table writes n rows after a heading, by a form like "%g;%g".
func rows(heading, form string, n int, decimal string) string {
	var b strings.Builder
	b.WriteString(heading)
	for i := range n {
		v := 1.5
		if i/10%2 == 1 {
			v = -1.25
		}
		line := fmt.Sprintf(form+"\n", float64(i)*0.5, v)
		if decimal == "," {
			line = strings.ReplaceAll(line, ".", ",")
		}
		b.WriteString(line)
	}
	return b.String()
}

func TestFormsOfInstruments(t *testing.T) {
	for name, c := range map[string]struct {
		text      string
		units     waveform.Units
		step      float64
		first     float64
		bandwidth float64
	}{
		"comma":               {text: rows("time (us),volts (V)\n", "%.3f,%.3f", 200, "."), step: 0.5e-6, first: 1.5},
		"semicolon":           {text: rows("Time in ms;CH1 in mV\n", "%.3f;%.3f", 200, "."), step: 0.5e-3, first: 1.5e-3},
		"tab, decimal comma":  {text: rows("Zeit [µs]\tKanal 1 [V]\n", "%.3f\t%.3f", 200, ","), step: 0.5e-6, first: 1.5},
		"semi, decimal comma": {text: rows("s;V\n", "%.3f;%.3f", 200, ","), step: 0.5, first: 1.5},
		"end of line comma":   {text: rows("t/ns,u/V,\n", "%.3f,%.3f,", 200, "."), step: 0.5e-9, first: 1.5},
		"quotes":              {text: rows("\"Second\",\"Volt\"\n", "\"%.3f\",\"%.3f\"", 200, "."), step: 0.5, first: 1.5},
		"lines above":         {text: rows("a made instrument,\nrecord,1000,points\nBandwidth,20 MHz\n\ntime,channel\nus,V\n", "%.3f,%.3f", 200, "."), step: 0.5e-6, first: 1.5, bandwidth: 20e6},
		"units by flag":       {text: rows("", "%.3f,%.3f", 200, "."), units: waveform.Units{Time: "ns", Volts: "mV"}, step: 0.5e-9, first: 1.5e-3},
		"marked as UTF-8":     {text: "\ufeff" + rows("time (us),volts (V)\r\n", "%.3f,%.3f", 200, "."), step: 0.5e-6, first: 1.5},
		"old micro sign":      {text: rows("time (\xb5s),volts (V)\n", "%.3f,%.3f", 200, "."), step: 0.5e-6, first: 1.5},
		"exponents":           {text: rows("time (s),volts (V)\n", "%.4e,%.4e", 200, "."), step: 0.5, first: 1.5},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := waveform.Read("f", []byte(c.text), c.units)
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Volts) != 200 || !(math.Abs(got.Step/c.step-1) <= 1e-9) || !(math.Abs(got.Volts[0]/c.first-1) <= 1e-9) || got.Bandwidth != c.bandwidth {
				t.Errorf("%d points, step %v, first %v, bandwidth %v", len(got.Volts), got.Step, got.Volts[0], got.Bandwidth)
			}
		})
	}
}

func TestTwoLegsAndNumberedLines(t *testing.T) {
	var b strings.Builder
	b.WriteString("n,time (us),leg 1 (V),leg 2 (mV)\n")
	for i := range 150 {
		fmt.Fprintf(&b, "%d,%.2f,%.2f,%.1f\n", i, 0.25*float64(i), 3.0, 1000.0)
	}
	got, err := waveform.Read("f", []byte(b.String()), waveform.Units{})
	if err != nil {
		t.Fatal(err)
	}
	if got.Volts[7] != 2 || got.Common[7] != 2 || !(math.Abs(got.Step-0.25e-6) <= 1e-12) {
		t.Errorf("across %v, common %v, step %v", got.Volts[7], got.Common[7], got.Step)
	}
}

func TestBadFiles(t *testing.T) {
	good := rows("time (us),volts (V)\n", "%.3f,%.3f", 200, ".")
	for says, text := range map[string]string{
		"This is no text":                     "RIFF\x00\x01\x02",
		"The file is empty":                   " \n\n",
		"There is no table in it":             "volts and time\n1,2\n",
		"This line has 5000 characters":       good + strings.Repeat("9", 5000) + "\n",
		`f:202: "inf" is no decimal number`:   good + "100.0,inf\n",
		`f:202: "0x1p4" is no decimal number`: good + "100.0,0x1p4\n",
		"f:202: This line has 1 columns":      good + "100.0\n",
		"Is the column in mV?":                good + "100.0,1e6\n",
		"The time does not run evenly":        good + "900.0,1.0\n",
		"The time does not run forward":       strings.ReplaceAll(good, "99.500", "-1.0"),
		"and 4 more lines like these":         good + strings.Repeat("x,y\n", 12),
		"There are 4 columns of volts":        strings.Repeat("1,5,2,3,4\n2,4,2,3,4\n", 80),
	} {
		u := waveform.Units{}
		if strings.Contains(says, "4 columns") {
			u = waveform.Units{Time: "us", Volts: "V"}
		}
		_, err := waveform.Read("f", []byte(text), u)
		var problems *waveform.Problems
		if !errors.As(err, &problems) || !strings.Contains(err.Error(), says) {
			t.Errorf("want %q, got %v", says, err)
		}
	}
}

// Whatever a file holds, reading ends with a capture or with what is wrong; and
// whatever a capture holds can be measured.
func FuzzCapture(f *testing.F) {
	f.Add([]byte(rows("time (us),volts (V)\n", "%.3f,%.3f", 120, ".")))
	f.Add([]byte(rows("Zeit [ms]\tKanal [mV]\n", "%.3f\t%.3f", 120, ",")))
	f.Add([]byte("t,v\n0,001,1,25\n"))
	for _, text := range examples() {
		f.Add(text[:6000])
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		c, err := waveform.Read("f", text, waveform.Units{Time: "us", Volts: "V"})
		var problems *waveform.Problems
		if err != nil {
			if !errors.As(err, &problems) || len(problems.List) == 0 {
				t.Fatalf("not a list of problems: %v", err)
			}
			return
		}
		if len(c.Volts) < waveform.FewestPoints || !(c.Step > 0) {
			t.Fatalf("%d points, step %v", len(c.Volts), c.Step)
		}
		r := waveform.Measure(c, waveform.Options{})
		for _, x := range []float64{r.Rate.Value, r.Idle.Value, r.Noise.Value, r.Echo.Distance.Value} {
			if math.IsNaN(x) || math.IsInf(x, 0) {
				t.Fatalf("no number: %+v", r)
			}
		}
		r.Findings(false)
	})
}
