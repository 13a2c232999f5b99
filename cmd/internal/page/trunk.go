package page

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A trunk is the line as it stands on its sheet, or as far as it was said, with what is
// suspected where. It is drawn as a strip from the host downwards, which a phone and a sheet of paper
// both have the room for: lengths are written, not drawn to scale.
type trunk struct {
	Name  string // of the sheet; "" without one
	Lost  string // the sheet that the case names but does not hold; ""
	Known bool   // the order along the cable is known; else by address, which says nothing of the cable
	Parts []trunkPart
	Marks []suspicion
	Off   []causeRow // suspected, but at no place of the line
	Wrong []string   // what on the sheet does not go, or barely
	Form  string
	Code  string
}

// A trunkRow is something on the cable, or a stretch of it.
type trunkRow struct {
	Kind     string // host, stretch, joint, terminator, stub, drop, inline, bias, end
	Is       string // of what it is, in words: the text where nothing is drawn
	AtM      float64
	Address  int
	Here     bool // the drop of the case
	Y, High  int  // in its part
	Tall     int  // of a drop
	Lines    []drawnLine
	Says     []string // the same, unfolded
	Unsure   bool     // nobody said that the cable runs so
	letters  []string
	shielded bool
}

// trunkOf draws the line of a case. drawn is its sheet; nil: it has none.
func trunkOf(d *engine.Diagnosis, c *cases.Case, drawn *rulebase.Sheet, form string) *trunk {
	s := &c.Situation
	t := &trunk{Form: form, Code: c.Code, Known: true}
	var rows []trunkRow
	if drawn != nil {
		t.Name = drawn.Name
		rows = rowsOfSheet(drawn, s)
	} else {
		if t.Lost = s.Sheet; s.SheetFile != "" && t.Lost == "" {
			t.Lost = sayThisSheet
		}
		rows, t.Known = rowsOfCase(s)
	}
	for _, p := range s.Checked {
		t.Wrong = append(t.Wrong, strings.TrimSpace(p.Says+" "+p.Do))
	}
	rows = rows[:min(len(rows), mostRows)]
	t.suspect(d, rows, s)
	t.draw(rows)
	return t
}

// rowsOfCase is the line without a sheet: the drops that were spoken of.
func rowsOfCase(s *rulebase.Situation) (rows []trunkRow, known bool) {
	addresses := slices.Clone(s.Order)
	known = len(addresses) > 0
	for _, a := range slices.Sorted(maps.Keys(s.Drops)) {
		if !slices.Contains(addresses, a) {
			addresses = append(addresses, a)
		}
	}
	if s.Drop != 0 && !slices.Contains(addresses, s.Drop) {
		addresses = append(addresses, s.Drop)
	}
	rows = append(rows, trunkRow{Kind: "host", Says: []string{sayHost}})
	for _, a := range addresses {
		rows = append(rows, trunkRow{Kind: "stretch", Says: []string{sayNoLength}, Unsure: !known}, dropRow(s, a, "", known))
	}
	if len(addresses) == 0 {
		rows = append(rows, trunkRow{Kind: "stretch", Says: []string{sayNoLength}, Unsure: true}, trunkRow{Kind: "drop", Here: true, Says: []string{sayThisDrop}, Unsure: true})
	}
	return rows, known || len(addresses) < 2
}

// dropRow is a drop with its state in words.
func dropRow(s *rulebase.Situation, address int, name string, known bool) trunkRow {
	row := trunkRow{Kind: "drop", Address: address, Here: address != 0 && address == s.Drop, Unsure: !known}
	head := name
	if address != 0 {
		head = strings.TrimSpace(fmt.Sprintf(sayDropAt, address) + " " + name)
	}
	row.Says = []string{head}
	var states []string
	if state := trunkStates[s.Drops[address]]; state != "" && address != 0 {
		states = append(states, state)
	}
	if row.Here {
		states = append(states, sayThisDrop)
	}
	if len(states) > 0 {
		row.Says = append(row.Says, strings.Join(states, ", "))
	}
	return row
}

