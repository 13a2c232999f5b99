package rulebase

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
)

// A packed base is the form in which a rulebase goes into a file that is taken along (see
// package takealong), where nothing reads YAML: the checked Base as JSON, without the
// positions in its files.
type packed struct {
	Base *Base
	IDs  map[string]Ref
}

// Pack writes a base for Unpack.
func (b *Base) Pack() ([]byte, error) {
	text, err := json.Marshal(packed{b, b.index})
	var all any
	if err == nil {
		err = json.Unmarshal(text, &all)
	}
	if err == nil {
		text, err = json.Marshal(lean(all))
	}
	if err != nil {
		return nil, fmt.Errorf("pack the rulebase: %w", err)
	}
	return text, nil
}

// lean leaves out positions and what is not there, which is not there either when read back. A
// number that is nought stays: in a map it says something.
func lean(v any) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = lean(v[i])
		}
	case map[string]any:
		for key, item := range v {
			if item == nil || item == false || item == "" || key == "Pos" {
				delete(v, key)
				continue
			}
			v[key] = lean(item)
		}
	}
	return v
}

// Unpack reads what Pack wrote. It is LoadFolder's Base but for the positions (see Base.Line
// and its like). It does not check: Pack only ever has a checked base.
func Unpack(text []byte) (*Base, error) {
	var p packed
	if err := json.Unmarshal(text, &p); err != nil {
		return nil, fmt.Errorf("unpack the rulebase: %w", err)
	}
	if p.Base == nil || len(p.Base.Names) == 0 {
		return nil, errors.New("unpack the rulebase: there is none")
	}
	p.Base.index = p.IDs
	return p.Base, nil
}

// UnmarshalJSON reads an expression's tree and makes its closures.
func (e *Expression) UnmarshalJSON(text []byte) error {
	type plain Expression
	if err := json.Unmarshal(text, (*plain)(e)); err != nil {
		return err
	}
	if e.Root == nil {
		return errors.New("an expression without a tree")
	}
	e.compile()
	return nil
}

type packedSlot struct {
	Word   int32
	Number float64
	None   bool // the number is NaN, which JSON has no sign for
	Rank   Rank
}

// MarshalJSON writes a slot, whose number may be none.
func (s Slot) MarshalJSON() ([]byte, error) {
	p := packedSlot{Word: s.Word, Number: s.Number, Rank: s.Rank}
	if math.IsNaN(s.Number) {
		p.Number, p.None = 0, true
	}
	return json.Marshal(p)
}

// UnmarshalJSON reads what MarshalJSON wrote.
func (s *Slot) UnmarshalJSON(text []byte) error {
	var p packedSlot
	if err := json.Unmarshal(text, &p); err != nil {
		return err
	}
	*s = Slot{Word: p.Word, Number: p.Number, Rank: p.Rank}
	if p.None {
		s.Number = math.NaN()
	}
	return nil
}
