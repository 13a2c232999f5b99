package report_test

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine/line"
	"downdrop/engine/waveform"
	"downdrop/rulebase"
)

func measured(t *testing.T, name string, o waveform.Options) *report.Waveform {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("../../../cases/examples/captures", name))
	if err != nil {
		t.Fatal(err)
	}
	c, err := waveform.Read(name, text, waveform.Units{})
	if err != nil {
		t.Fatal(err)
	}
	return &report.Waveform{File: name, Capture: c, Reading: waveform.Measure(c, o)}
}

func TestWaveformGoldens(t *testing.T) {
	for _, name := range []string{"good.csv", "no_end_terminator.csv", "two_rates.tsv"} {
		w := measured(t, name, waveform.Options{Rate: 153600})
		golde := "waveform_" + strings.TrimSuffix(name, filepath.Ext(name))
		var text, object bytes.Buffer
		if err := errors.Join(w.Text(&text, 80), w.JSON(&object)); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text.String()) {
			if utf8.RuneCountInString(strings.TrimSuffix(line, "\n")) > 80 {
				t.Errorf("%s: longer than 80 columns: %s", name, line)
			}
		}
		if diff := cmp.Diff(golden(t, golde+".txt", text.String()), text.String()); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		got := object.String()
		for _, says := range lacks("", document(t, []byte(golden(t, golde+".json", got))), document(t, []byte(got))) {
			t.Errorf("%s: %s", name, says)
		}
	}
}

// What a reading says to a diagnosis is what the shipped rulebase asks for.
func TestWaveformFindingsAreOfTheShippedRulebase(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"good.csv", "no_end_terminator.csv", "two_rates.tsv"} {
		w := measured(t, name, waveform.Options{Rate: 153600})
		for _, bench := range []bool{false, true} {
			w.Bench = bench
			var b bytes.Buffer
			var doc struct {
				Findings []struct{ Symptom, Value string }
			}
			if err := errors.Join(w.JSON(&b)); err != nil {
				t.Fatal(err)
			}
			if err := json.Unmarshal(b.Bytes(), &doc); err != nil || len(doc.Findings) == 0 {
				t.Errorf("%s: nothing follows: %v", name, err)
			}
			for _, f := range doc.Findings {
				if _, err := base.ReadSee(f.Symptom + "=" + f.Value); err != nil {
					t.Errorf("%s: %v", name, err)
				}
			}
		}
	}
	for symptom, words := range map[string]string{
		"line_on_scope":  "clean_messages ringing_edges weak_messages bursts_between held_by_one_sender no_messages",
		"bench_bit_time": "within_two_percent off_by_more no_bits",
	} {
		for _, word := range strings.Fields(words) {
			if _, err := base.ReadSee(symptom + "=" + word); err != nil {
				t.Error(err)
			}
		}
	}
}

