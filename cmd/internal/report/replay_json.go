package report

import (
	"encoding/json"
	"errors"
	"io"

	"downdrop/cases"
)

// ReplaySchema is the form of a replay for programs.
const ReplaySchema = "downdrop.replay/1"

type replayJSON struct {
	Schema         string           `json:"schema"`
	Rulebase       rulebaseJSON     `json:"rulebase"`
	Cases          int              `json:"cases"`
	Unknown        int              `json:"unknown"`
	First          int              `json:"first"`
	InThree        int              `json:"in_three"`
	Acted          int              `json:"acted"`
	ActedFirst     int              `json:"acted_first"`
	Earlier        float64          `json:"entries_earlier"`
	TestsEarlier   float64          `json:"tests_earlier"`
	ReciprocalRank float64          `json:"mean_reciprocal_rank"`
	Brier          float64          `json:"brier"`
	Log            float64          `json:"log_score"`
	Clamped        int              `json:"held_impossible"`
	ECE            float64          `json:"ece"`
	Calibration    calibrationJSON  `json:"calibration"`
	ByCause        []causeScoreJSON `json:"by_cause"`
	Against        *replayAgainst   `json:"against,omitempty"`
	Each           []replayedJSON   `json:"each"`
}

type calibrationJSON struct {
	Brier        float64   `json:"brier"`
	Log          float64   `json:"log_score"`
	BaseRate     float64   `json:"base_rate"`
	Skill        float64   `json:"skill"`
	Reliability  float64   `json:"reliability"`
	Resolution   float64   `json:"resolution"`
	Uncertainty  float64   `json:"uncertainty"`
	Within       float64   `json:"within_bins"`
	Largest      float64   `json:"largest_gap"`
	ByChance     float64   `json:"ece_by_chance"`
	ByChanceHigh float64   `json:"ece_by_chance_95"`
	Bins         []binJSON `json:"bins"`
}

type binJSON struct {
	From      float64 `json:"from"`
	To        float64 `json:"to"`
	Cases     int     `json:"cases"`
	Forecast  float64 `json:"forecast"`
	Frequency float64 `json:"frequency"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
}

type causeScoreJSON struct {
	Causes  string         `json:"causes"`
	Cases   int            `json:"cases"`
	First   int            `json:"first"`
	InThree int            `json:"in_three"`
	True    float64        `json:"true_probability"`
	Earlier float64        `json:"entries_earlier"`
	Instead map[string]int `json:"instead"`
}

type replayAgainst struct {
	What   string   `json:"what"`
	Cases  int      `json:"cases"`
	Worse  []string `json:"worse"`
	Better []string `json:"better"`
}

type replayedJSON struct {
	ID           string   `json:"id"`
	Causes       []string `json:"causes"`
	Ranks        []int    `json:"ranks"`
	KnownFrom    int      `json:"known_from"`
	TestsEarlier int      `json:"tests_earlier"`
	Acted        int      `json:"acted"`
	First        float64  `json:"first_probability"`
	FirstCause   string   `json:"first_cause"`
	Right        bool     `json:"first_right"`
	True         float64  `json:"true_probability"`
	Brier        float64  `json:"brier"`
	Unknown      bool     `json:"unknown"`
}

// JSON writes it for programs, case by case: what a later replay can be held against.
func (r *Replay) JSON(w io.Writer) error {
	b, s, c := r.Base, r.Score, r.Score.Calibration
	out := replayJSON{
		Schema: ReplaySchema, Rulebase: rulebaseJSON{b.Name, b.Version, b.Digest},
		Cases: s.Cases, Unknown: s.Unknown, First: s.First, InThree: s.InThree, Acted: s.Acted, ActedFirst: s.ActedFirst, Earlier: s.Earlier, TestsEarlier: s.TestsEarlier,
		ReciprocalRank: s.ReciprocalRank, Brier: s.Brier, Log: s.Log, Clamped: s.Clamped, ECE: c.ECE,
		Calibration: calibrationJSON{c.Brier, c.Log, c.BaseRate, c.Skill, c.Reliability, c.Resolution, c.Uncertainty, c.Within, c.Largest, c.ByChance, c.ByChanceHigh, []binJSON{}},
		ByCause:     []causeScoreJSON{}, Each: []replayedJSON{},
	}
	for _, x := range c.Bins {
		if x.Cases > 0 {
			out.Calibration.Bins = append(out.Calibration.Bins, binJSON(x))
		}
	}
	for _, id := range r.causes() {
		x := s.ByCause[id]
		out.ByCause = append(out.ByCause, causeScoreJSON{id, x.Cases, x.First, x.InThree, x.True, x.Earlier, x.Instead})
	}
	if v := r.Versus; v != nil {
		out.Against = &replayAgainst{r.Against, v.Cases, idsOf(v.Worse), idsOf(v.Better)}
	}
	for _, x := range r.Cases {
		ranks := x.Ranks
		if ranks == nil {
			ranks = []int{}
		}
		out.Each = append(out.Each, replayedJSON{x.ID, listed(x.Causes), ranks, x.KnownFrom, x.TestsEarlier, x.Acted, x.First, x.FirstCause, x.Right, x.True, x.Brier, x.Unknown})
	}
	return writeJSON(w, out)
}

func idsOf(pairs []cases.Compared) []string {
	out := []string{}
	for _, c := range pairs {
		out = append(out, c.After.ID)
	}
	return out
}

// ErrNoReplay says that a text is no replay that JSON wrote.
var ErrNoReplay = errors.New("it is no result of a replay")

// ReadReplay reads the cases of what JSON wrote, and the digest of its rulebase.
func ReadReplay(text []byte) (all []*cases.Replayed, digest string, err error) {
	var in replayJSON
	if err := json.Unmarshal(text, &in); err != nil || in.Schema != ReplaySchema {
		return nil, "", ErrNoReplay
	}
	for _, x := range in.Each {
		all = append(all, &cases.Replayed{ID: x.ID, Causes: x.Causes, Ranks: x.Ranks, KnownFrom: x.KnownFrom, TestsEarlier: x.TestsEarlier, Acted: x.Acted,
			First: x.First, FirstCause: x.FirstCause, Right: x.Right, True: x.True, Brier: x.Brier, Unknown: x.Unknown || len(x.Ranks) == 0})
	}
	return all, in.Rulebase.Digest, nil
}
