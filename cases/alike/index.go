package alike

import (
	"cmp"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"maps"
	"runtime"
	"slices"
	"sort"
	"strings"
	"sync"

	"downdrop/cases"
)

// An Index is the profiles of closed cases, as they are worked out; Bytes is what is asked (see Open).
type Index struct {
	head     indexHead
	profiles map[string]Profile
}

type indexHead struct {
	Rulebase string     `json:"rulebase"` // digest
	Causes   int        `json:"causes"`
	Cases    int        `json:"cases"`
	Mark     cases.Mark `json:"mark"` // how far the store was read
	Text     int        `json:"text"` // bytes of all ids
	// Sums are the checksums of the sections: the columns, the sums, the ends of ids, the ids.
	Sums []uint32 `json:"sums"`
}

// New is an index of no case.
func New(r *Reader) *Index {
	return &Index{head: indexHead{Rulebase: r.base.Digest, Causes: len(r.base.Causes)}, profiles: map[string]Profile{}}
}

// Put keeps a case's profile, or, where it is nil, forgets the case.
func (x *Index) Put(id string, p Profile) {
	if p == nil {
		delete(x.profiles, id)
	} else {
		x.profiles[id] = p
	}
}

// Update brings an index up to date with a store, and says whether anything changed. Of a store that cannot
// say what changed, or no longer knows the mark, every case is read again. tell, where it is not nil, is told how far
// it has got.
func (x *Index) Update(ctx context.Context, r *Reader, s cases.Store, tell func(done, of int)) (changed bool, err error) {
	var ids []string
	var now cases.Mark
	known := false
	if c, ok := s.(cases.Changing); ok {
		if ids, now, known, err = c.Changed(ctx, cases.AboutCase, x.head.Mark); err != nil {
			return false, err
		}
	}
	if !known {
		*x = *New(r)
		if ids, err = cases.ClosedIDs(ctx, s); err != nil {
			return false, err
		}
	}
	if known && len(ids) == 0 && now == x.head.Mark {
		return false, nil
	}
	if err := x.read(ctx, r, s, ids, tell); err != nil {
		return false, err
	}
	x.head.Mark = now
	return true, nil
}

// read makes the profiles of some cases, on all cores.
func (x *Index) read(ctx context.Context, r *Reader, s cases.Store, ids []string, tell func(done, of int)) error {
	var mu sync.Mutex
	var failed error
	var group sync.WaitGroup
	next := make(chan string)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for id := range next {
				p, err := closedProfile(ctx, r, s, id)
				mu.Lock()
				if err == nil {
					x.Put(id, p)
				} else if failed == nil {
					failed = err
				}
				mu.Unlock()
			}
		})
	}
	for i, id := range ids {
		next <- id
		if tell != nil {
			tell(i+1, len(ids))
		}
	}
	close(next)
	group.Wait()
	return failed
}

// closedProfile is nil for a case that is not closed, and for one in which nothing was seen.
func closedProfile(ctx context.Context, r *Reader, s cases.Store, id string) (Profile, error) {
	c, err := s.Case(ctx, id)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	if err != nil || c.Closing == nil {
		return nil, err
	}
	return r.Profile(ctx, c)
}

// ErrStale says that what was kept is no index, or one of another form, rulebase or program: it is made anew.
var ErrStale = errors.New("no index of this rulebase")

// magic begins a kept index; the number is that of the form and of what a profile means.
const magic = "downdrop alike 1\n"

var castagnoli = sync.OnceValue(func() *crc32.Table { return crc32.MakeTable(crc32.Castagnoli) })

// Bytes is the index as it is kept and asked. After the magic come the length of the head and its checksum,
// the head, and the sections: a column for each eight causes with eight bytes a case, since a question
// reads only those in which it speaks for something; the sum of each case; where each id ends; the
// ids. Cases stand in the order of their ids.
func (x *Index) Bytes() []byte {
	ids := slices.Sorted(maps.Keys(x.profiles))
	var sections [][]byte
	for at := 0; at < stride(x.head.Causes); at += 8 {
		column := make([]byte, 0, 8*len(ids))
		for _, id := range ids {
			column = append(column, x.profiles[id][at:at+8]...)
		}
		sections = append(sections, column)
	}
	var sums, ends, text []byte
	for _, id := range ids {
		sums = binary.LittleEndian.AppendUint32(sums, sumOf(x.profiles[id]))
		text = append(text, id...)
		ends = binary.LittleEndian.AppendUint32(ends, uint32(len(text)))
	}
	sections = append(sections, sums, ends, text)
	x.head.Cases, x.head.Text, x.head.Sums = len(ids), len(text), nil
	for _, s := range sections {
		x.head.Sums = append(x.head.Sums, crc32.Checksum(s, castagnoli()))
	}
	head, err := json.Marshal(x.head)
	if err != nil {
		panic(err) // numbers and texts of our own
	}
	b := []byte(magic)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(head)))
	b = binary.LittleEndian.AppendUint32(b, crc32.Checksum(head, castagnoli()))
	return slices.Concat(append([][]byte{b, head}, sections...)...)
}

