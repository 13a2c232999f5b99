package review

import (
	"fmt"
	"math"
	"slices"

	"downdrop/rulebase"
)

// A trait is something that steps have in common.
type trait struct {
	that   string // what steps that have it do, as in "the 12 other steps that stop the bus"
	lacks  string // what is said of a step without it; "": no step is asked for it
	grave  bool   // it can hurt: steps that have it are asked for all else
	hazard bool
	warns  bool   // it is a warning
	asks   string // what alone steps that have it are asked for: "hazards", "warnings"; "": see tells
	has    func(*rulebase.Step) bool
}

// tells says whether steps that have one trait are asked for another.
func (of *trait) tells(wanted *trait) bool {
	switch {
	case of.grave:
		return true
	case of.asks != "":
		return of.asks == "hazards" && wanted.hazard || of.asks == "warnings" && wanted.warns
	}
	// A tool tells where and by whom it is used, and those two tell nothing.
	return !wanted.grave && of.lacks == ""
}

// traits are what steps can have in common that bears on who may get hurt. Notices
// are not among them, and cautions only ask for hazards: they come and go with the work.
func traits(b *rulebase.Base) []trait {
	all := []trait{
		{that: "stop the drop", lacks: "it does not say that it stops the drop", grave: true, has: func(s *rulebase.Step) bool { return s.Stops == rulebase.StopsDrop }},
		{that: "stop the bus", lacks: "it does not say that it stops the bus", grave: true, has: func(s *rulebase.Step) bool { return s.Stops == rulebase.StopsBus }},
		{that: "may bring a drop back", lacks: "it does not say that it may bring a drop back", grave: true, has: func(s *rulebase.Step) bool { return s.BringsBack }},
		{that: "are for a technician or more", lacks: "who is no technician may do it", has: func(s *rulebase.Step) bool { return s.Who >= rulebase.Technician }},
		{that: "cannot be done by phone", lacks: "it can be done by phone", has: func(s *rulebase.Step) bool { return len(s.At) > 0 && !slices.Contains(s.At, rulebase.Phone) }},
	}
	for _, word := range []string{"live", "mains", "motion", "stored", "spark"} {
		hazard, _ := rulebase.HazardOf(word)
		all = append(all, trait{that: "say the hazard " + word, lacks: "it does not say the hazard " + word, grave: true, hazard: true, has: func(s *rulebase.Step) bool { return s.Hazard&hazard != 0 }})
	}
	for i := range b.Warnings {
		if w := &b.Warnings[i]; w.Level == rulebase.DangerLevel || w.Level == rulebase.WarningLevel {
			all = append(all, trait{that: "warn of " + w.ID, lacks: "it does not warn of " + w.ID, grave: true, warns: true, has: func(s *rulebase.Step) bool { return slices.Contains(s.Warnings, i) }})
		} else if w.Level == rulebase.CautionLevel {
			all = append(all, trait{that: "warn of " + w.ID, asks: "hazards", has: func(s *rulebase.Step) bool { return slices.Contains(s.Warnings, i) }})
		}
	}
	for _, t := range slices.Clone(all) {
		if t.grave {
			all = append(all, trait{that: t.that + " at the drop", grave: true, has: func(s *rulebase.Step) bool { return t.has(s) && slices.Contains(s.At, rulebase.Field) }})
		}
	}
	all = append(all, trait{that: "are done only on the bench", grave: true, has: func(s *rulebase.Step) bool { return len(s.At) == 1 && s.At[0] == rulebase.Bench }})
	for _, name := range askedFor(b) {
		id := b.Names[name].ID
		all = append(all,
			trait{that: "are offered only if not " + id, lacks: "it is offered whether or not " + id, grave: true, has: func(s *rulebase.Step) bool { return s.OnlyIf != nil && asks(s.OnlyIf.Root, name, true) }},
			trait{that: "are offered only if " + id, lacks: "it is offered whether or not " + id, grave: true, has: func(s *rulebase.Step) bool { return s.OnlyIf != nil && asks(s.OnlyIf.Root, name, false) }})
	}
	for _, tool := range tools(b) {
		needs := func(s *rulebase.Step) bool { return slices.Contains(s.Needs, tool) }
		all = append(all, trait{that: "need " + tool, has: needs})
		for _, place := range []rulebase.Place{rulebase.Field, rulebase.Bench} {
			all = append(all, trait{that: fmt.Sprintf("need %s at the %s", tool, place), asks: "warnings", has: func(s *rulebase.Step) bool { return needs(s) && slices.Contains(s.At, place) }})
		}
	}
	return all
}

