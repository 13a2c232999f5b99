package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"downdrop/engine/review"
)

// Distinction writes, for people, how well a rulebase tells things apart.
func Distinction(w io.Writer, width int, x *review.Distinction) error {
	p := newPage(width)
	p.say(sayDistinguish(x))
	p.gap()
	figures(p, x)
	p.gap()
	p.say(sayWeightAndNumber)
	if len(x.Causes.Unseen) > 0 {
		p.gap()
		p.say(sayUnseenCauses)
		for _, c := range x.Causes.Unseen {
			p.item("  - ", x.Base.Causes[c].Name)
		}
	}
	groups(p, x)
	splits(p, x)
	if len(x.Causes.Useless) > 0 {
		p.gap()
		p.say(sayTellNothing(stepIDs(x, x.Causes.Useless)))
	}
	return p.writeTo(w)
}

// figures is the table of figures, twice: for telling causes apart, and for
// telling what to do.
func figures(p *page, x *review.Distinction) {
	line := func(what string, c, d [2]string) {
		if p.width < tableWidth {
			p.hang("", "  ", strings.ReplaceAll(sayFigure(capital(strings.TrimSpace(what)), c, d), " %", "%"))
			return
		}
		p.line(fmt.Sprintf("%-26s%10s%10s%14s%10s", what, c[0], c[1], d[0], d[1]))
	}
	shares := func(s review.Share) [2]string { return [2]string{share(s.ByRate), share(s.ByCount)} }
	means := func(t *review.Testability) [2]string {
		byRate, byGroup := t.MeanSize()
		return [2]string{fmt.Sprintf("%.1f", byRate), fmt.Sprintf("%.1f", byGroup)}
	}
	minutes := func(t *review.Testability) [2]string {
		m, least := x.Minutes(t)
		if least {
			return [2]string{fmt.Sprintf("%.0f", m)}
		}
		return [2]string{fmt.Sprintf("<= %.0f", m)}
	}
	if p.width >= tableWidth {
		line(figToKnow, [2]string{"the cause", ""}, [2]string{"what to do", ""})
		line("", [2]string{"by weight", "number"}, [2]string{"by weight", "number"})
	}
	line(figSeen, shares(x.Causes.SeenShare), shares(x.Do.SeenShare))
	for n, what := range []string{figOne, figTwo, figThree} {
		line(what, shares(x.Causes.Isolated(n+1)), shares(x.Do.Isolated(n+1)))
	}
	line(figSize, means(x.Causes), means(x.Do))
	line(figMinutes, minutes(x.Causes), minutes(x.Do))
}

// tableWidth is how wide the table of figures is; narrower, each is a sentence.
const tableWidth = 70

// share is a part in percent; only all is 100 and only nothing is 0.
func share(part float64) string {
	switch says := fmt.Sprintf("%.0f %%", 100*part); {
	case says == "100 %" && part < 1-1e-9:
		return "> 99 %"
	case says == "0 %" && part > 0:
		return "< 1 %"
	default:
		return says
	}
}

func groups(p *page, x *review.Distinction) {
	said := false
	for _, g := range x.Causes.Groups {
		if len(g) == 1 {
			continue
		}
		if !said {
			p.gap()
			p.say(sayNotApart)
			said = true
		}
		says := strings.Join(likeliest(x, g), "; ")
		if x.DifferentRemedies(g) == 1 {
			says += sayRightedAlike
		}
		p.item("  - ", says)
	}
}

// shownOfGroup is how many causes of a large group are named.
const shownOfGroup = 8

// likeliest names the causes of a group by falling weight; of a large one the first.
func likeliest(x *review.Distinction, group []int) []string {
	g := slices.Clone(group)
	slices.SortStableFunc(g, func(a, b int) int { return cmp.Compare(x.Rate(b), x.Rate(a)) })
	var names []string
	for _, c := range g {
		names = append(names, x.Base.Causes[c].Name)
	}
	if n := len(names); n > shownOfGroup+1 {
		names = append(names[:shownOfGroup], sayMoreOfGroup(n-shownOfGroup))
	}
	return names
}

func splits(p *page, x *review.Distinction) {
	if x.Largest == nil {
		return
	}
	p.gap()
	p.say(sayLargest(len(x.Largest), x.DifferentRemedies(x.Largest), likeliest(x, x.Largest)[0]))
	if len(x.Splits) == 0 {
		p.say(sayNothingSplits)
		return
	}
	p.say(sayWouldSplit)
	for i := range x.Splits {
		p.item("  - ", saySplit(&x.Splits[i], len(x.Largest)))
	}
}