// Kept is an index as it is kept: of a question only what it needs is read.
type Kept struct {
	from  io.ReaderAt
	head  indexHead
	start int64              // of the sections
	over  map[string]Profile // cases written to since, by id; nil: no profile any more
	more  int                // by how many cases it answers for more, or fewer, for that
}

// Few is up to how many cases written to since are looked at beside a kept index, before it is
// worth writing anew.
const Few = 20

// Bridge looks at what was written to a store since the index was kept, so that it answers as one
// brought up to date would; false where that is more than a few cases, or the store cannot tell.
func (k *Kept) Bridge(ctx context.Context, r *Reader, s cases.Store) (bool, error) {
	c, ok := s.(cases.Changing)
	if !ok {
		return false, nil
	}
	ids, now, known, err := c.Changed(ctx, cases.AboutCase, k.head.Mark)
	if err != nil || !known || len(ids) > Few || len(ids) == 0 && now != k.head.Mark {
		return false, err
	}
	ends, err := k.section(k.columns() + 1)
	if err != nil {
		return false, err
	}
	k.over, k.more = map[string]Profile{}, 0
	for _, id := range ids {
		p, err := closedProfile(ctx, r, s, id)
		if err != nil {
			return false, err
		}
		k.over[id] = p
		was, err := k.holds(ends, id)
		if err != nil {
			return false, err
		}
		if p != nil && !was {
			k.more++
		} else if p == nil && was {
			k.more--
		}
	}
	return true, nil
}

// holds says whether a case is in the kept index, whose ids are sorted.
func (k *Kept) holds(ends []byte, id string) (bool, error) {
	var failed error
	at := sort.Search(k.head.Cases, func(i int) bool {
		there, err := k.id(ends, i)
		if err != nil {
			failed = err
		}
		return there >= id
	})
	if failed != nil || at == k.head.Cases {
		return false, failed
	}
	there, err := k.id(ends, at)
	return there == id, err
}

// Open opens what Bytes wrote, for a rulebase.
func Open(from io.ReaderAt, r *Reader) (*Kept, error) {
	begin := make([]byte, len(magic)+8)
	if n, err := from.ReadAt(begin, 0); n < len(begin) {
		return nil, stale(err)
	}
	k := &Kept{from: from}
	n := binary.LittleEndian.Uint32(begin[len(magic):])
	if string(begin[:len(magic)]) != magic || n > 1<<20 {
		return nil, ErrStale
	}
	head := make([]byte, n)
	if read, err := from.ReadAt(head, int64(len(begin))); read < len(head) {
		return nil, stale(err)
	}
	if crc32.Checksum(head, castagnoli()) != binary.LittleEndian.Uint32(begin[len(magic)+4:]) || json.Unmarshal(head, &k.head) != nil ||
		k.head.Rulebase != r.base.Digest || k.head.Causes != len(r.base.Causes) || len(k.head.Sums) != k.columns()+3 {
		return nil, ErrStale
	}
	k.start = int64(len(begin)) + int64(n)
	return k, nil
}

func stale(err error) error {
	if err == nil || errors.Is(err, io.EOF) {
		return ErrStale
	}
	return fmt.Errorf("%w: %w", ErrStale, err)
}

// Len is how many cases it answers for.
func (k *Kept) Len() int { return k.head.Cases + k.more }

func (k *Kept) columns() int { return stride(k.head.Causes) / 8 }

// section reads one section and holds it against its checksum.
func (k *Kept) section(i int) ([]byte, error) {
	n, at := int64(k.head.Cases), k.start
	at += 8 * n * int64(min(i, k.columns()))
	size := 8 * n
	if i >= k.columns() {
		at += 4 * n * int64(i-k.columns())
		size = 4 * n
	}
	if i == k.columns()+2 {
		size = int64(k.head.Text)
	}
	b := make([]byte, size)
	if read, err := k.from.ReadAt(b, at); read < len(b) {
		return nil, stale(err)
	}
	if crc32.Checksum(b, castagnoli()) != k.head.Sums[i] {
		return nil, ErrStale
	}
	return b, nil
}