// askedFor are the flags that only_if asks for.
func askedFor(b *rulebase.Base) []int {
	var all []int
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			if steps[i].OnlyIf == nil {
				continue
			}
			for _, n := range steps[i].OnlyIf.Reads() {
				if b.Names[n].Kind == rulebase.KindGiven && b.Names[n].Type == rulebase.Flag {
					all = append(all, n)
				}
			}
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// asks says that a condition reads a flag, and whether behind a not.
func asks(t *rulebase.Term, name int, not bool) bool {
	if t.Op == rulebase.OpRead && t.Name == name {
		return !not
	}
	if t.Op == rulebase.OpNot {
		not = !not
	}
	return slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return asks(a, name, not) })
}

func tools(b *rulebase.Base) []string {
	var all []string
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			all = append(all, steps[i].Needs...)
		}
	}
	slices.Sort(all)
	return slices.Compact(all)
}

// others is how many steps must agree for one that is doubted. With less, chance
// alone makes such an exception. Where several are lacking it, that is a habit of
// its own; only a hazard is doubted then too, since it decides who may be sent.
const others = 8

// unlikeOthers looks for a step that lacks what all other steps like it have. A
// rulebase's own habit is the measure: nothing else can know what its warnings mean.
func (r *reviewer) unlikeOthers() {
	var steps []*rulebase.Step
	for _, list := range [][]rulebase.Step{r.b.Tests, r.b.Remedies} {
		for i := range list {
			if !list[i].Implied {
				steps = append(steps, &list[i])
			}
		}
	}
	all := traits(r.b)
	for i := range all {
		r.spend(len(all))
		wanted := &all[i]
		if wanted.lacks == "" {
			continue
		}
		doubts := map[*rulebase.Step]doubt{}
		for j := range all {
			of := &all[j]
			if !of.tells(wanted) {
				continue
			}
			r.spend(2 * len(steps))
			odd, agree := exceptions(steps, of, wanted)
			for _, s := range odd {
				if agree > doubts[s].agree {
					doubts[s] = doubt{of.that, agree}
				}
			}
		}
		for _, s := range steps {
			if d, ok := doubts[s]; ok {
				r.say(s.Pos, "unlike-the-others", "%s is unlike %d other steps that %s: %s", s.ID, d.agree, d.that, wanted.lacks)
			}
		}
	}
}

// A doubt says which steps one is unlike, and how many they are.
type doubt struct {
	that  string
	agree int
}

// exceptions are the steps that have one trait and not the other, where enough
// have both.
func exceptions(steps []*rulebase.Step, has, wanted *trait) (odd []*rulebase.Step, agree int) {
	for _, s := range steps {
		switch {
		case !has.has(s):
		case wanted.has(s):
			agree++
		default:
			odd = append(odd, s)
		}
	}
	if len(odd) > 1 && !wanted.hazard || agree < others*len(odd) {
		return nil, 0
	}
	return odd, agree
}

// A look-alike is doubted where it shares less than littleAlike of what is shown
// and one cause in nearest shares more, at least four.
const (
	littleAlike = 0.5
	nearest     = 4
)

// lookAlikes looks for look-alikes that share hardly anything of what they show,
// while other causes share more.
func (r *reviewer) lookAlikes() {
	s := r.known()[0]
	for c := range r.b.Causes {
		cause := &r.b.Causes[c]
		for _, id := range cause.LookAlikes {
			ref, _ := r.b.Lookup(id)
			share := r.shared(s, c, ref.Index)
			if share >= littleAlike {
				continue
			}
			nearer, likest, most := 0, 0, 0.0
			for other := range r.b.Causes {
				x := r.shared(s, c, other)
				if other == c || x <= share {
					continue
				}
				nearer++
				if x > most {
					likest, most = other, x
				}
			}
			if nearer > max(3, len(r.b.Causes)/nearest) {
				r.say(cause.Pos, "look-alike-unlike", "%s and its look-alike %s share %.0f %% of what they show; %d causes share more with it, %s the most", cause.ID, id, 100*share, nearer, r.b.Causes[likest].ID)
			}
		}
	}
}

// shared is how much of what the quieter of two causes shows the other shows too:
// each value counts by how much likelier it becomes than with nothing wrong.
func (r *reviewer) shared(s *setting, x, y int) float64 {
	r.spend(4 * len(s.p))
	both, ofX, ofY := 0.0, 0.0, 0.0
	for i, p := range s.p {
		if p == nil || r.b.Complaint != nil && i == r.b.Complaint.Symptom {
			continue
		}
		for v := range p[none] {
			a, b := math.Max(0, p[alone(x)][v]-p[none][v]), math.Max(0, p[alone(y)][v]-p[none][v])
			both, ofX, ofY = both+math.Min(a, b), ofX+a, ofY+b
		}
	}
	least := math.Min(ofX, ofY)
	if least == 0 {
		return 0
	}
	return both / least
}
