package waveform_test

import (
	"bytes"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the example captures")

// examples are captures made by the model, in the forms that instruments write, at
// places of our own invention.
func examples() map[string][]byte {
	r := rand.New(rand.NewPCG(7, 7))
	trunk := func() *plant {
		return &plant{
			z0: 120, delay: 5e-9, loss: 0.8, trunk: 240, hostOhm: 120, endOhm: 120, scopeAt: 0, bias: 5, biasOhm: 1300,
			talkers: []talker{{at: 0, volts: 3.3, ohm: 40, rise: 120e-9}, {at: 90, volts: 2.9, ohm: 50, rise: 140e-9}},
		}
	}
	say := func(p *plant, rates ...float64) float64 {
		at := 20e-6
		for i := range p.talkers {
			m := message{from: at, bit: 1 / rates[i], bits: characters(r, 3)}
			p.talkers[i].sends = []message{m}
			at = m.end() + 24/rates[i]
		}
		return at
	}
	catch := func(p *plant, seconds float64, points int) (volts []float64, step float64) {
		v, h := p.run(seconds)
		in := instrument{step: seconds / float64(points), points: points, bandwidth: 20e6, noise: 0.02, range_: 8, bits: 8, hum: 0.05, humHz: 50}
		return in.sample(r, v, h), in.step
	}
	all := map[string][]byte{}

	good := trunk()
	v, step := catch(good, say(good, 153600, 153600), 2000)
	all["good.csv"] = file(step, v)

	open := trunk()
	open.endOhm = 0
	v, step = catch(open, say(open, 153600, 153600), 5000)
	var b bytes.Buffer // semicolons, decimal commas, lines of the instrument above
	b.WriteString("Made for downdrop;an invented plant\nBandwidth;20 MHz\n\nZeit in µs;Kanal 1 in V\n")
	for i, x := range v {
		b.Write(bytes.ReplaceAll(fmt.Appendf(nil, "%.4f;%.4f\n", float64(i)*step*1e6, x), []byte("."), []byte(",")))
	}
	all["no_end_terminator.csv"] = bytes.Clone(b.Bytes())

	rates := trunk()
	v, step = catch(rates, say(rates, 153600, 76800), 2000)
	b.Reset()
	b.WriteString("Source\tleg 1\tleg 2\nms\tmV\tmV\n")
	for i, x := range v { // each leg against common, two volts apart from it
		fmt.Fprintf(&b, "%.6f\t%.1f\t%.1f\n", float64(i)*step*1e3, 1000*(2.04+x/2), 1000*(2.04-x/2))
	}
	all["two_rates.tsv"] = bytes.Clone(b.Bytes())
	return all
}

const exampleFolder = "../../cases/examples/captures"

// The captures that the scripts and the documents use are what the model makes.
func TestExampleCaptures(t *testing.T) {
	for name, text := range examples() {
		path := filepath.Join(exampleFolder, name)
		if *update {
			if err := os.MkdirAll(exampleFolder, 0o755); err != nil {
				t.Fatal(err)
			}
			if err := os.WriteFile(path, text, 0o644); err != nil {
				t.Fatal(err)
			}
		}
		have, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(have, text) {
			t.Errorf("%s is not what the model makes; go test ./engine/waveform -run Example -update", path)
		}
	}
}
