package review

import (
	"math"
	"slices"

	"downdrop/rulebase"
)

// A trait is something that steps have in common.
type trait struct {
	that  string // what steps that have it do, as in "the 12 other steps that stop the bus"
	lacks string // what is said of a step without it; "": no step is asked for it
	grave bool   // it can hurt: steps that have it are asked for all else
	has   func(*rulebase.Step) bool
}

// traits are what steps can have in common that bears on who may get hurt. Notices
// and cautions are not among them: they come and go with the work.
func traits(b *rulebase.Base) []trait {
	all := []trait{
		{that: "stop the drop", lacks: "it does not say that it stops the drop", grave: true, has: func(s *rulebase.Step) bool { return s.Stops == rulebase.StopsDrop }},
		{that: "stop the bus", lacks: "it does not say that it stops the bus", grave: true, has: func(s *rulebase.Step) bool { return s.Stops == rulebase.StopsBus }},
		{that: "may bring a drop back", lacks: "it does not say that it may bring a drop back", grave: true, has: func(s *rulebase.Step) bool { return s.BringsBack }},
		{that: "are for a technician or more", lacks: "anybody may do it", has: func(s *rulebase.Step) bool { return s.Who >= rulebase.Technician }},
		{that: "cannot be done by phone", lacks: "it can be done by phone", has: func(s *rulebase.Step) bool { return len(s.At) > 0 && !slices.Contains(s.At, rulebase.Phone) }},
	}
	for _, word := range []string{"live", "mains", "motion", "stored", "spark"} {
		hazard, _ := rulebase.HazardOf(word)
		all = append(all, trait{that: "say the hazard " + word, lacks: "it does not say the hazard " + word, grave: true, has: func(s *rulebase.Step) bool { return s.Hazard&hazard != 0 }})
	}
	for i := range b.Warnings {
		if w := &b.Warnings[i]; w.Level == rulebase.DangerLevel || w.Level == rulebase.WarningLevel {
			all = append(all, trait{that: "warn of " + w.ID, lacks: "it does not warn of " + w.ID, grave: true, has: func(s *rulebase.Step) bool { return slices.Contains(s.Warnings, i) }})
		}
	}
	for _, tool := range tools(b) {
		all = append(all, trait{that: "need " + tool, has: func(s *rulebase.Step) bool { return slices.Contains(s.Needs, tool) }})
	}
	return all
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

// fewest is how many steps must agree before a single other one is doubted. With
// less, chance alone makes such an exception.
const fewest = 8

// unlikeOthers looks for the one step that lacks what all steps like it have. A
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
	for _, wanted := range all {
		if wanted.lacks == "" {
			continue
		}
		doubts := map[*rulebase.Step]doubt{}
		for _, of := range all {
			if !of.grave && (wanted.grave || of.lacks != "") {
				continue // a tool tells only where and by whom it is used, and those two tell nothing
			}
			if odd, n := theOnlyOne(steps, of, wanted); odd != nil && n > doubts[odd].others {
				doubts[odd] = doubt{of.that, n}
			}
		}
		for _, s := range steps {
			if d, ok := doubts[s]; ok {
				r.say(s.Pos, "unlike-the-others", "%s is unlike the %d other steps that %s: %s", s.ID, d.others, d.that, wanted.lacks)
			}
		}
	}
}

// A doubt says which steps one is unlike, and how many they are.
type doubt struct {
	that   string
	others int
}

// theOnlyOne is the step that has one trait and not the other, where it is a
// single one and enough others have both.
func theOnlyOne(steps []*rulebase.Step, has, wanted trait) (odd *rulebase.Step, others int) {
	for _, s := range steps {
		switch {
		case !has.has(s):
		case wanted.has(s):
			others++
		case odd != nil:
			return nil, 0
		default:
			odd = s
		}
	}
	if others < fewest {
		return nil, 0
	}
	return odd, others
}

// littleAlike is the share of what a cause shows that a look-alike must show too.
// nearest is how many causes may be nearer than one that shares less.
const (
	littleAlike = 0.4
	nearest     = 3
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
			if nearer > nearest {
				r.say(cause.Pos, "look-alike-unlike", "%s and its look-alike %s share %.0f %% of what they show; %d causes share more with it, %s the most", cause.ID, id, 100*share, nearer, r.b.Causes[likest].ID)
			}
		}
	}
}

// shared is how much of what the quieter of two causes shows the other shows too:
// each value counts by how much likelier it becomes than with nothing wrong.
func (r *reviewer) shared(s *setting, x, y int) float64 {
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
