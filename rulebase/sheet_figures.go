package rulebase

import (
	"errors"
	"slices"
	"strings"

	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

// Bounds of what can stand on a sheet. Beyond them something was mistyped: no
// installation of the trade is like that (common practice, no source).
const (
	mostMetres = 100_000
	mostOhms   = 1e9
	mostVolts  = 1000
	mostAmps   = 1000
	mostBaud   = 100e6
)

// withUnit is a quantity that must carry its unit: a bare number on a sheet is
// the mistake that costs a day.
func (r *sheetReader) withUnit(n *source.Node, unit string) (float64, bool) {
	if n == nil {
		return 0, false
	}
	if n.Shape == source.Scalar && n.Text != "" && strings.Trim(n.Text, "+-0123456789.eE \t") == "" {
		r.r.Problem(n, "unit-missing", "", "%s of what? Write the unit behind it, like %s %s", n.Text, n.Text, unit)
		return 0, false
	}
	return r.read(n, n.Text, unit)
}

// read takes one figure as people write it (1,5 m; 4k7; 153.6k; 1 200 m; 24 VDC).
// What has two meanings, like 1.200 m, is asked back.
func (r *sheetReader) read(n *source.Node, text, unit string) (float64, bool) {
	if n.Shape != source.Scalar {
		r.r.Problem(n, "shape", "", "one number is wanted here")
		return 0, false
	}
	reading, err := quantity.Read(text, quantity.Want{Unit: unit})
	var question *quantity.Question
	if errors.As(err, &question) {
		var write []string
		for _, a := range question.Answers {
			write = append(write, a.Entry)
		}
		if write != nil {
			r.r.Problem(n, "quantity", "", "%s; write %s", strings.TrimSuffix(question.Says, "."), strings.Join(write, " or "))
			return 0, false
		}
		r.r.Problem(n, "quantity", "", "%s", strings.TrimSuffix(question.Says, "."))
		return 0, false
	}
	x, exact := reading.Value()
	if !exact {
		r.r.Problem(n, "quantity", "", "%q is not one figure; write one in %s", n.Text, unit)
		return 0, false
	}
	return x, true
}

// measured is a quantity of an entry's key between two bounds; 0 where it is not there.
func (r *sheetReader) measured(n *source.Node, key, unit string, low, high float64) float64 {
	return r.bounded(filled(n, key), unit, low, high)
}

func (r *sheetReader) bounded(x *source.Node, unit string, low, high float64) float64 {
	v, ok := r.withUnit(x, unit)
	if !ok {
		return 0
	}
	if v < low || v > high {
		r.r.Problem(x, "range", "", "%s is outside what can be: %s to %s", x.Text, quantity.Format(low, unit), quantity.Format(high, unit))
		return 0
	}
	return v
}

// metres is a length, in metres or feet.
func (r *sheetReader) metres(n *source.Node) float64 {
	if n == nil {
		return 0
	}
	if feet, ok := strings.CutSuffix(strings.TrimSpace(n.Text), "ft"); ok && n.Shape == source.Scalar {
		x, ok := r.read(n, feet, "ft")
		if !ok {
			return 0
		}
		const metrePerFoot = 0.3048 // exact
		return r.inReach(n, x*metrePerFoot)
	}
	x, ok := r.withUnit(n, "m")
	if !ok {
		return 0
	}
	return r.inReach(n, x)
}

func (r *sheetReader) inReach(n *source.Node, metres float64) float64 {
	if metres < 0 || metres > mostMetres {
		r.r.Problem(n, "range", "", "%s is outside what can be: 0 m to %s", n.Text, quantity.Format(mostMetres, "m"))
		return 0
	}
	return metres
}

// place is where something is along the trunk.
func (r *sheetReader) place(n *source.Node, key string, trunk float64) float64 {
	x := r.needed(n, key, "its place along the trunk, in metres from the host's end")
	return r.along(x, trunk)
}

func (r *sheetReader) along(x *source.Node, trunk float64) float64 {
	if x == nil {
		return 0
	}
	switch x.Text {
	case "host":
		return 0
	case "end":
		return trunk
	}
	m := r.metres(x)
	if m > trunk && trunk > 0 {
		r.r.Problem(x, "range", "", "%s lies beyond the trunk, whose cable adds up to %s", x.Text, quantity.Format(trunk, "m"))
		return trunk
	}
	return m
}

func (r *sheetReader) celsius(n *source.Node) *float64 {
	text := strings.TrimSpace(strings.TrimSuffix(strings.TrimSuffix(strings.TrimSpace(n.Text), "C"), "°"))
	if n.Shape != source.Scalar || text == strings.TrimSpace(n.Text) {
		r.r.Problem(n, "unit-missing", "", "a temperature is written in degrees Celsius, like 35 C")
		return nil
	}
	x, ok := r.read(n, text+" C", "C")
	if !ok {
		return nil
	}
	if x < -60 || x > 120 {
		r.r.Problem(n, "range", "", "%s is outside what can be: -60 C to 120 C", n.Text)
		return nil
	}
	return &x
}

// conductor reads 0.75 mm2, AWG 22, either with the stranding behind it.
func (r *sheetReader) conductor(n *source.Node) *SheetConductor {
	if n == nil {
		return nil
	}
	c := &SheetConductor{Pos: n.Pos, Text: n.Text, Strand: "solid"}
	words := strings.Fields(strings.NewReplacer("²", "2", "mm2", " mm2", "AWG", "AWG ").Replace(n.Text))
	if n.Shape == source.Scalar && len(words) > 2 && slices.Contains([]string{"solid", "flexible", "flexible_tinned"}, words[len(words)-1]) {
		c.Strand, words = words[len(words)-1], words[:len(words)-1]
	}
	switch {
	case n.Shape == source.Scalar && len(words) == 2 && words[1] == "mm2":
		x, err := quantity.Parse(strings.Replace(words[0], ",", ".", 1), "")
		if err != nil {
			r.r.Problem(n, "quantity", "", "%v", err)
			return nil
		}
		c.MM2 = x
	case n.Shape == source.Scalar && len(words) == 2 && words[0] == "AWG" && digits(words[1]) && len(words[1]) <= 2:
		for _, d := range words[1] {
			c.AWG = c.AWG*10 + int(d-'0')
		}
	default:
		r.r.Problem(n, "conductor", "", "%q is no conductor; write its section or gauge, like 0.75 mm2, 1.5 mm2 flexible or AWG 22", n.Text)
		return nil
	}
	return c
}
