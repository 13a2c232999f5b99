package report

import (
	"io"

	"downdrop/engine/line"
	"downdrop/engine/sheet"
	"downdrop/engine/waveform"
	"downdrop/rulebase"
)

// WaveformSchema names the form of a measured capture in JSON.
const WaveformSchema = "downdrop.line_waveform/1"

// A Waveform is an instrument's capture with what was measured in it.
type Waveform struct {
	File    string
	Capture *waveform.Capture
	Reading *waveform.Reading
	Bench   bool            // the unit was caught alone, on the bench
	Sheet   *rulebase.Sheet // of the line; nil: none was given
	ProbeM  float64         // where on its trunk it was caught
}

// Text writes what a capture shows for people: what can hurt first, then what is
// not as it should be, the figures, and what cannot be seen.
func (w *Waveform) Text(out io.Writer, width int) error {
	p := newPage(width)
	for _, says := range waveformWarnings {
		p.say(says)
	}
	p.gap()
	p.say(sayCapture(w))
	if troubles := w.Reading.Troubles(); len(troubles) > 0 {
		p.gap()
		p.say(titleTroubles)
		for _, t := range troubles {
			p.item("  - ", sayTrouble(w.Reading, t))
			if says := w.sayPlace(t); says != "" {
				p.item("      ", says)
			}
		}
	} else {
		p.gap()
		p.say(sayNoTrouble)
	}
	p.gap()
	p.say(titleMeasured)
	for _, says := range sayFigures(w.Reading, w.sayIdleOfSheet()) {
		p.item("  - ", says)
	}
	for i := range w.Reading.Talkers {
		p.item("  - ", saySender(w.Reading, i))
	}
	if unseen := sayUnseen(w.Reading); len(unseen) > 0 {
		p.gap()
		p.say(titleUnseen)
		for _, says := range unseen {
			p.item("  - ", says)
		}
	}
	if findings := w.Reading.Findings(w.Bench); len(findings) > 0 {
		p.gap()
		p.say(titleToPaste)
		for _, f := range findings {
			p.line("  " + seeFlag(f))
		}
		p.say(sayToPaste)
	}
	return p.writeTo(out)
}

type waveformJSON struct {
	Schema    string            `json:"schema"`
	File      string            `json:"file"`
	Points    int               `json:"points"`
	StepS     float64           `json:"step_s"`
	LengthS   float64           `json:"length_s"`
	Legs      bool              `json:"legs"`
	QuantumV  float64           `json:"quantum_v"`
	Bandwidth float64           `json:"bandwidth_hz"`
	Clipped   bool              `json:"clipped"`
	SetRate   float64           `json:"set_rate"`
	DelaySM   float64           `json:"delay_s_per_m"`
	BitS      figureJSON        `json:"bit_s"`
	Rate      figureJSON        `json:"rate"`
	Nearest   nearestJSON       `json:"nearest"`
	IdleV     figureJSON        `json:"idle_v"`
	NoiseV    figureJSON        `json:"noise_v_rms"`
	HumV      figureJSON        `json:"hum_v"`
	HumHz     float64           `json:"hum_hz"`
	CommonV   figureJSON        `json:"common_v"`
	Talkers   []talkerJSON      `json:"talkers"`
	Echo      waveEchoJSON      `json:"echo"`
	Troubles  []troubleJSON     `json:"troubles"`
	Findings  []waveFindingJSON `json:"findings"`
	Sheet     string            `json:"sheet"`
	ProbeM    float64           `json:"probe_m"`
	SheetIdle float64           `json:"sheet_idle_v"`
}

type figureJSON struct {
	Value  float64 `json:"value"`
	Plus   float64 `json:"uncertainty"`
	Unseen string  `json:"unseen"`
}

type nearestJSON struct {
	Rate    float64  `json:"rate"`
	Differs float64  `json:"differs"`
	Kinds   []string `json:"kinds"`
}

