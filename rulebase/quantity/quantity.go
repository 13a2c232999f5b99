// Package quantity reads and prints readings: a number, an SI prefix, a unit.
package quantity

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

var strict = regexp.MustCompile(`^([-+]?)([0-9]+)(\.[0-9]+)?([eE][-+]?[0-9]+)?\s*(.*)$`)

var prefixes = map[string]float64{"u": 1e-6, "µ": 1e-6, "m": 1e-3, "k": 1e3, "M": 1e6, "G": 1e9}

// Parse reads a quantity as files write it: a number with a decimal point, an
// optional prefix (u m k M G), an optional unit. The result is in the unit. A
// suffix equal to the unit is the unit, never a prefix, so m is metre in a
// length. Anything else is an error that says what to write.
func Parse(text, unit string) (float64, error) {
	text = strings.TrimSpace(text)
	if strings.Contains(text, ",") {
		return 0, fmt.Errorf("%q holds a comma; write a decimal point and no group marks", text)
	}
	m := strict.FindStringSubmatch(text)
	if m == nil {
		return 0, fmt.Errorf("%q is not a number; write it like 23.8%s", text, withBlank(unit))
	}
	if len(m[2]) > 1 && m[2][0] == '0' {
		return 0, fmt.Errorf("%q begins with a zero; write %s, or put it in quotes if it is a name", text, strings.TrimLeft(m[2], "0"))
	}
	x, err := strconv.ParseFloat(m[1]+m[2]+m[3]+m[4], 64)
	if err != nil || math.IsInf(x, 0) {
		return 0, fmt.Errorf("%q is too large a number", text)
	}
	suffix := m[5]
	if suffix == "" || suffix == unit {
		return x, nil
	}
	for p, factor := range prefixes {
		rest, ok := strings.CutPrefix(suffix, p)
		if ok && (rest == "" || strings.TrimSpace(rest) == unit) {
			return x * factor, nil
		}
	}
	if unit == "" {
		return 0, fmt.Errorf("%q has a unit; a bare number is wanted", text)
	}
	return 0, fmt.Errorf("%q is not in %s; write it like %s %s", text, unit, m[2], unit)
}

func withBlank(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}
