package rehearse

import (
	"context"
	"errors"
	"testing"

	"downdrop/testdata/support/shipped"
)

// A case that cannot be played ends the rehearsal with its error: cases left out
// would be counted as played.
func TestNoCaseIsLeftOutUnsaid(t *testing.T) {
	base, broken := shipped.Base(t), errors.New("cannot be played")
	err := onAllCores(context.Background(), base, Options{Cores: 2}, 1000, func(_ *Theatre, i int) error {
		if i == 3 {
			return broken
		}
		return nil
	})
	if !errors.Is(err, broken) {
		t.Errorf("%v after a case that cannot be played", err)
	}
	ctx, stop := context.WithCancel(context.Background())
	stop()
	if err := onAllCores(ctx, base, Options{}, 10, func(*Theatre, int) error { return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("%v after it was stopped", err)
	}
	told := 0
	if err := onAllCores(context.Background(), base, Options{Played: func(done, of int) { told += done * of }}, 4, func(*Theatre, int) error { return nil }); err != nil || told != 40 {
		t.Errorf("%v, told %d", err, told)
	}
}
