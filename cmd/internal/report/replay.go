package report

import (
	"fmt"
	"io"
	"maps"
	"slices"

	"downdrop/cases"
	"downdrop/rulebase"
)

// ReplaySchema is the form of a replay for programs.
const ReplaySchema = "downdrop.replay/1"

// ReplayText writes how a rulebase fares over closed cases.
func ReplayText(w io.Writer, width int, b *rulebase.Base, s *cases.Score) error {
	p := newPage(width)
	p.say(sayReplay(b, s))
	if s.Cases == 0 {
		return p.writeTo(w)
	}
	p.say(sayReplayRanks(s))
	p.gap()
	p.say(sayReplayScores(s))
	for _, bin := range s.Bins {
		if bin.Cases > 0 {
			p.line(fmt.Sprintf("  %3.0f %% said, %3.0f %% right, of %d", 100*bin.Forecast, 100*float64(bin.Right)/float64(bin.Cases), bin.Cases))
		}
	}
	p.gap()
	p.say(sayReplayByCause)
	for _, cause := range slices.Sorted(maps.Keys(s.ByCause)) {
		c := s.ByCause[cause]
		p.item("  ", fmt.Sprintf("%s: first in %d, in the first three in %d, of %d", cause, c.First, c.InThree, c.Cases))
	}
	return p.writeTo(w)
}

type replayedJSON struct {
	ID        string   `json:"id"`
	Causes    []string `json:"causes"`
	Ranks     []int    `json:"ranks"`
	KnownFrom int      `json:"known_from"`
	First     float64  `json:"first_probability"`
	Right     bool     `json:"first_right"`
	True      float64  `json:"true_probability"`
	Unknown   bool     `json:"unknown"`
}

// ReplayJSON writes the same for programs, case by case.
func ReplayJSON(w io.Writer, b *rulebase.Base, all []*cases.Replayed, s *cases.Score) error {
	out := struct {
		Schema   string         `json:"schema"`
		Rulebase rulebaseJSON   `json:"rulebase"`
		Cases    int            `json:"cases"`
		Unknown  int            `json:"unknown"`
		First    int            `json:"first"`
		InThree  int            `json:"in_three"`
		Earlier  float64        `json:"entries_earlier"`
		Brier    float64        `json:"brier"`
		Log      float64        `json:"log_score"`
		ECE      float64        `json:"ece"`
		Each     []replayedJSON `json:"each"`
	}{ReplaySchema, rulebaseJSON{b.Name, b.Version, b.Digest}, s.Cases, s.Unknown, s.First, s.InThree, s.Earlier, s.Brier, s.Log, s.ECE, []replayedJSON{}}
	for _, r := range all {
		ranks := r.Ranks
		if ranks == nil {
			ranks = []int{}
		}
		out.Each = append(out.Each, replayedJSON{r.ID, listed(r.Causes), ranks, r.KnownFrom, r.First, r.Right, r.True, r.Unknown})
	}
	return writeJSON(w, out)
}
