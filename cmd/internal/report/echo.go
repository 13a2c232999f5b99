package report

import (
	"fmt"
	"io"
	"strings"

	"downdrop/engine/line"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// EchoSchema names the form of a step's echoes in JSON.
const EchoSchema = "downdrop.line_echo/1"

// EchoText writes what a step sent from the host does at both ends.
func EchoText(w io.Writer, s *rulebase.Sheet, e *sheet.Echo, width int) error {
	p := newPage(width)
	p.say(sayEcho(s, e))
	p.gap()
	p.line("    after            at the host    at the far end")
	host, end := float64(e.Step.First()), 0.0
	for i := 0; i < len(e.AtHost)+len(e.AtEnd); i++ {
		var at line.Second
		if i%2 == 0 && i/2 < len(e.AtHost) {
			at, host = e.AtHost[i/2].At, float64(e.AtHost[i/2].Volt)
		} else if i/2 < len(e.AtEnd) {
			at, end = e.AtEnd[i/2].At, float64(e.AtEnd[i/2].Volt)
		}
		p.line(fmt.Sprintf("    %-12s %11.3f V %15.3f V", quantity.FormatRounded(float64(at), "s", 4), host, end))
	}
	p.line(fmt.Sprintf("    %-12s %11.3f V %15.3f V", "at rest", float64(e.Step.Final()), float64(e.Step.Final())))
	p.gap()
	p.say(sayEchoMeans(e))
	return p.writeTo(w)
}

type echoJSON struct {
	Schema      string        `json:"schema"`
	Sheet       string        `json:"sheet"`
	Impedance   float64       `json:"impedance_ohm"`
	AtSource    float64       `json:"reflection_host"`
	AtLoad      float64       `json:"reflection_end"`
	TransitS    float64       `json:"transit_s"`
	BitS        float64       `json:"bit_s"`
	RestsAtV    float64       `json:"rests_at_v"`
	Overshoot   float64       `json:"overshoot"`
	HostArrival []arrivalJSON `json:"host"`
	EndArrival  []arrivalJSON `json:"end"`
}

type arrivalJSON struct {
	AtS  float64 `json:"at_s"`
	Volt float64 `json:"volt"`
}

// EchoJSON writes the same for programs.
func EchoJSON(w io.Writer, s *rulebase.Sheet, e *sheet.Echo) error {
	arrivals := func(all []line.Arrival) []arrivalJSON {
		out := []arrivalJSON{}
		for _, a := range all {
			out = append(out, arrivalJSON{float64(a.At), float64(a.Volt)})
		}
		return out
	}
	return writeJSON(w, &echoJSON{EchoSchema, s.Name, float64(e.ImpedanceOhm), line.Reflection(e.Step.SourceOhm, e.ImpedanceOhm), line.Reflection(e.Step.Load, e.ImpedanceOhm),
		float64(e.Step.Transit), float64(e.Bit), float64(e.Step.Final()), e.Overshoot(), arrivals(e.AtHost), arrivals(e.AtEnd)})
}

// EchoSVG draws the lattice: the trunk across, time downwards, each wave a slanted
// line with the volts it leaves behind it at the end where it arrives.
func EchoSVG(w io.Writer, s *rulebase.Sheet, e *sheet.Echo) error {
	const left, right, top, row = 190.0, 610.0, 70.0, 56.0
	n := len(e.AtHost) + len(e.AtEnd) - 1
	height := top + row*float64(n) + 60
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 800 %.0f" role="img" aria-label="%s"><style>text{font:13px system-ui,sans-serif;fill:#111}line{stroke:#111}.wave{stroke-width:1.6}.axis{stroke-width:1}.tick{stroke-width:1;stroke-dasharray:2 3}.head{font-weight:700}</style><rect width="800" height="%.0f" fill="#fff"/>`, height, escape(sayEcho(s, e)), height)
	fmt.Fprintf(&b, `<text x="%.0f" y="28" text-anchor="middle" class="head">host, 0 m</text><text x="%.0f" y="28" text-anchor="middle" class="head">%s</text>`, left, right, escape(echoEnd(e)+", "+metres(e.LengthM)))
	fmt.Fprintf(&b, `<text x="%.0f" y="46" text-anchor="middle">sends back %s</text><text x="%.0f" y="46" text-anchor="middle">sends back %s</text>`, left, shareBack(e.Step.SourceOhm, e), right, shareBack(e.Step.Load, e))
	fmt.Fprintf(&b, `<line x1="%.0f" y1="56" x2="%.0f" y2="%.0f" class="axis"/><line x1="%.0f" y1="56" x2="%.0f" y2="%.0f" class="axis"/>`, left, left, height-30, right, right, height-30)
	for i := range n {
		from, to := left, right
		if i%2 == 1 {
			from, to = right, left
		}
		y := top + row*float64(i)
		fmt.Fprintf(&b, `<line x1="%.0f" y1="%.0f" x2="%.0f" y2="%.0f" class="wave"/>`, from, y, to, y+row)
	}
	label := func(a line.Arrival, x float64, anchor string) {
		y := top + row*float64(a.At)/float64(e.Step.Transit)
		fmt.Fprintf(&b, `<text x="%.0f" y="%.0f" text-anchor="%s">%s: %.3f V</text>`, x, y+4, anchor, escape(quantity.FormatRounded(float64(a.At), "s", 3)), float64(a.Volt))
	}
	for _, a := range e.AtHost {
		label(a, left-10, "end")
	}
	for _, a := range e.AtEnd {
		label(a, right+10, "start")
	}
	if y := top + row*float64(e.Bit)/float64(e.Step.Transit); e.Bit > 0 && y < height-30 {
		fmt.Fprintf(&b, `<line x1="%.0f" y1="%.0f" x2="%.0f" y2="%.0f" class="tick"/><text x="400" y="%.0f" text-anchor="middle">one bit</text>`, left, y, right, y, y-4)
	}
	fmt.Fprintf(&b, `<text x="400" y="%.0f" text-anchor="middle">at rest %.3f V</text></svg>`, height-12, float64(e.Step.Final()))
	b.WriteByte('\n')
	_, err := io.WriteString(w, b.String())
	return err
}
