package triage

import (
	"hash/maphash"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// A Twice is a serial that stands in more rows than one.
type Twice struct {
	Serial string
	Lines  []int // the first of them
	More   int   // rows beyond these
}

// Bounds on what is known of serials that stand in more rows than one.
const (
	mostSerials    = 1 << 17 // whose hashes are compared: a megabyte
	mostTwice      = 20      // told
	mostTwiceLines = 4       // told of each
)

// doubles finds serials that stand in more rows than one. The first pass keeps a hash of each, of the
// first mostSerials; the second pass tells the rows of those that came twice.
type doubles struct {
	seed   maphash.Seed
	hashes []uint64 // in order once they are surveyed, and only those that came twice
	told   map[uint64]int
	list   []Twice
}

func (d *doubles) hash(serial string) uint64 { return maphash.String(d.seed, strings.ToLower(serial)) }

// counts says whether a serial tells units apart: not what is none, and not what a spreadsheet has spoilt.
func counts(serial string) bool { return !noSerial(serial) && shapeDamage(serial) == "" }

// note takes in the serial of a row in the first pass.
func (d *doubles) note(serial string) {
	if !counts(serial) || len(d.hashes) == mostSerials {
		return
	}
	if len(d.hashes) == 0 {
		d.seed = maphash.MakeSeed()
	}
	d.hashes = append(d.hashes, d.hash(serial))
}

// surveyed ends the first pass.
func (d *doubles) surveyed() {
	slices.Sort(d.hashes)
	var twice []uint64
	for i, h := range d.hashes {
		if i > 0 && h == d.hashes[i-1] && (len(twice) == 0 || twice[len(twice)-1] != h) {
			twice = append(twice, h)
		}
	}
	d.hashes, d.told = twice, map[uint64]int{}
}

// tell takes in the serial of a row in the second pass.
func (d *doubles) tell(serial string, line int) {
	if len(d.hashes) == 0 || !counts(serial) {
		return
	}
	h := d.hash(serial)
	if _, ok := slices.BinarySearch(d.hashes, h); !ok {
		return
	}
	i, ok := d.told[h]
	switch {
	case !ok && len(d.list) == mostTwice:
		return
	case !ok:
		d.told[h] = len(d.list)
		d.list = append(d.list, Twice{Serial: serial, Lines: []int{line}})
	case len(d.list[i].Lines) == mostTwiceLines:
		d.list[i].More++
	default:
		d.list[i].Lines = append(d.list[i].Lines, line)
	}
}

// none are words that say that there is no serial, their letters and digits alone.
var none = strings.Fields("na none nil unknown notknown noserial noserialnumber nolabel missing tbd unreadable notreadable illegible notlegible")

// noSerial says whether nobody can tell a unit by what stands for its serial: nothing, dashes, "n/a".
func noSerial(text string) bool {
	b := bare(text)
	return b == "" || slices.Contains(none, b)
}

var totalRE = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)^((grand|sub)[ -]?)?(totals?|sums?)\s*([ :=].*)?$`)
})

// noUnit says why a row is not that of a unit, in a whole sentence: it holds the totals of the list, or nothing that tells
// or says anything of one. It is "" where the row may be a unit's.
func (c *columns) noUnit(fields []string) string {
	complaint, says := false, false
	first := ""
	for i, role := range c.roles {
		cell := strings.TrimSpace(fields[i])
		if cell == "" {
			continue
		}
		if first == "" {
			first = cell
		}
		complaint = complaint || role == Complaint
		says = says || role != Serial && role != Place && role != Unused
	}
	serial := c.cell(fields, Serial)
	switch {
	case !complaint && (totalRE().MatchString(serial) || serial == "" && totalRE().MatchString(first)):
		return sayTotals
	case !says && c.has(Serial) && noSerial(serial):
		return sayNoUnit
	}
	return ""
}

// has says whether a column has a role.
func (c *columns) has(role string) bool { return slices.Contains(c.roles, role) }
