package triage

import (
	"bufio"
	"cmp"
	"container/heap"
	"encoding/gob"
	"errors"
	"io"
	"os"
	"slices"
)

// A sorter puts any number of rows in order in little memory: so many at a time are
// sorted and laid down in one temporary file, and in the end all these runs are
// merged (external merge sort, D. Knuth, The Art of Computer Programming, volume 3, 5.4).
type sorter struct {
	most int // rows held
	held []Row
	file *os.File // nil until something was laid down
	out  *bufio.Writer
	at   int64
	runs []int64 // where each begins
}

func compareRows(a, b *Row) int {
	return cmp.Or(cmp.Compare(a.Call.rank(), b.Call.rank()), cmp.Compare(b.Good, a.Good), cmp.Compare(a.Line, b.Line))
}

func (s *sorter) add(r Row) error {
	s.held = append(s.held, r)
	if len(s.held) < s.most {
		return nil
	}
	return s.layDown()
}

func (s *sorter) sort() {
	slices.SortFunc(s.held, func(a, b Row) int { return compareRows(&a, &b) })
}

// counted counts what is written.
type counted struct {
	w io.Writer
	n *int64
}

func (c counted) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	*c.n += int64(n)
	return n, err
}

func (s *sorter) layDown() error {
	s.sort()
	if s.file == nil {
		f, err := os.CreateTemp("", "downdrop-triage-*")
		if err != nil {
			return err
		}
		s.file, s.out = f, bufio.NewWriter(f)
	}
	s.runs = append(s.runs, s.at)
	e := gob.NewEncoder(counted{s.out, &s.at})
	for i := range s.held {
		if err := e.Encode(&s.held[i]); err != nil {
			return err
		}
	}
	s.held = s.held[:0]
	return s.out.Flush()
}

// A run is one sorted stretch of the file, read row by row.
type run struct {
	d   *gob.Decoder
	row Row
}

func (r *run) next() error {
	r.row = Row{} // gob leaves out what is zero
	return r.d.Decode(&r.row)
}

type runs []*run

func (h runs) Len() int           { return len(h) }
func (h runs) Less(i, j int) bool { return compareRows(&h[i].row, &h[j].row) < 0 }
func (h runs) Swap(i, j int)      { h[i], h[j] = h[j], h[i] }
func (h *runs) Push(x any)        { *h = append(*h, x.(*run)) }
func (h *runs) Pop() any {
	last := (*h)[len(*h)-1]
	*h = (*h)[:len(*h)-1]
	return last
}

// each gives all rows in order.
func (s *sorter) each(visit func(*Row) error) error {
	if s.file == nil {
		s.sort()
		for i := range s.held {
			if err := visit(&s.held[i]); err != nil {
				return err
			}
		}
		return nil
	}
	if len(s.held) > 0 {
		if err := s.layDown(); err != nil {
			return err
		}
	}
	s.held = nil
	var h runs
	for i, from := range s.runs {
		to := s.at
		if i+1 < len(s.runs) {
			to = s.runs[i+1]
		}
		r := &run{d: gob.NewDecoder(bufio.NewReaderSize(io.NewSectionReader(s.file, from, to-from), 8<<10))}
		if err := r.next(); err != nil {
			return err
		}
		h = append(h, r)
	}
	heap.Init(&h)
	for len(h) > 0 {
		if err := visit(&h[0].row); err != nil {
			return err
		}
		switch err := h[0].next(); {
		case errors.Is(err, io.EOF):
			heap.Pop(&h)
		case err != nil:
			return err
		default:
			heap.Fix(&h, 0)
		}
	}
	return nil
}

// close takes the temporary file away.
func (s *sorter) close() {
	if s.file != nil {
		_ = s.file.Close()
		_ = os.Remove(s.file.Name())
	}
}
