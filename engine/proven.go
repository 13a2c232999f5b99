package engine

import "slices"

// mostProven is the share of the mass whose worlds are looked at one by one.
const mostProven = 0.999

// proves finds what the work done has put right, once the drop is well, and which
// abnormal findings that leaves unexplained. Only causes that are gone are proven, by
// the drop that is well without them; one that is supposed to be there still is not,
// and explains nothing.
func (d *Diagnosis) proves(w *weighing) {
	if !w.k.well() {
		return
	}
	d.Proven = w.goneLikeliest()
	ids := make([]string, len(d.Proven))
	for i, c := range d.Proven {
		ids[i] = d.Base.Causes[c].ID
	}
	d.NotExplained = d.Unexplained(ids)
}

// goneLikeliest is the likeliest set of causes that were there when the case began and
// are gone now, rising.
func (w *weighing) goneLikeliest() []int {
	var sets [][]int
	var weight []float64
	b := w.belief
	for _, i := range b.Likeliest(mostProven) {
		gone := []int{}
		now := b.Now.Set(int(i))
		for _, c := range b.Began.Set(int(i)) {
			if !slices.Contains(now, c) {
				gone = append(gone, int(c))
			}
		}
		at := slices.IndexFunc(sets, func(s []int) bool { return slices.Equal(s, gone) })
		if at < 0 {
			at = len(sets)
			sets, weight = append(sets, gone), append(weight, 0)
		}
		weight[at] += b.Weight[i]
	}
	best := -1
	for i := range sets {
		if best < 0 || rounded(weight[i]) > rounded(weight[best]) {
			best = i
		}
	}
	if best < 0 {
		return []int{}
	}
	return sets[best]
}
