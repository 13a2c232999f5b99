// Package waveform reads what an instrument caught of the pair and measures in
// it: the rate, who talks how loud, the level while nobody does, how fast the
// edges are and what echoes follow them, noise and hum. Every figure has its
// uncertainty, or the reason why this capture cannot show it.
package waveform

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"downdrop/rulebase/quantity"
)

// A Capture is an instrument's record of the pair, evenly sampled.
type Capture struct {
	Step      float64   // seconds from sample to sample
	Volts     []float64 // across the pair: the first leg less the second, where each has a channel
	Common    []float64 // the mean of both legs against common; nil where one differential channel was caught
	Quantum   float64   // volts of the smallest step the instrument makes; 0: none seen
	Bandwidth float64   // hertz, as the file's header says; 0: it does not
	Clipped   bool      // the highest or lowest code stands in many samples: the trace left the screen
}

// Length is the time from the first sample to the last, in seconds.
func (c *Capture) Length() float64 { return c.Step * float64(len(c.Volts)-1) }

// Units say what the columns are in where the file does not: "s", "ms", "us",
// "ns"; "V", "mV". Empty: the file must say.
type Units struct{ Time, Volts string }

// Bounds of what is taken as a capture.
const (
	FewestPoints = 100
	MostPoints   = 1_000_000

	longestLine   = 4096
	longestHeader = 500  // lines
	mostVolts     = 1000 // far beyond what the pair, its common included, can carry
	shownProblems = 8
)

var (
	timeUnits = map[string]float64{"s": 1, "sec": 1, "second": 1, "seconds": 1, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "ns": 1e-9}
	voltUnits = map[string]float64{"v": 1, "volt": 1, "volts": 1, "mv": 1e-3}
)

// Problems are all that is wrong with a capture's file.
type Problems struct {
	File string
	List []Problem
	More int // that are not listed
}

// A Problem is one thing wrong, with its line; line 0 is the file as a whole.
type Problem struct {
	Line int
	Says string
}

func (p *Problems) Error() string {
	var b strings.Builder
	for _, one := range p.List {
		if one.Line > 0 {
			fmt.Fprintf(&b, "%s:%d: %s\n", p.File, one.Line, one.Says)
		} else {
			fmt.Fprintf(&b, "%s: %s\n", p.File, one.Says)
		}
	}
	if p.More > 0 {
		fmt.Fprintf(&b, sayMoreLines+"\n", p.More)
	}
	return strings.TrimRight(b.String(), "\n")
}

func (p *Problems) add(line int, format string, a ...any) {
	if len(p.List) == shownProblems {
		p.More++
		return
	}
	p.List = append(p.List, Problem{line, fmt.Sprintf(format, a...)})
}

func refuse(file string, line int, format string, a ...any) error {
	p := &Problems{File: file}
	p.add(line, format, a...)
	return p
}

// A dialect is how a table parts its columns and writes its decimals.
type dialect struct{ separator, decimal byte }

// dialects in the order they are tried. Commas that part columns and mark decimals
// at once are not told apart by anybody.
var dialects = []dialect{{'\t', '.'}, {'\t', ','}, {';', '.'}, {';', ','}, {',', '.'}}

// fields parts a line. Quotes around a field go; an empty field at the end, which
// many instruments write, goes too.
func (f dialect) fields(line string) []string {
	all := strings.Split(line, string(f.separator))
	for i := range all {
		all[i] = strings.Trim(strings.TrimSpace(all[i]), `"'`)
	}
	if n := len(all); n > 1 && all[n-1] == "" {
		all = all[:n-1]
	}
	return all
}

// number reads a decimal number; words like "inf" and hexadecimals are none.
func (f dialect) number(text string) (float64, bool) {
	text = strings.TrimSpace(text)
	if f.decimal == ',' {
		if strings.Contains(text, ".") {
			return 0, false
		}
		text = strings.Replace(text, ",", ".", 1)
	}
	if text == "" || strings.Trim(text, "0123456789.+-eE") != "" {
		return 0, false
	}
	x, err := strconv.ParseFloat(text, 64)
	return x, err == nil && !math.IsInf(x, 0) && !math.IsNaN(x)
}

// row reads a line of the table.
func (f dialect) row(line string) ([]float64, bool) {
	fields := f.fields(line)
	row := make([]float64, len(fields))
	for i, text := range fields {
		x, ok := f.number(text)
		if !ok {
			return nil, false
		}
		row[i] = x
	}
	return row, true
}

