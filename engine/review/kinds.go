package review

import (
	"embed"
	"io/fs"
	"slices"
	"strings"
)

// A Kind is a sort of finding: what it means, why it matters, how it is cured.
type Kind struct {
	Name  string
	Says  string // in one line
	Means string
	Why   string
	Cure  string
}

//go:embed testdata
var samples embed.FS

// Kinds are all kinds of findings, in the order of their names.
func Kinds() []Kind { return kinds }

// Names are the names of all kinds.
func Names() []string {
	names := make([]string, len(kinds))
	for i, k := range kinds {
		names[i] = k.Name
	}
	return names
}

// Explain finds a kind by its name.
func Explain(name string) (Kind, bool) {
	i := slices.IndexFunc(kinds, func(k Kind) bool { return k.Name == name })
	if i < 0 {
		return Kind{}, false
	}
	return kinds[i], true
}

// A Sample is a small rulebase in invented words that shows a kind, or shows it cured.
type Sample struct {
	Rules string // the text of its file
	Tests string // its rule tests; "" where the kind needs none
}

// Samples are a rulebase with a finding of the kind, and one without.
func (k Kind) Samples() (bad, good Sample) { return k.sample("bad"), k.sample("good") }

func (k Kind) sample(which string) Sample {
	read := func(file string) string {
		text, err := fs.ReadFile(samples, "testdata/"+k.Name+"/"+file)
		if err != nil {
			return ""
		}
		return string(text)
	}
	return Sample{read(which + ".yaml"), read(which + "_test.yaml")}
}

func init() {
	slices.SortFunc(kinds, func(x, y Kind) int { return strings.Compare(x.Name, y.Name) })
}
