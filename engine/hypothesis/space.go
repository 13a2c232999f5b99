// Package hypothesis supposes sets of causes and works out what each would do
// inside the system: every set at once, one bit a set.
//
// A [Space] is a list of supposed worlds, each a set of causes. A [System] is a
// list of conditions, formulas over causes and other conditions, whose least
// fixpoint is what would be true. [System.Settle] computes all conditions for
// all worlds by word operations, 64 worlds at a time: a condition is a column of
// bits, and an `or` of two columns is one machine instruction for 64 worlds.
//
// Conditions that support one another in a circle are raised from false to
// their least fixpoint (Tarski 1955, from memory). A circle through a negation
// has no such meaning; it is the caller's to refuse (see [System.Circle]).
//
// The package knows no probabilities and no YAML.
package hypothesis

import (
	"math"
	"math/bits"
)

// Most is the largest number of worlds held at once: 2^22.
const Most = 1 << 22

// A Space is a list of worlds; each is a set of causes that are present. It is
// never changed once made.
type Space struct {
	causes int
	start  []int32  // world i holds member[start[i]:start[i+1]], rising
	member []uint16 // causes
	atMost int      // for enumerated spaces the size of the largest sets, else -1

	choose [][]int // of an enumerated space: how many sets of k there are of n, by n and k

	columns [][]uint64 // by cause: bit i is world i; made when first needed
}

// Count is the number of sets of at most k of n causes, the empty one included;
// math.MaxInt where it is larger than 2^62.
func Count(n, k int) int {
	sum, c := 1.0, 1.0
	for i := 1; i <= min(k, n); i++ {
		c = c * float64(n-i+1) / float64(i)
		sum += c
	}
	if sum > 1<<62 {
		return math.MaxInt
	}
	return int(math.Round(sum))
}

// Enumerate lists all sets of at most k of n causes: the empty one, the single
// causes, the pairs and so on, each size in lexicographic order. It panics above
// [Most] worlds, see [Count], and above 2^16 causes, which it numbers in 16 bits.
func Enumerate(n, k int) *Space {
	k = min(k, n)
	total := Count(n, k)
	if total > Most || n > 1<<16 {
		panic("hypothesis: too many sets or causes")
	}
	s := &Space{causes: n, atMost: k, start: make([]int32, 1, total+1)}
	set := make([]uint16, 0, k)
	var extend func(from, more int)
	extend = func(from, more int) {
		if more == 0 {
			s.member = append(s.member, set...)
			s.start = append(s.start, int32(len(s.member)))
			return
		}
		for c := from; c <= n-more; c++ {
			set = append(set, uint16(c))
			extend(c+1, more-1)
			set = set[:len(set)-1]
		}
	}
	for size := 0; size <= k; size++ {
		extend(0, size)
	}
	s.choose = make([][]int, n+1)
	for i := range s.choose {
		s.choose[i] = make([]int, k+1)
		s.choose[i][0] = 1
		for j := 1; j <= min(i, k); j++ {
			s.choose[i][j] = s.choose[i-1][j-1] + s.choose[i-1][j]
		}
	}
	return s
}

// Place is where an enumerated space holds a set, whose causes rise and are no more
// than its largest sets have.
func (s *Space) Place(set []uint16) int {
	k, at := len(set), 0
	for size := range k {
		at += s.choose[s.causes][size]
	}
	from := 0
	for j, c := range set {
		// Before it stand the sets with a smaller cause here: those of the causes from
		// `from` on less those from c on.
		at += s.choose[s.causes-from][k-j] - s.choose[s.causes-int(c)][k-j]
		from = int(c) + 1
	}
	return at
}

// Places is where an enumerated space holds each world of another one.
func (s *Space) Places(of *Space) []int32 {
	places := make([]int32, of.Len())
	for i := range places {
		places[i] = int32(s.Place(of.Set(i)))
	}
	return places
}

// Of makes a space of the sets given; causes within a set must rise.
func Of(causes int, sets [][]int) *Space {
	s := &Space{causes: causes, atMost: -1, start: make([]int32, 1, len(sets)+1)}
	for _, set := range sets {
		for _, c := range set {
			s.member = append(s.member, uint16(c))
		}
		s.start = append(s.start, int32(len(s.member)))
	}
	return s
}

// Len is the number of worlds.
func (s *Space) Len() int { return len(s.start) - 1 }

// Distinct says that no two worlds are known to hold the same causes: true of
// spaces that were enumerated.
func (s *Space) Distinct() bool { return s.atMost >= 0 }

// Words is the length of a column.
func (s *Space) Words() int { return (s.Len() + 63) / 64 }

// Set is the causes present in world i, rising. It must not be changed.
func (s *Space) Set(i int) []uint16 { return s.member[s.start[i]:s.start[i+1]] }

