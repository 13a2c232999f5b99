package ways

import "math/big"

// Terms are what somebody who owns the unit can choose when it lies in a shop, with what
// the sheet asks for it.
type Terms struct {
	Kind     Kind
	Price    *big.Rat // for it, without freight; of a repair: where it works
	Hours    *big.Rat // until the drop has a unit; nil: not on the sheet
	Warranty *big.Rat // months; nil: not on the sheet
	Expected *big.Rat // what it comes to in all, on the mean
}

// Terms gives the ways that a shop can offer, in the order of the decision. A unit that is
// good for sure is put back for the fee of its testing, any other for that of looking at it.
func (d *Decision) Terms() []Terms {
	var out []Terms
	for _, w := range d.Ways {
		t := Terms{Kind: w.Kind, Expected: w.Mean}
		section, hours := string(w.Kind), string(w.Kind)+".hours"
		switch w.Kind {
		case PutBack:
			t.Price = d.Prices.Get("evaluation.price")
			if d.Bad.Sign() == 0 {
				t.Price = d.Prices.Get("no_fault.fee")
			}
			hours = "shipping.hours"
		case RepairFast:
			t.Price = new(big.Rat).Add(d.Prices.Get("repair.price"), d.Prices.Get("repair.expedite_price"))
			section, hours = "repair", "repair.expedite_hours"
		case Repair, Exchange, New, Redesign:
			t.Price = d.Prices.Get(section + ".price")
		default: // what is done at the drop, or with a spare of its owner's
			continue
		}
		t.Hours, t.Warranty = d.Prices.Amount[hours], d.Prices.Amount[section+".warranty_months"]
		out = append(out, t)
	}
	return out
}