// rowsOfSheet is the line as its sheet has it, from the host on.
func rowsOfSheet(p *rulebase.Sheet, s *rulebase.Situation) []trunkRow {
	host := trunkRow{Kind: "host", Says: []string{sayHost}}
	if p.Shield != nil && p.Shield.Bonded != "" {
		host.Says = append(host.Says, fmt.Sprintf(sayShieldBonded, wording.Plain(p.Shield.Bonded)))
	}
	on := append(fittings(p), dropRows(p, s)...)
	slices.SortStableFunc(on, func(a, b trunkRow) int { return cmp.Compare(a.AtM, b.AtM) })
	rows, from := []trunkRow{host}, 0.0
	for _, row := range on {
		if row.AtM > from {
			rows = append(rows, stretch(p, from, row.AtM))
			from = row.AtM
		}
		rows = append(rows, row)
	}
	if end := p.TrunkM(); end > from {
		rows = append(rows, stretch(p, from, end))
	}
	return append(rows, trunkRow{Kind: "end", AtM: p.TrunkM(), Says: []string{fmt.Sprintf(sayTrunkEnd, length(p.TrunkM()))}})
}

// fittings are what sits on the trunk beside its drops, kind by kind.
func fittings(p *rulebase.Sheet) (on []trunkRow) {
	add := func(kind string, at float64, says ...string) {
		on = append(on, trunkRow{Kind: kind, AtM: at, Says: says})
	}
	if p.Bias != nil {
		add("bias", p.Bias.AtM, fmt.Sprintf(sayBias, ohms(p.Bias.Up), ohms(p.Bias.Down)))
	}
	at := 0.0
	for i, c := range p.Cable {
		if i > 0 {
			add("joint", at, sayJoint)
		}
		at += c.LengthM
	}
	for _, t := range p.Terminators {
		says := sayTerminator
		if t.Ohm > 0 {
			says += " " + ohms(t.Ohm)
		}
		if t.Powered != nil {
			says += map[bool]string{true: sayTerminatorFed, false: sayTerminatorNotFed}[*t.Powered]
		}
		if t.BlocksDC {
			says += sayTerminatorBlocks
		}
		add("terminator", t.AtM, says)
	}
	for _, d := range p.Inline {
		add("inline", d.AtM, strings.TrimSpace(wording.Plain(d.Kind)+" "+d.Name))
	}
	for _, t := range p.Stubs {
		says := fmt.Sprintf(sayStub, length(t.LengthM))
		if t.Tapped > 1 {
			says += fmt.Sprintf(sayTapped, t.Tapped)
		}
		add("stub", t.AtM, says)
	}
	return on
}

// dropRows are the drops of a sheet with what feeds them.
func dropRows(p *rulebase.Sheet, s *rulebase.Situation) (on []trunkRow) {
	for _, d := range p.Drops {
		address := 0
		if d.HasAddr {
			address = d.Address
		}
		row := dropRow(s, address, d.Name, true)
		row.AtM = d.AtM
		row.Says = append(row.Says, fedBy(p, d.Name)...)
		on = append(on, row)
	}
	return on
}

// stretch is the cable between two places with something at each; no joint lies between.
func stretch(p *rulebase.Sheet, from, to float64) trunkRow {
	row := trunkRow{Kind: "stretch", AtM: from, Says: []string{length(to - from)}}
	at := 0.0
	for _, c := range p.Cable {
		if from >= at && from < at+c.LengthM {
			if c.Type != "" {
				row.Says[0] += ", " + c.Type
			}
			row.shielded = c.Shielded != nil && *c.Shielded
			if c.Conductor != nil && c.Conductor.Text != "" {
				row.Says[0] += ", " + c.Conductor.Text
			}
		}
		at += c.LengthM
	}
	for _, b := range p.Beside {
		if b.FromM < to && b.ToM > from {
			row.Says = append(row.Says, fmt.Sprintf(sayBeside, length(b.FromM), length(b.ToM), length(b.ApartM)))
		}
	}
	return row
}

// fedBy says which supply feeds a drop, and past which.
func fedBy(p *rulebase.Sheet, drop string) []string {
	var out []string
	for _, supply := range p.Supplies {
		for _, f := range supply.Feeds {
			switch {
			case !strings.EqualFold(f.Drop, drop):
			case f.From != "":
				out = append(out, fmt.Sprintf(sayFedPast, supply.Name, f.From))
			default:
				out = append(out, fmt.Sprintf(sayFed, supply.Name))
			}
		}
	}
	return out
}

func length(m float64) string {
	if m < 1 {
		return fmt.Sprintf("%.0f mm", 1000*m)
	}
	return fmt.Sprintf("%.4g m", m)
}

func ohms(x float64) string { return fmt.Sprintf("%.4g ohm", x) }