// Every trouble and every reason has its sentence: no id reaches a reader.
func TestEveryTroubleAndReasonIsSaid(t *testing.T) {
	seen := func(x float64) waveform.Figure { return waveform.Figure{Value: x, Plus: 0.01 * max(x, -x)} }
	unseen := waveform.Figure{Why: waveform.NothingMoves}
	sender := func(rate, height float64) waveform.Talker {
		return waveform.Talker{Bursts: 1, Bits: 20, Rate: seen(rate), Height: seen(height), High: seen(height), Low: seen(-height), Rise: waveform.Figure{Why: waveform.FasterThanScope}}
	}
	echo := func(kind waveform.EchoKind, why waveform.Unseen) waveform.Echo {
		return waveform.Echo{Kind: kind, Why: why, Delay: seen(1e-6), Round: seen(1e-6), Distance: seen(100)}
	}
	reading := func(change func(*waveform.Reading)) *waveform.Reading {
		r := &waveform.Reading{Points: 1000, Step: 1e-7, Length: 1e-4, Rate: seen(19200), Bit: seen(1 / 19200.), Idle: seen(0.3), Noise: seen(0.01), Hum: waveform.Figure{Why: waveform.TooShort}, Common: waveform.Figure{Why: waveform.OneChannel},
			Nearest: waveform.Nearest{Rate: 19200, Kinds: []*line.Kind{&line.Modbus}}, Talkers: []waveform.Talker{sender(19200, 2)}, Echo: echo("", waveform.NoEcho)}
		change(r)
		return r
	}
	for says, r := range map[string]*waveform.Reading{
		"nothing moves":               reading(func(r *waveform.Reading) { r.Talkers, r.Rate = nil, unseen }),
		"one sender holds it":         reading(func(r *waveform.Reading) { r.Talkers, r.Rate, r.Idle = nil, unseen, seen(2.2) }),
		"different rates":             reading(func(r *waveform.Reading) { r.Talkers = append(r.Talkers, sender(9600, 2)) }),
		"is set to 9.6 kbit/s":        reading(func(r *waveform.Reading) { r.Set = 9600 }),
		"no rate of any kind":         reading(func(r *waveform.Reading) { r.Rate, r.Nearest.Differs = seen(23000), 0.19 }),
		"without its terminator":      reading(func(r *waveform.Reading) { r.Echo = echo(waveform.OpenEnd, "") }),
		"too many or too low":         reading(func(r *waveform.Reading) { r.Echo = echo(waveform.LowEnd, "") }),
		"A long stub":                 reading(func(r *waveform.Reading) { r.Echo = echo(waveform.Stub, "") }),
		"more than one cause fits it": reading(func(r *waveform.Reading) { r.Echo = echo("", waveform.EchoAmbiguous) }),
		"Messages are weak":           reading(func(r *waveform.Reading) { r.Talkers = []waveform.Talker{sender(19200, 0.6)} }),
		"too weak for any receiver":   reading(func(r *waveform.Reading) { r.Talkers = []waveform.Talker{sender(19200, 0.21), sender(19200, 0.1)} }),
		"a receiver needs 0.2 V to":   reading(func(r *waveform.Reading) { r.Idle = seen(0.05) }),
		"receivers bear":              reading(func(r *waveform.Reading) { r.Common = seen(15) }),
		"that is no message":          reading(func(r *waveform.Reading) { r.Noise = seen(0.4) }),
		"fewer than four points": reading(func(r *waveform.Reading) {
			r.Rate, r.Talkers[0].Rate = unseen, waveform.Figure{Why: waveform.FewSamples}
		}),
		"on no grid of bits": reading(func(r *waveform.Reading) {
			r.Talkers = append(r.Talkers, waveform.Talker{Rate: waveform.Figure{Why: waveform.NoGrid}})
		}),
		"too few changes": reading(func(r *waveform.Reading) {
			r.Talkers = append(r.Talkers, waveform.Talker{Rate: waveform.Figure{Why: waveform.FewEdges}})
		}),
		"from its beginning to its": reading(func(r *waveform.Reading) { r.Idle = waveform.Figure{Why: waveform.NoSilence} }),
		"end of the instrument's":   reading(func(r *waveform.Reading) { r.Talkers[0].Height.Why = waveform.LeftTheScreen }),
		"over within two points":    reading(func(r *waveform.Reading) { r.Talkers[0].Rise.Why = waveform.FasterThanStep }),
		"too noisy, to tell":        reading(func(r *waveform.Reading) { r.Echo = echo("", waveform.EchoUnsettled) }),
		"be hidden":                 reading(func(r *waveform.Reading) { r.Echo = echo("", waveform.EchoTooClose) }),
	} {
		var b bytes.Buffer
		if err := (&report.Waveform{File: "f", Reading: r}).Text(&b, 80); err != nil {
			t.Fatal(err)
		}
		if text := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(text, says) {
			t.Errorf("not said: %s\n%s", says, b.String())
		}
		upper, _, _ := strings.Cut(b.String(), "For a diagnosis:")
		if strings.Contains(upper, "_") {
			t.Errorf("an id reaches the reader: %s", upper)
		}
	}
}

// The plot is well-formed and escapes what stands in it.
func TestWaveformPlot(t *testing.T) {
	w := measured(t, "no_end_terminator.csv", waveform.Options{})
	w.File = `a <b> & "c".csv`
	var b bytes.Buffer
	if err := w.SVG(&b); err != nil {
		t.Fatal(err)
	}
	d := xml.NewDecoder(&b)
	texts := 0
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := token.(xml.StartElement); ok && e.Name.Local == "text" {
			texts++
		}
	}
	if texts < 20 {
		t.Errorf("%d texts; axes, units and senders are wanted", texts)
	}
}
