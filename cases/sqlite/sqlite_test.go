package sqlite_test

import (
	"context"
	"path/filepath"
	"runtime"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

var ctx = context.Background()

func TestLaws(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Place {
		path := filepath.Join(t.TempDir(), "a store?#%.db")
		return func(o sqlstore.Options) (cases.Store, error) { return sqlite.Open(ctx, path, o) }
	})
}

// What an import holds in memory does not grow with the events that go through it: a transaction keeps every
// statement that it is given until its end, so it must not be given one for each event.
func TestImportHoldsNoEvent(t *testing.T) {
	support.Alone(t)
	s := open(t, filepath.Join(t.TempDir(), "store.db"))
	var events []cases.Event
	for e, err := range storetest.Invented("quarry", 300, 1) {
		if err != nil {
			t.Fatal(err)
		}
		events = append(events, e)
	}
	held := func() uint64 {
		var m runtime.MemStats
		runtime.GC()
		runtime.ReadMemStats(&m)
		return m.HeapAlloc
	}
	var first, last uint64
	_, err := s.Import(ctx, func(yield func(cases.Event, error) bool) {
		for i := range events {
			switch i {
			case 500:
				first = held()
			case len(events) - 1:
				last = held()
			}
			if !yield(events[i], nil) {
				return
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	if grown := int64(last) - int64(first); grown > int64(len(events)-500)*100 {
		t.Errorf("%d bytes more are held after %d events", grown, len(events)-500)
	}
}
