package review

import (
	"regexp"
	"strings"
	"sync"

	"downdrop/rulebase"
)

// A danger is something that a step can do to people or the plant, and the words
// by which a warning of it is known. Words are a coarse measure; they find the
// step whose warnings speak of something else.
type danger struct {
	says  string
	has   func(*rulebase.Step) bool
	words *regexp.Regexp
}

func hazardous(h rulebase.Hazard) func(*rulebase.Step) bool {
	return func(s *rulebase.Step) bool { return s.Hazard&h != 0 }
}

var dangers = sync.OnceValue(func() []danger {
	return []danger{
		{"stops something", func(s *rulebase.Step) bool { return s.Stops != rulebase.StopsNothing }, regexp.MustCompile(`(?i)\bstop|\bloss of bus|\bhalt|\bstand still|\bisolat`)},
		{"may bring a drop back", func(s *rulebase.Step) bool { return s.BringsBack }, regexp.MustCompile(`(?i)\bact\b|\bstart|\bcomes? back|\bclear\b|\bmov(e|ing)|\bforce`)},
		{"says the hazard live", hazardous(rulebase.HazardLive), regexp.MustCompile(`(?i)\blive\b|\bvolt|\bshock|\bbare\b|\bsupply\b`)},
		{"says the hazard mains", hazardous(rulebase.HazardMains), regexp.MustCompile(`(?i)\bmains\b|\bisolat|\belectric|\bprove`)},
		{"says the hazard motion", hazardous(rulebase.HazardMotion), regexp.MustCompile(`(?i)\bmo(ve|ving|tion)|\bact\b|\bstart|\bforc|\bclear\b`)},
		{"says the hazard stored", hazardous(rulebase.HazardStored), regexp.MustCompile(`(?i)\bstored|\bcharge|\bdischarge|\bspring|\bpressure|\bcapacitor|\bhanging|\bisolat`)},
		{"says the hazard static", hazardous(rulebase.HazardStatic), regexp.MustCompile(`(?i)\bstatic`)},
		{"says the hazard spark", hazardous(rulebase.HazardSpark), regexp.MustCompile(`(?i)\bspark|\bclassified|\bexplosi|\bignit`)},
	}
})

// dangersSpoken looks for steps whose warnings do not speak of what the step does.
func (r *reviewer) dangersSpoken() {
	for s := range r.steps() {
		var texts []string
		for _, w := range s.Warnings {
			texts = append(texts, r.b.Warnings[w].Says, r.b.Warnings[w].Because)
		}
		all := strings.Join(texts, " ")
		for _, d := range dangers() {
			if d.has(s) && !d.words.MatchString(all) {
				r.say(s.Pos, "danger-unspoken", "%s %s, and none of its warnings speaks of it", s.ID, d.says)
			}
		}
	}
}

// A telling is a way in which a step's own words tell that it is dangerous.
type telling struct {
	says   string
	hazard rulebase.Hazard
	words  *regexp.Regexp
}

var tellings = sync.OnceValue(func() []telling {
	return []telling{
		{"motion", rulebase.HazardMotion, regexp.MustCompile(`(?m)^(Force|Drive)\b|\bdriven on\b|\b[Ff]orce (one|an|the) (output|point)\b`)},
		{"stored", rulebase.HazardStored, regexp.MustCompile(`(?i)\binsulation of\b|\binsulation test`)},
		{"live", rulebase.HazardLive, regexp.MustCompile(`(?i)\bunder power\b|\bwith (the )?power on\b|\bwith its loads on\b|\bwhile live\b`)},
	}
})

// hazardsUnsaid looks for steps whose words speak of a danger that they do not
// say as a hazard: then they are offered as if they were harmless.
func (r *reviewer) hazardsUnsaid() {
	for s := range r.steps() {
		words := strings.Join(append([]string{s.Do}, s.Steps...), "\n")
		for _, t := range tellings() {
			if found := t.words.FindString(words); found != "" && s.Hazard&(t.hazard|rulebase.HazardUnknown) == 0 {
				r.say(s.Pos, "hazard-unsaid", "%s says %q, and does not say the hazard %s", s.ID, found, t.says)
			}
		}
	}
}

// asControl is an isolation by what isolates nothing: a device of the control circuit.
var asControl = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)\bisolat\w*\b[^.;:]{0,80}\b(push[ -]?button|stop button|selector( switch)?|key switch|stop mode|(put|set)ting (it|the controller) in stop|forc(e|ed|ing)( it| the output)? off|handheld)\b`)
})

// isolations looks for steps that take a control for an isolation.
func (r *reviewer) isolations() {
	for s := range r.steps() {
		for _, words := range append([]string{s.Do}, s.Steps...) {
			if found := asControl().FindString(words); found != "" {
				r.say(s.Pos, "isolates-by-control", "%s says %q, and that isolates nothing", s.ID, found)
			}
		}
	}
}

// What a step hardly ever takes.
const (
	shortest = 0.5 // minutes
	longest  = 480 // minutes: a day's work
)

// minutes looks for prices that are far from all others.
func (r *reviewer) minutes() {
	for s := range r.steps() {
		if s.Minutes < shortest || s.Minutes > longest {
			r.say(s.Pos, "far-minutes", "%s takes %g minutes; below %g and above %d a slip is likelier than a fact", s.ID, s.Minutes, shortest, longest)
		}
	}
}

// A title is what an entry is called in words.
type title struct {
	id   string
	pos  rulebase.Position
	text string
}

// titles looks for entries of one section that are called the same: mostly one
// was copied and its name forgotten.
func (r *reviewer) titles() {
	b := r.b
	var causes, conditions, steps []title
	for i := range b.Causes {
		causes = append(causes, title{b.Causes[i].ID, b.Causes[i].Pos, b.Causes[i].Name})
	}
	for i := range b.Conditions {
		conditions = append(conditions, title{b.Conditions[i].ID, b.Conditions[i].Pos, b.Conditions[i].Says})
	}
	for s := range r.steps() {
		steps = append(steps, title{s.ID, s.Pos, s.Do})
	}
	for _, all := range [][]title{causes, conditions, steps} {
		first := map[string]string{} // by text, without capitals: the id of the first called so
		for _, t := range all {
			key := strings.ToLower(t.text)
			if before, is := first[key]; is && t.text != "" {
				r.say(t.pos, "named-alike", "%s is called the same as %s: %q", t.id, before, t.text)
			} else {
				first[key] = t.id
			}
		}
	}
}
