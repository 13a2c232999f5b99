package report

import (
	"io"

	"downdrop/engine/rehearse"
)

type rehearsalJSON struct {
	Schema   string        `json:"schema"`
	Rulebase rulebaseJSON  `json:"rulebase"`
	Seed     uint64        `json:"seed"`
	Cases    int           `json:"cases"` // of each variant
	Variants []variantJSON `json:"variants"`
}

type variantJSON struct {
	Variant string      `json:"variant"`
	Places  []placeJSON `json:"places"`
}

type placeJSON struct {
	Place             string         `json:"place"`
	Cases             int            `json:"cases"`
	Advice            shareJSON      `json:"advice"`
	Right             shareJSON      `json:"right"`
	Stated            float64        `json:"stated"`
	Part              shareJSON      `json:"part"`
	Restored          shareJSON      `json:"restored"`
	CannotTell        shareJSON      `json:"cannot_tell"`
	RanOut            shareJSON      `json:"ran_out"`
	NeedlessVisit     shareJSON      `json:"needless_visit"`
	SecondVisit       shareJSON      `json:"second_visit"`
	CondemnedOfCalls  shareJSON      `json:"condemned_of_calls"`
	CondemnedOfPulled shareJSON      `json:"condemned_of_pulled"`
	DeclaredGood      shareJSON      `json:"declared_good"`
	FalseCertainty    shareJSON      `json:"false_certainty"`
	NeedlessTries     float64        `json:"needless_tries"`
	Tests             float64        `json:"tests"`
	Minutes           float64        `json:"minutes"`
	Confused          []confusedJSON `json:"confused"`
}

type shareJSON struct {
	Hits  int     `json:"hits"`
	Of    int     `json:"of"`
	Share float64 `json:"share"`
	Low   float64 `json:"low"` // the interval of 95 percent
	High  float64 `json:"high"`
}

type confusedJSON struct {
	True    string `json:"true"`
	Advised string `json:"advised"`
	Count   int    `json:"count"`
	Cases   []int  `json:"cases"` // the first of them
}

// RehearsalSchema names the form of a Rehearsal in JSON.
const RehearsalSchema = "downdrop.rehearsal/1"

// JSON writes the figures for programs.
func (r *Rehearsal) JSON(w io.Writer) error {
	out := &rehearsalJSON{Schema: RehearsalSchema, Rulebase: rulebaseJSON{r.base.Name, r.base.Version, r.base.Digest}, Seed: r.seed, Cases: r.cases, Variants: []variantJSON{}}
	for _, part := range r.parts {
		v := variantJSON{Variant: string(part.variant), Places: []placeJSON{}}
		for i := range part.figures {
			v.Places = append(v.Places, placeOf(&part.figures[i]))
		}
		out.Variants = append(out.Variants, v)
	}
	return writeJSON(w, out)
}

func placeOf(f *rehearse.Figures) placeJSON {
	p := placeJSON{
		Place: string(f.Place), Cases: f.Cases,
		Advice: shareOf(f.Advice), Right: shareOf(f.Right), Stated: f.Stated, Part: shareOf(f.Part),
		Restored: shareOf(f.Restored), CannotTell: shareOf(f.CannotTell), RanOut: shareOf(f.RanOut),
		NeedlessVisit: shareOf(f.NeedlessVisit), SecondVisit: shareOf(f.SecondVisit),
		CondemnedOfCalls: shareOf(f.CondemnedOfCalls), CondemnedOfPulled: shareOf(f.CondemnedOfPulled), DeclaredGood: shareOf(f.DeclaredGood),
		FalseCertainty: shareOf(f.FalseCertainty), NeedlessTries: f.NeedlessTries, Tests: f.Tests, Minutes: f.Minutes,
		Confused: []confusedJSON{},
	}
	for _, c := range f.Confused {
		p.Confused = append(p.Confused, confusedJSON{c.True, c.Advised, c.Count, c.Numbers})
	}
	return p
}

func shareOf(s rehearse.Share) shareJSON {
	low, high := s.Interval()
	return shareJSON{s.Hits, s.Of, s.Value(), low, high}
}
