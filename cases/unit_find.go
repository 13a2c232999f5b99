package cases

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"downdrop/rulebase"
)

// ReadUnit folds one unit of a store; ErrNotFound.
func ReadUnit(ctx context.Context, s Store, key string) (*Card, error) {
	events, err := s.Events(ctx, Subject{Kind: AboutUnit, ID: key})
	if err != nil {
		return nil, err
	}
	if len(events) == 0 {
		return nil, fmt.Errorf("unit %s: %w", key, ErrNotFound)
	}
	return FoldUnit(events), nil
}

// Units folds all units of a store, in the order of their ids, and hands on each.
func Units(ctx context.Context, s Store, each func(*Card) error) error {
	if all, ok := s.(Sweeping); ok {
		return all.EachSubject(ctx, AboutUnit, func(events []Event) error { return each(FoldUnit(events)) })
	}
	keys, err := s.Subjects(ctx, AboutUnit)
	if err != nil {
		return err
	}
	for _, key := range keys {
		card, err := ReadUnit(ctx, s, key)
		if errors.Is(err, ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		if err := each(card); err != nil {
			return err
		}
	}
	return nil
}

// FindUnits gives the ids of the units that somebody may mean by a name, TYPE/SERIAL or a serial
// alone, and of those that the eye takes for them, which are asked about and never assumed.
func FindUnits(ctx context.Context, s Store, name string) (same, near []string, err error) {
	keys, err := s.Subjects(ctx, AboutUnit)
	if err != nil {
		return nil, nil, err
	}
	wanted, looks := plainKey(name), SerialLooksLike(name)
	for _, key := range keys {
		kind, serial := KeyParts(key)
		switch {
		case key == wanted || kind+"/"+serial == wanted:
			return []string{key}, nil, nil
		case serial == wanted:
			same = append(same, key)
		case SerialLooksLike(serial) == looks || SerialLooksLike(kind+serial) == looks:
			near = append(near, key)
		}
	}
	return same, near, nil
}

// A Likeness is what a serial that came in may stand for.
type Likeness struct {
	Cases []Summary // the same type and serial: these are meant
	Ask   []Summary // cases of another type or of a serial that the eye takes for it
	Units []string  // ids of other units that were here and look like it
}

// ReceiptDays is how long after it was opened a closed case of a unit that had to come out may
// still be the one for which the unit comes in. A choice of ours.
const ReceiptDays = 365

// LookUnitUp asks a store which cases a unit that came in may belong to: those not closed,
// and those closed with the unit out of which no receipt speaks yet. Only the very
// serial and type count; what looks like them is to be asked.
func LookUnitUp(ctx context.Context, store Store, u Unit, now time.Time) (Likeness, error) {
	var l Likeness
	if !tellsUnits(u.Serial) {
		return l, nil
	}
	key := UnitKey(u)
	spoken := map[string]bool{}
	card, err := ReadUnit(ctx, store, key)
	if err != nil && !errors.Is(err, ErrNotFound) {
		return l, err
	}
	if card != nil {
		for _, s := range card.Stays {
			for _, id := range s.Receipt.Body.Cases {
				spoken[id] = true
			}
		}
	}
	err = FindEach(ctx, store, Query{LooksLike: u.Serial}, func(s Summary) {
		switch {
		case spoken[s.ID], s.State == StateClosed && (s.Outcome != string(rulebase.UnitOut) || now.Sub(s.Opened) > ReceiptDays*24*time.Hour):
		case Folded(s.Serial) == Folded(u.Serial) && Folded(s.Type) == Folded(u.Type):
			l.Cases = append(l.Cases, s)
		default:
			l.Ask = append(l.Ask, s)
		}
	})
	if err != nil {
		return l, fmt.Errorf("look for serial %s: %w", u.Serial, err)
	}
	keys, err := store.Subjects(ctx, AboutUnit)
	if err != nil {
		return l, err
	}
	for _, k := range keys {
		if _, serial := KeyParts(k); k != key && SerialLooksLike(serial) == SerialLooksLike(u.Serial) {
			l.Units = append(l.Units, k)
		}
	}
	return l, nil
}

// SerialReturns counts how often a unit came in or came out before: its stays, and the cases
// that ended with it out and of which no stay speaks. Cases without, and the stays that
// speak of them, are left out: they are this return.
func SerialReturns(ctx context.Context, store Store, u Unit, without ...string) (int, error) {
	if !tellsUnits(u.Serial) || u.Type == "" {
		return 0, nil
	}
	n, spoken := 0, map[string]bool{}
	card, err := ReadUnit(ctx, store, UnitKey(u))
	if err != nil && !errors.Is(err, ErrNotFound) {
		return 0, err
	}
	if card != nil {
		for _, s := range card.Stays {
			this := false
			for _, id := range s.Receipt.Body.Cases {
				spoken[id], this = true, this || slices.Contains(without, id)
			}
			if !this {
				n++
			}
		}
	}
	err = FindEach(ctx, store, Query{Serial: u.Serial}, func(s Summary) {
		if s.Outcome == string(rulebase.UnitOut) && Folded(s.Type) == Folded(u.Type) && !spoken[s.ID] && !slices.Contains(without, s.ID) {
			n++
		}
	})
	if err != nil {
		return 0, fmt.Errorf("look for serial %s: %w", u.Serial, err)
	}
	return n, nil
}

// LocationReturns counts, over the cases of a location, the units that came out of it before, those
// of some cases left out.
func LocationReturns(ctx context.Context, store Store, location string, drop int, without ...string) (int, error) {
	if location == "" {
		return 0, nil
	}
	n := 0
	err := FindEach(ctx, store, Query{Location: location}, func(s Summary) {
		if s.Outcome == string(rulebase.UnitOut) && !slices.Contains(without, s.ID) && (drop == 0 || s.Drop == 0 || s.Drop == drop) {
			n++
		}
	})
	if err != nil {
		return 0, fmt.Errorf("look for location %s: %w", location, err)
	}
	return n, nil
}