// A table is where the numbers of a file begin, and how they are written.
type table struct {
	dialect
	first   int // index of the first line
	columns int
}

// beginsAfter is how many lines alike make a table.
const beginsAfter = 5

// findTable looks for the first lines that are all numbers, as many in each.
func findTable(lines []string) (table, bool) {
	for first := range min(len(lines), longestHeader) {
		if !strings.ContainsAny(lines[first], "0123456789") {
			continue
		}
		for _, f := range dialects {
			n, alike := 0, 0
			for _, line := range lines[first:min(first+beginsAfter, len(lines))] {
				row, ok := f.row(line)
				if !ok || len(row) < 2 || alike > 0 && len(row) != n {
					break
				}
				n, alike = len(row), alike+1
			}
			if alike == beginsAfter {
				return table{f, f.earliest(lines, first, n), n}, true
			}
		}
	}
	return table{}, false
}

// earliest is where a table really begins: a spoilt line near its head must be
// told, not taken for the end of the heading.
func (f dialect) earliest(lines []string, first, columns int) int {
	for i := max(0, first-20); i < first; i++ {
		if row, ok := f.row(lines[i]); ok && len(row) == columns {
			return i
		}
	}
	return first
}

// Read reads a capture from the text of a file: one column of time and one or
// two of volts. Everything wrong with it comes back at once, as *Problems.
func Read(file string, text []byte, u Units) (*Capture, error) {
	lines, err := split(file, text)
	if err != nil {
		return nil, err
	}
	t, ok := findTable(lines)
	if !ok {
		if i := slices.IndexFunc(lines, bothCommas.MatchString); i >= 0 {
			return nil, refuse(file, i+1, sayBothCommas)
		}
		return nil, refuse(file, 0, sayNoTable, beginsAfter, longestHeader)
	}
	columns, err := t.columnsOf(file, lines, u)
	if err != nil {
		return nil, err
	}
	times, volts, err := t.numbers(file, lines, columns)
	if err != nil {
		return nil, err
	}
	step, err := evenly(file, t.first, times)
	if err != nil {
		return nil, err
	}
	c := &Capture{Step: step, Volts: volts[0], Bandwidth: bandwidthIn(lines[:t.first])}
	c.Quantum = quantum(volts[0])
	c.Clipped = clipped(volts[0])
	if len(volts) == 2 {
		c.Clipped = c.Clipped || clipped(volts[1])
		c.Quantum = math.Max(c.Quantum, quantum(volts[1]))
		c.Volts, c.Common = make([]float64, len(times)), make([]float64, len(times))
		for i := range times {
			c.Volts[i] = volts[0][i] - volts[1][i]
			c.Common[i] = (volts[0][i] + volts[1][i]) / 2
		}
	}
	return c, nil
}

// bothCommas is a line like 0,001,1,25: commas for both.
var bothCommas = quantity.NewPattern(`^\s*[-+]?\d+,\d+,[-+]?\d+,\d+(,[-+]?\d+,\d+)?\s*$`)

// split makes lines of a file, after a look whether it is text at all.
func split(file string, text []byte) ([]string, error) {
	text = []byte(strings.TrimPrefix(string(text), "\ufeff"))
	switch {
	case len(strings.TrimSpace(string(text))) == 0:
		return nil, refuse(file, 0, sayEmpty)
	case strings.ContainsRune(string(text), 0):
		return nil, refuse(file, 0, sayNotText)
	}
	whole := string(text)
	if !utf8.ValidString(whole) {
		whole = latin1(text) // older instruments write the micro sign so
	}
	whole = strings.ReplaceAll(strings.ReplaceAll(whole, "\r\n", "\n"), "\r", "\n")
	lines := strings.Split(strings.TrimRight(whole, "\n \t"), "\n")
	for i, line := range lines {
		if len(line) > longestLine {
			return nil, refuse(file, i+1, sayLongLine, len(line))
		}
	}
	return lines, nil
}

func latin1(text []byte) string {
	runes := make([]rune, len(text))
	for i, b := range text {
		runes[i] = rune(b)
	}
	return string(runes)
}

// A column is where a quantity stands and what one of its counts is worth.
type column struct {
	at    int
	scale float64
}