func stepIDs(x *review.Distinction, tests []int) []string {
	ids := []string{}
	for _, t := range tests {
		ids = append(ids, x.Tests[t].ID)
	}
	return ids
}

// DistinguishSchema names the form of a Distinction in JSON.
const DistinguishSchema = "downdrop.distinguish/1"

type distinguishJSON struct {
	Schema   string       `json:"schema"`
	Rulebase rulebaseJSON `json:"rulebase"`
	At       string       `json:"at"`    // "" where every place is possible
	Who      string       `json:"who"`   // "" where everybody is
	Right    float64      `json:"right"` // how often right a test must be about two causes to tell them apart
	Tests    []string     `json:"tests"` // on offer
	Causes   figuresJSON  `json:"causes"`
	Do       figuresJSON  `json:"do"` // where causes with the same remedies need not be told apart
	Seen     []string     `json:"seen"`
	Unseen   []string     `json:"unseen"`
	Useless  []string     `json:"useless"` // tests that tell nothing
	Groups   []groupJSON  `json:"groups"`  // of all sizes
	Largest  []string     `json:"largest"` // the group with the most different remedies; empty where no group has two
	Splits   []splitJSON  `json:"splits"`  // what would split it, best first
}

type figuresJSON struct {
	Seen      partJSON    `json:"seen"`     // of all causes
	Isolated  []partJSON  `json:"isolated"` // of those seen, in groups of at most 1, 2, 3
	MeanSize  meanJSON    `json:"mean_group_size"`
	Minutes   float64     `json:"minutes"` // mean, given a cause that is seen
	Least     bool        `json:"least"`   // no order of tests takes less
	Hidden    int         `json:"hidden"`  // ordered pairs of which the second cause hides the first
	Redundant [][2]string `json:"redundant"`
}

type partJSON struct {
	ByRate  float64 `json:"by_rate"`
	ByCount float64 `json:"by_count"`
}

type meanJSON struct {
	ByRate  float64 `json:"by_rate"`
	ByGroup float64 `json:"by_group"`
}

type groupJSON struct {
	Causes   []string `json:"causes"`
	Remedies int      `json:"remedies"` // how many different lists of remedies they have
}

type splitJSON struct {
	ID     string     `json:"id"`
	Do     string     `json:"do"`
	Why    string     `json:"why"` // it is not on offer
	Detail string     `json:"detail"`
	Leaves [][]string `json:"leaves"` // of the group, for each cause that may be there
	Left   float64    `json:"left"`   // how many causes are left, on the mean
}

// DistinctionJSON writes the same for programs.
func DistinctionJSON(w io.Writer, x *review.Distinction) error {
	ids := func(causes []int) []string {
		all := []string{}
		for _, c := range causes {
			all = append(all, x.Base.Causes[c].ID)
		}
		return all
	}
	out := &distinguishJSON{Schema: DistinguishSchema, Rulebase: rulebaseJSON{x.Base.Name, x.Base.Version, x.Base.Digest}, At: string(x.Situation.At), Right: x.Right,
		Tests: []string{}, Causes: figuresOf(x, x.Causes), Do: figuresOf(x, x.Do),
		Seen: ids(x.Causes.Seen), Unseen: ids(x.Causes.Unseen), Useless: stepIDs(x, x.Causes.Useless), Groups: []groupJSON{}, Largest: ids(x.Largest), Splits: []splitJSON{}}
	if x.Situation.Who > 0 {
		out.Who = x.Situation.Who.String()
	}
	for _, t := range x.Tests {
		out.Tests = append(out.Tests, t.ID)
	}
	for _, g := range x.Causes.Groups {
		out.Groups = append(out.Groups, groupJSON{ids(g), x.DifferentRemedies(g)})
	}
	for _, s := range x.Splits {
		one := splitJSON{s.Step.ID, s.Step.Do, string(s.Why), s.Detail, [][]string{}, s.Left}
		for _, l := range s.Leaves {
			one.Leaves = append(one.Leaves, ids(l))
		}
		out.Splits = append(out.Splits, one)
	}
	return writeJSON(w, out)
}

func figuresOf(x *review.Distinction, t *review.Testability) figuresJSON {
	f := figuresJSON{Seen: partJSON(t.SeenShare), Hidden: t.Masked, Redundant: [][2]string{}}
	for n := 1; n <= 3; n++ {
		f.Isolated = append(f.Isolated, partJSON(t.Isolated(n)))
	}
	f.MeanSize.ByRate, f.MeanSize.ByGroup = t.MeanSize()
	f.Minutes, f.Least = x.Minutes(t)
	for _, r := range t.Redundant {
		f.Redundant = append(f.Redundant, [2]string{x.Tests[r[0]].ID, x.Tests[r[1]].ID})
	}
	return f
}