type talkerJSON struct {
	Bursts    int          `json:"bursts"`
	Bits      int          `json:"bits"`
	HighV     figureJSON   `json:"high_v"`
	LowV      figureJSON   `json:"low_v"`
	HeightV   figureJSON   `json:"height_v"`
	BitS      figureJSON   `json:"bit_s"`
	Rate      figureJSON   `json:"rate"`
	Nearest   nearestJSON  `json:"nearest"`
	RiseS     figureJSON   `json:"rise_s"`
	Overshoot figureJSON   `json:"overshoot"`
	Echo      waveEchoJSON `json:"echo"`
}

type waveEchoJSON struct {
	Kind      string     `json:"kind"`
	Unseen    string     `json:"unseen"`
	First     float64    `json:"first_share"`
	DelayS    figureJSON `json:"delay_s"`
	RoundS    figureJSON `json:"round_trip_s"`
	DistanceM figureJSON `json:"distance_m"`
	NearestM  float64    `json:"nearest_seen_m"`
}

type troubleJSON struct {
	ID    string `json:"id"`
	Says  string `json:"says"`
	Place string `json:"place"` // on the trunk of the sheet
}

type waveFindingJSON struct {
	Symptom string `json:"symptom"`
	Value   string `json:"value"`
}

func figureOf(f waveform.Figure) figureJSON {
	if !f.Seen() {
		return figureJSON{Unseen: string(f.Why)}
	}
	return figureJSON{Value: finite(f.Value), Plus: finite(f.Plus)}
}

func nearestOf(n waveform.Nearest) nearestJSON {
	return nearestJSON{float64(n.Rate), finite(n.Differs), kindIDs(n.Kinds)}
}

func kindIDs(kinds []*line.Kind) []string {
	ids := []string{}
	for _, k := range kinds {
		ids = append(ids, k.ID)
	}
	return ids
}

func echoOf(e waveform.Echo) waveEchoJSON {
	out := waveEchoJSON{Kind: string(e.Kind), Unseen: string(e.Why), NearestM: float64(e.Nearer)}
	if e.Kind != "" {
		out.First, out.DelayS, out.RoundS, out.DistanceM = e.First, figureOf(e.Delay), figureOf(e.Round), figureOf(e.Distance)
	}
	return out
}

// JSON writes the same for programs.
func (w *Waveform) JSON(out io.Writer) error {
	r := w.Reading
	doc := &waveformJSON{
		Schema: WaveformSchema, File: w.File, Points: r.Points, StepS: r.Step, LengthS: r.Length, Legs: r.Legs, QuantumV: r.Quantum,
		Bandwidth: r.Bandwidth, Clipped: r.Clipped, SetRate: float64(r.Set), DelaySM: float64(r.Delay),
		BitS: figureOf(r.Bit), Rate: figureOf(r.Rate), Nearest: nearestOf(r.Nearest), IdleV: figureOf(r.Idle), NoiseV: figureOf(r.Noise),
		HumV: figureOf(r.Hum), HumHz: r.HumHz, CommonV: figureOf(r.Common), Talkers: []talkerJSON{}, Echo: echoOf(r.Echo),
		Troubles: []troubleJSON{}, Findings: []waveFindingJSON{},
	}
	for _, t := range r.Talkers {
		doc.Talkers = append(doc.Talkers, talkerJSON{t.Bursts, t.Bits, figureOf(t.High), figureOf(t.Low), figureOf(t.Height), figureOf(t.Bit),
			figureOf(t.Rate), nearestOf(t.Nearest), figureOf(t.Rise), figureOf(t.Overshoot), echoOf(t.Echo)})
	}
	for _, t := range r.Troubles() {
		doc.Troubles = append(doc.Troubles, troubleJSON{string(t), sayTrouble(r, t), w.sayPlace(t)})
	}
	if w.Sheet != nil {
		idle, _ := sheet.Idle(w.Sheet, w.ProbeM)
		doc.Sheet, doc.ProbeM, doc.SheetIdle = w.Sheet.Name, w.ProbeM, float64(idle)
	}
	for _, f := range r.Findings(w.Bench) {
		doc.Findings = append(doc.Findings, waveFindingJSON{f.Symptom, findingSays(f)})
	}
	return writeJSON(out, doc)
}