var (
	bracketed = quantity.NewPattern(`[(\[/]\s*([a-zA-Zµμ]+)\s*[)\]]?\s*$`)
	wordUnit  = quantity.NewPattern(`(?i)^(?:.*\b(?:in|time|volts?|voltage)\s+)?(s|sec|seconds?|ms|[uµμ]s|ns|v|volts?|mv)$`)
)

// unitOf is the unit that a field of a header names.
func unitOf(field string, of map[string]float64) (float64, bool) {
	name := ""
	if m := bracketed.FindStringSubmatch(field); m != nil {
		name = m[1]
	} else if m := wordUnit.FindStringSubmatch(field); m != nil {
		name = m[1]
	}
	x, ok := of[strings.ToLower(name)]
	return x, ok
}

// columnsOf finds time and volts: the time first, then one or two of volts. The
// nearest lines above the table with as many fields name their units.
func (t table) columnsOf(file string, lines []string, u Units) ([]column, error) {
	timeAt, all := -1, make([]column, t.columns)
	for i := range all {
		all[i].at = i
	}
	for k := t.first - 1; k >= max(0, t.first-6); k-- {
		fields := t.fields(lines[k])
		if len(fields) != t.columns {
			continue
		}
		for i, field := range fields {
			if x, ok := unitOf(field, timeUnits); ok && timeAt < 0 && all[i].scale == 0 {
				timeAt, all[i].scale = i, x
			} else if x, ok := unitOf(field, voltUnits); ok && all[i].scale == 0 {
				all[i].scale = x
			}
		}
	}
	if timeAt < 0 {
		timeAt = t.rising(lines)
		scale, ok := timeUnits[strings.ToLower(u.Time)]
		if !ok {
			return nil, refuse(file, t.first+1, sayNoTimeUnit)
		}
		all[timeAt].scale = scale
	}
	columns := []column{all[timeAt]}
	for i, c := range all {
		if i == timeAt || c.scale == 0 && t.counts(lines, i) {
			continue
		}
		if c.scale == 0 {
			scale, ok := voltUnits[strings.ToLower(u.Volts)]
			if !ok {
				return nil, refuse(file, t.first+1, sayNoVoltUnit, i+1)
			}
			c.scale = scale
		}
		columns = append(columns, c)
	}
	if len(columns) < 2 || len(columns) > 3 {
		return nil, refuse(file, t.first+1, sayChannels, len(columns)-1)
	}
	return columns, nil
}

// rising is the first column that rises all the way at the head of the table and
// does not merely number the lines; the first one where none does.
func (t table) rising(lines []string) int {
	for i := range t.columns {
		last, rises := math.Inf(-1), true
		for _, row := range t.head(lines) {
			rises = rises && row[i] > last
			last = row[i]
		}
		if rises && !t.counts(lines, i) {
			return i
		}
	}
	return 0
}

// counts says whether a column only numbers the lines, as some instruments write.
func (t table) counts(lines []string, i int) bool {
	if t.columns < 3 {
		return false
	}
	head := t.head(lines)
	for k, row := range head {
		if row[i] != head[0][i]+float64(k) || row[i] != math.Trunc(row[i]) {
			return false
		}
	}
	return true
}

// head are the first good rows of a table.
func (t table) head(lines []string) [][]float64 {
	var rows [][]float64
	for _, line := range lines[t.first:min(len(lines), t.first+20+beginsAfter)] {
		if row, ok := t.row(line); ok && len(row) == t.columns && len(rows) < beginsAfter {
			rows = append(rows, row)
		}
	}
	return rows
}