// Column is the worlds in which cause c is present, a bit a world. It must not be changed.
func (s *Space) Column(c int) []uint64 {
	if s.columns == nil {
		s.columns = s.makeColumns()
	}
	return s.columns[c]
}

func (s *Space) makeColumns() [][]uint64 {
	words := s.Words()
	all := make([]uint64, words*s.causes)
	columns := make([][]uint64, s.causes)
	for c := range columns {
		columns[c] = all[c*words : (c+1)*words : (c+1)*words]
	}
	for i := range s.Len() {
		for _, c := range s.Set(i) {
			columns[c][i>>6] |= 1 << (i & 63)
		}
	}
	return columns
}

// Ready makes the columns now, so that the space may be shared by goroutines.
func (s *Space) Ready() *Space {
	if s.columns == nil {
		s.columns = s.makeColumns()
	}
	return s
}

// Pick is the space of the worlds at the places given, in that order.
func (s *Space) Pick(places []int32) *Space {
	p := &Space{causes: s.causes, atMost: -1, start: make([]int32, 1, len(places)+1)}
	p.member = make([]uint16, 0, len(places)*2)
	for _, i := range places {
		p.member = append(p.member, s.Set(int(i))...)
		p.start = append(p.start, int32(len(p.member)))
	}
	return p
}

// A Taking is a cause that some work takes away, with the chance that it does.
type Taking struct {
	Cause  int
	Chance float64
}

// A Branch is one way some work can turn out in a world: world From is left
// with the causes of one world of the new space, with this chance.
type Branch struct {
	From   int32
	Chance float64
}

// Take is what is left after work that takes causes away. Where a chance is
// below 1 a world divides: one branch for each way it can turn out. Branches
// stand in the order of the worlds they come from; the branch in which nothing
// helped comes first. Where nothing divides the branches are nil: world i comes
// from world i.
func (s *Space) Take(takings []Taking) (*Space, []Branch) {
	chance := make([]float64, s.causes)
	divides := false
	for _, t := range takings {
		chance[t.Cause] = t.Chance
		divides = divides || t.Chance < 1
	}
	n := &Space{causes: s.causes, atMost: -1, start: make([]int32, 1, s.Len()+1), member: make([]uint16, 0, len(s.member))}
	var branches []Branch
	var open []uint16
	for i := range s.Len() {
		open = open[:0]
		set := s.Set(i)
		for _, c := range set {
			if chance[c] > 0 && chance[c] < 1 {
				open = append(open, c)
			}
		}
		for way := range 1 << len(open) {
			p := 1.0
			for j, c := range open {
				if way>>j&1 == 1 {
					p *= chance[c]
				} else {
					p *= 1 - chance[c]
				}
			}
			for _, c := range set {
				if chance[c] == 0 || chance[c] < 1 && !helped(open, way, c) {
					n.member = append(n.member, c)
				}
			}
			n.start = append(n.start, int32(len(n.member)))
			if divides {
				branches = append(branches, Branch{int32(i), p})
			}
		}
	}
	return n, branches
}

func helped(open []uint16, way int, c uint16) bool {
	for j, o := range open {
		if o == c {
			return way>>j&1 == 1
		}
	}
	return false
}

// Sums adds up, for every cause, the weights of the worlds that hold it.
func (s *Space) Sums(weight []float64) []float64 {
	sums := make([]float64, s.causes)
	if s.atMost >= 0 {
		s.sumsEnumerated(weight, sums)
		return sums
	}
	for i, w := range weight {
		for _, c := range s.Set(i) {
			sums[c] += w
		}
	}
	return sums
}

// sumsEnumerated uses the order of an enumerated space: the worlds that share
// all but their last cause stand side by side, so the shared ones get one
// addition for the whole run.
func (s *Space) sumsEnumerated(weight []float64, sums []float64) {
	at := 1
	var extend func(from, more int) float64
	extend = func(from, more int) float64 {
		run := 0.0
		if more == 1 {
			for c := from; c < s.causes; c++ {
				w := weight[at]
				at++
				run += w
				sums[c] += w
			}
			return run
		}
		for c := from; c <= s.causes-more; c++ {
			r := extend(c+1, more-1)
			sums[c] += r
			run += r
		}
		return run
	}
	for size := 1; size <= s.atMost; size++ {
		extend(0, size)
	}
}

// SumColumn adds up the weights of the worlds in a column of bits, none of which is above the last world.
func SumColumn(column []uint64, weight []float64) float64 {
	sum := 0.0
	for j, word := range column {
		switch {
		case word == 0:
		case word == math.MaxUint64:
			part := 0.0
			for _, w := range weight[j*64 : j*64+64] {
				part += w
			}
			sum += part
		default:
			part := 0.0
			for ; word != 0; word &= word - 1 {
				part += weight[j*64+bits.TrailingZeros64(word)]
			}
			sum += part
		}
	}
	return sum
}