// Index is the whole of it, to be brought up to date.
func (k *Kept) Index() (*Index, error) {
	ids, err := k.ids()
	if err != nil {
		return nil, err
	}
	x := &Index{head: k.head, profiles: make(map[string]Profile, len(ids))}
	all := make([]byte, len(ids)*8*k.columns())
	for c := range k.columns() {
		column, err := k.section(c)
		if err != nil {
			return nil, err
		}
		for i := range ids {
			copy(all[(i*k.columns()+c)*8:], column[8*i:8*i+8])
		}
	}
	for i, id := range ids {
		x.profiles[id] = all[i*8*k.columns() : (i+1)*8*k.columns()]
	}
	return x, nil
}

func (k *Kept) ids() ([]string, error) {
	ends, err := k.section(k.columns() + 1)
	if err != nil {
		return nil, err
	}
	text, err := k.section(k.columns() + 2)
	if err != nil {
		return nil, err
	}
	ids := make([]string, k.head.Cases)
	for i := range ids {
		ids[i] = idAt(ends, text, i)
	}
	return ids, nil
}

// id reads one id. Only it is read, so that its checksum is not known: whoever looks the case up
// finds none under an id that was damaged.
func (k *Kept) id(ends []byte, i int) (string, error) {
	from, to := uint32(0), binary.LittleEndian.Uint32(ends[4*i:])
	if i > 0 {
		from = binary.LittleEndian.Uint32(ends[4*i-4:])
	}
	if from > to || int(to) > k.head.Text {
		return "", ErrStale
	}
	b := make([]byte, to-from)
	n := int64(k.head.Cases)
	if read, err := k.from.ReadAt(b, k.start+8*n*int64(k.columns())+8*n+int64(from)); read < len(b) {
		return "", stale(err)
	}
	return string(b), nil
}

func idAt(ends, text []byte, i int) string {
	from := uint32(0)
	if i > 0 {
		from = binary.LittleEndian.Uint32(ends[4*i-4:])
	}
	return string(text[from:binary.LittleEndian.Uint32(ends[4*i:])])
}

// Alike gives the cases that are most like a profile, the most alike first and, of equal ones, in
// the order of their ids; the case of the id given is left out.
func (k *Kept) Alike(p Profile, but string, limit int) ([]Match, error) {
	products := make([]uint32, k.head.Cases)
	columns := make([][]byte, k.columns())
	for c := range columns {
		eight := p[8*c : 8*c+8]
		if binary.LittleEndian.Uint64(eight) == 0 {
			continue
		}
		column, err := k.section(c)
		if err != nil {
			return nil, err
		}
		laneOf(eight).addTo(products, column)
		columns[c] = column
	}
	sums, err := k.section(k.columns())
	if err != nil {
		return nil, err
	}
	best := best(products, sums, sumOf(p), limit+1+len(k.over))
	ends, err := k.section(k.columns() + 1)
	if err != nil {
		return nil, err
	}
	var out []Match
	for _, b := range best {
		id, err := k.id(ends, b.place)
		if err != nil {
			return nil, err
		}
		if _, later := k.over[id]; later || id == but || len(out) == limit {
			continue
		}
		q := make(Profile, len(p))
		for c, column := range columns {
			if column != nil {
				copy(q[8*c:], column[8*b.place:8*b.place+8])
			}
		}
		out = append(out, Match{ID: id, Likeness: b.likeness, Causes: both(p, q)})
	}
	for id, q := range k.over {
		if q != nil && id != but {
			out = append(out, Match{ID: id, Likeness: Likeness(p, q), Causes: both(p, q)})
		}
	}
	slices.SortFunc(out, func(a, b Match) int { return cmp.Or(cmp.Compare(b.Likeness, a.Likeness), strings.Compare(a.ID, b.ID)) })
	return out[:min(limit, len(out))], nil
}

// placed is a case by its place.
type placed struct {
	place    int
	likeness float64
}

// best are the places of the most alike, of equal ones the first.
func best(products []uint32, sums []byte, own uint32, limit int) []placed {
	var best []placed // falling
	least := -1.0
	for i, x := range products {
		l := likeness(x, own, binary.LittleEndian.Uint32(sums[4*i:]))
		if l <= least {
			continue
		}
		at := len(best)
		for at > 0 && best[at-1].likeness < l {
			at--
		}
		best = slices.Insert(best, at, placed{i, l})
		if len(best) > limit {
			best = best[:limit]
		}
		if len(best) == limit {
			least = best[limit-1].likeness
		}
	}
	return best
}