// numbers reads the whole table.
func (t table) numbers(file string, lines []string, columns []column) (times []float64, volts [][]float64, err error) {
	body := lines[t.first:]
	if len(body) > MostPoints+1000 {
		return nil, nil, refuse(file, 0, sayTooMany, len(body), MostPoints)
	}
	problems := &Problems{File: file}
	volts = make([][]float64, len(columns)-1)
	for i, line := range body {
		if strings.TrimSpace(line) == "" {
			continue
		}
		at := t.first + i + 1
		fields := t.fields(line)
		if len(fields) != t.columns {
			problems.add(at, sayFields, len(fields), t.columns)
			continue
		}
		row, fine := make([]float64, len(columns)), true
		for k, c := range columns {
			x, ok := t.number(fields[c.at])
			switch {
			case !fine: // one problem of a line is enough
			case !ok:
				problems.add(at, sayNoNumber, fields[c.at])
				fine = false
			case k > 0 && math.Abs(x*c.scale) > mostVolts:
				problems.add(at, sayManyVolts, x*c.scale)
				fine = false
			}
			row[k] = x * c.scale
		}
		if !fine {
			continue
		}
		times = append(times, row[0])
		for k := range volts {
			volts[k] = append(volts[k], row[k+1])
		}
	}
	switch {
	case len(problems.List) > 0:
		return nil, nil, problems
	case len(times) < FewestPoints:
		return nil, nil, refuse(file, 0, sayTooFew, len(times), FewestPoints)
	case len(times) > MostPoints:
		return nil, nil, refuse(file, 0, sayTooMany, len(times), MostPoints)
	}
	return times, volts, nil
}

// evenly is the step of a time column. Printed times are rounded, so that single
// steps differ; the whole must run straight.
func evenly(file string, first int, times []float64) (float64, error) {
	n := len(times)
	step := (times[n-1] - times[0]) / float64(n-1)
	if !(step > 1e-13 && step < 1e3) {
		return 0, refuse(file, first+1, sayTimeStands)
	}
	// As many digits as were printed: the smallest difference between times that differ.
	grain := math.Inf(1)
	for i := 1; i < n; i++ {
		if d := math.Abs(times[i] - times[i-1]); d > 1e-6*step {
			grain = math.Min(grain, d)
		}
	}
	room := math.Max(0.6*step, math.Min(1.1*grain, 3*step))
	for i, at := range times {
		if math.Abs(at-times[0]-float64(i)*step) > room {
			return 0, refuse(file, 0, sayUneven, first+1+i)
		}
	}
	return step, nil
}

// quantum is the smallest step between neighbouring levels of a channel: that of
// the instrument's converter, where it has few enough levels to be seen.
func quantum(volts []float64) float64 {
	levels := slices.Compact(slices.Sorted(slices.Values(volts)))
	if len(levels) < 2 || len(levels) > 5000 || len(levels) > len(volts)/2 && len(volts) > 300 {
		return 0
	}
	gaps := make([]float64, 0, len(levels)-1)
	for i := 1; i < len(levels); i++ {
		if d := levels[i] - levels[i-1]; d > 1e-9 {
			gaps = append(gaps, d)
		}
	}
	if len(gaps) == 0 {
		return 0
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/10]
}

// clipped says whether a channel ran against the end of the screen: its outermost
// code stands many times, and far more often than the one before it.
func clipped(volts []float64) bool {
	for _, sign := range []float64{1, -1} {
		outer, next := math.Inf(-1), math.Inf(-1)
		for _, v := range volts {
			switch v *= sign; {
			case v > outer:
				outer, next = v, outer
			case v < outer && v > next:
				next = v
			}
		}
		var atOuter, atNext int
		for _, v := range volts {
			switch v * sign {
			case outer:
				atOuter++
			case next:
				atNext++
			}
		}
		if atOuter > len(volts)/50 && atOuter > 20*(atNext+1) && len(volts) >= 1000 && distinct(volts, 6) {
			return true
		}
	}
	return false
}

// distinct says whether a channel has more than n levels; an ideal two-level
// trace is not a clipped one.
func distinct(volts []float64, n int) bool {
	seen := map[float64]bool{}
	for _, v := range volts {
		if seen[v] = true; len(seen) > n {
			return true
		}
	}
	return false
}

var bandwidthLine = quantity.NewPattern(`(?i)band\s*width\D{0,20}?(\d+(?:[.,]\d+)?)\s*([kmg]?)hz|band\s*width[^0-9]*\(?([kmg]?)hz\)?[^0-9]*(\d+(?:[.,]\d+)?)`)

// bandwidthIn is the bandwidth that a header names, in hertz; 0 where it names none.
func bandwidthIn(header []string) float64 {
	for _, line := range header {
		m := bandwidthLine.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		x, err := strconv.ParseFloat(strings.Replace(m[1]+m[4], ",", ".", 1), 64)
		if err != nil {
			continue
		}
		x *= map[string]float64{"": 1, "k": 1e3, "m": 1e6, "g": 1e9}[strings.ToLower(m[2]+m[3])]
		if x >= 1e3 && x <= 1e11 {
			return x
		}
	}
	return 0
}
