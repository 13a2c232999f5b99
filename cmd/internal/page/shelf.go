package page

import (
	"context"
	"errors"
	"slices"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
)

// A shelf is what the list of the units in the shop shows of each, worked out from a store and kept
// between two requests: the events of ten thousand units are not read anew to list the few that are
// in the house. It follows from the store alone. Before each list the store is asked which units were
// written to, by whomever, and those are read again; a store that cannot tell is read anew.
type shelf struct {
	mu    sync.Mutex
	mark  cases.Mark // how far the store was read
	cards map[string]*cases.Card
}

// units are the units in the house, sorted as a list is; each card holds no more than where its unit
// stands. Nobody may change them.
func (h *shelf) units(ctx context.Context, store cases.Store) ([]*cases.Card, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	var ids []string
	var now cases.Mark
	known := false
	if c, ok := store.(cases.Changing); ok {
		var err error
		if ids, now, known, err = c.Changed(ctx, cases.AboutUnit, h.mark); err != nil {
			return nil, err
		}
	}
	if !known || h.cards == nil {
		if err := h.readAll(ctx, store, now); err != nil {
			return nil, err
		}
	} else if err := h.readAgain(ctx, store, ids, now); err != nil {
		return nil, err
	}
	list := make([]*cases.Card, 0, len(h.cards))
	for _, c := range h.cards {
		list = append(list, c)
	}
	report.SortUnits(list)
	return list, nil
}

// readAll reads every unit; on an error all is as it was.
func (h *shelf) readAll(ctx context.Context, store cases.Store, now cases.Mark) error {
	cards := map[string]*cases.Card{}
	err := cases.Units(ctx, store, func(c *cases.Card) error {
		if c.State().InShop() {
			cards[c.ID] = whereItStands(c)
		}
		return nil
	})
	if err == nil {
		h.cards, h.mark = cards, now
	}
	return err
}

// readAgain reads some units; on an error the mark stays, so that they are read once more.
func (h *shelf) readAgain(ctx context.Context, store cases.Store, ids []string, now cases.Mark) error {
	for _, id := range ids {
		c, err := cases.ReadUnit(ctx, store, id)
		switch {
		case errors.Is(err, cases.ErrNotFound):
			delete(h.cards, id)
		case err != nil:
			return err
		case c.State().InShop():
			h.cards[id] = whereItStands(c)
		default:
			delete(h.cards, id)
		}
	}
	h.mark = now
	return nil
}

// whereItStands is a card with what a list says of it, and without its events, which may be whole runs at
// the bench.
func whereItStands(c *cases.Card) *cases.Card {
	s := c.Stay()
	short := &cases.Stay{State: s.State, Since: s.Since, Came: s.Came, Verdict: s.Verdict}
	if s.Statement != nil {
		short.Statement = &cases.Said[cases.Contamination]{Body: s.Statement.Body}
	}
	if o := s.Offer(); o != nil {
		last := cases.Offered{Offer: cases.Offer{Until: o.Offer.Until}, Late: o.Late}
		if o.Answer != nil {
			last.Answer = &cases.Said[cases.Answer]{Body: o.Answer.Body}
		}
		short.Offers = []cases.Offered{last}
	}
	return &cases.Card{ID: c.ID, Unit: c.Unit, Stays: []*cases.Stay{short}, Unfit: make([]cases.Event, min(1, len(c.Unfit)))}
}

// inState are those of a sorted list in one state.
func inState(list []*cases.Card, state cases.ShopState) []*cases.Card {
	first := slices.IndexFunc(list, func(c *cases.Card) bool { return c.State() == state })
	if first < 0 {
		return nil
	}
	list = list[first:]
	if past := slices.IndexFunc(list, func(c *cases.Card) bool { return c.State() != state }); past >= 0 {
		list = list[:past]
	}
	return list
}
