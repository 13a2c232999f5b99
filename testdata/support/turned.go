package support

import (
	"slices"
	"strings"
)

// EntriesTurned is the text of a rulebase, each entry of which stands two blanks in, with the entries of every
// section the other way round: causes, symptoms, tests and all. A comment goes with the entry below it.
func EntriesTurned(text string) string {
	var out, entries []string
	begun := false // the entry behind the comments that were last
	end := func() {
		slices.Reverse(entries)
		out, entries, begun = append(out, entries...), nil, false
	}
	for line := range strings.SplitSeq(text, "\n") {
		comment := strings.HasPrefix(line, "  #")
		switch {
		case line != "" && line[0] != ' ': // a section, or the whole header in a line
			end()
			out = append(out, line)
		case comment && (begun || len(entries) == 0):
			entries, begun = append(entries, line), false
		case !comment && len(line) > 2 && strings.HasPrefix(line, "  ") && line[2] != ' ' && (begun || len(entries) == 0):
			entries, begun = append(entries, line), true
		case len(entries) > 0:
			entries[len(entries)-1] += "\n" + line
			begun = begun || !comment
		default:
			out = append(out, line)
		}
	}
	end()
	return strings.Join(out, "\n")
}
