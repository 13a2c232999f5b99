package quantity

import (
	"math"
	"strconv"
	"strings"
)

const (
	countPattern = `([0-9][0-9 ']*)`
	clockPattern = `([0-9]{1,2})[:h]([0-9]{2})(?::([0-9]{2}))?`
)

var (
	countAt   = NewPattern(`(?i)^` + countPattern + `\s*(?:at|@)\s*` + clockPattern + `\s*(?:,|;|-|/|\band\b|\bthen\b|\bto\b)*\s*` + countPattern + `\s*(?:at|@)\s*` + clockPattern + `$`)
	atCount   = NewPattern(`(?i)^(?:at )?` + clockPattern + `\s*[:=]?\s+` + countPattern + `\s*(?:,|;|-|/|\band\b|\bthen\b|\bto\b)+\s*(?:at )?` + clockPattern + `\s*[:=]?\s+` + countPattern + `$`)
	countIn   = NewPattern(`(?i)^(?:from\s+)?` + countPattern + `\s*(?:,|;|\bto\b|\bthen\b|\band\b)+\s*` + countPattern + `\s*(?:in|after|within)\s*([0-9]+(?:[.,][0-9]+)?)\s*(s|sec|secs|seconds?|min|mins|minutes?|h|hrs?|hours?)$`)
	oneCount  = NewPattern(`(?i)^` + countPattern + `\s*(?:at|@)\s*` + clockPattern + `$`)
	separated = strings.NewReplacer(" ", "", "'", "")
)

// counter reads a counter that was read twice, as a rate. ok is false where the
// text is nothing of the kind.
func (r *reader) counter(text string) (found []Reading, ok bool) {
	if m := countAt.FindStringSubmatch(text); m != nil {
		return r.rate(m[1], m[5], clock(m[6:9])-clock(m[2:5])), true
	}
	if m := atCount.FindStringSubmatch(text); m != nil {
		return r.rate(m[4], m[8], clock(m[5:8])-clock(m[1:4])), true
	}
	if m := countIn.FindStringSubmatch(text); m != nil {
		long, _ := strconv.ParseFloat(strings.Replace(m[3], ",", ".", 1), 64)
		minutes := map[byte]float64{'s': 1.0 / 60, 'm': 1, 'h': 60}[strings.ToLower(m[4])[0]]
		return r.rate(m[1], m[2], long*minutes), true
	}
	if oneCount.MatchString(text) {
		r.refuse(DoubtCounter, "%q is the counter at one time; read it again later, and enter both, like 120 at 10:05, 380 at 10:15.", r.text)
		return nil, true
	}
	return nil, false
}

// clock is minutes after midnight, NaN where no clock shows it.
func clock(hms []string) float64 {
	h, _ := strconv.ParseFloat(hms[0], 64)
	m, _ := strconv.ParseFloat(hms[1], 64)
	s := 0.0
	if hms[2] != "" {
		s, _ = strconv.ParseFloat(hms[2], 64)
	}
	if h > 23 || m > 59 || s > 59 {
		return math.NaN()
	}
	return h*60 + m + s/60
}

// rate is the counts in the time between them, per minute, in the unit's own time.
func (r *reader) rate(from, to string, minutes float64) []Reading {
	a, errA := strconv.ParseFloat(separated.Replace(from), 64)
	b, errB := strconv.ParseFloat(separated.Replace(to), 64)
	if minutes < 0 && minutes > -24*60 {
		minutes += 24 * 60 // over midnight
	}
	head, per, isRate := splitTime(r.want.Unit)
	switch {
	case errA != nil || errB != nil || !(minutes >= 0 && minutes <= 24*60): // NaN too
		r.refuse(DoubtCounter, "%q is no pair of counts with times; enter them like 120 at 10:05, 380 at 10:15.", r.text)
	case minutes == 0:
		r.refuse(DoubtCounter, "%q has both counts at the same time; read the counter again some minutes later.", r.text)
	case b < a:
		r.refuse(DoubtCounter, "%q: the counter went down from %s to %s. Was it cleared, or did it begin again? Read it twice more.", r.text, Format(a, head), Format(b, head))
	case !isRate && r.want.Unit != "":
		r.refuse(DoubtUnit, "%q is a rate, %s per minute; %s is asked for, like %s.", r.text, FormatRounded((b-a)/minutes, "", 6), r.unitName(), r.example())
	default:
		perUnit := 1.0
		if isRate {
			perUnit = per.minutes
		}
		x := round12((b - a) / minutes * perUnit)
		return []Reading{{Shape: Exact, Low: x, High: x, Rate: true}}
	}
	return nil
}
