package line

import (
	"fmt"
	"slices"
)

// A Kind is a kind of line, with the limits of its open standard or of the trade.
type Kind struct {
	ID         string
	Name       string
	Impedance  [2]Ohm // of its cable, lowest and highest
	Terminator Ohm    // one, as an ohmmeter sees it with power off
	Rates      []BitPerSecond
	Usual      BitPerSecond // the rate it is delivered for; 0: none
	Addresses  [2]int       // a unit's own, lowest and highest
	Unassigned int          // an address that says "not given one yet"; -1: none
	Units      int          // on one segment; 0: no published limit, take it from the installation
	Source     string
}

// The kinds of line.
var (
	TokenPair = Kind{
		ID: "token_pair", Name: "token-passing pair", Impedance: [2]Ohm{150, 150}, Terminator: 150,
		Rates: []BitPerSecond{38400, 76800, 153600}, Usual: 153600, Unassigned: -1,
		Source: "common practice, no source",
	}
	Modbus = Kind{
		ID: "tia485_polled", Name: "polled TIA-485 pair (Modbus serial line)", Impedance: [2]Ohm{100, 120}, Terminator: 120,
		Rates: []BitPerSecond{1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200}, Usual: 19200,
		Addresses: [2]int{1, 247}, Unassigned: -1, Units: 32,
		Source: "Modbus over Serial Line V1.02",
	}
	Profibus = Kind{
		ID: "profibus_dp", Name: "PROFIBUS DP", Impedance: [2]Ohm{135, 165}, Terminator: 220,
		Rates:     []BitPerSecond{9600, 19200, 45450, 93750, 187500, 500000, 1500000, 3000000, 6000000, 12000000},
		Addresses: [2]int{0, 126}, Unassigned: 126, Units: 32,
		Source: "IEC 61158-2 type 3; addresses and number of stations from memory",
	}
	CAN = Kind{
		ID: "can", Name: "CAN", Impedance: [2]Ohm{108, 132}, Terminator: 120,
		Rates:     []BitPerSecond{10000, 20000, 50000, 125000, 250000, 500000, 800000, 1000000},
		Addresses: [2]int{1, 127}, Unassigned: -1, Units: 0,
		Source: "CAN System Engineering, tables 4.1 and 4.2; node numbers CiA 301, from memory",
	}
)

// Kinds is every kind of line.
var Kinds = []*Kind{&TokenPair, &Modbus, &Profibus, &CAN}

// KindOf is the kind of line of an id; nil where there is none such.
func KindOf(id string) *Kind {
	for _, k := range Kinds {
		if k.ID == id {
			return k
		}
	}
	return nil
}

// AddressVerdict says whether a unit may have an address.
func (k *Kind) AddressVerdict(address int) Verdict {
	switch {
	case k.Addresses == [2]int{}:
		return Pass // no published range
	case address < k.Addresses[0] || address > k.Addresses[1]:
		return Fail
	case address == k.Unassigned:
		return Marginal
	}
	return Pass
}

// A LengthLimit is the longest trunk at a rate.
type LengthLimit struct {
	Longest Metre
	Source  string
}

type lengthRow struct {
	upTo    BitPerSecond
	longest Metre
}

// profibusLengths is cable type A (a knowledge page on cable length by rate; upper rates and type A's data from memory).
var profibusLengths = []lengthRow{{93750, 1200}, {187500, 1000}, {500000, 400}, {1500000, 200}, {12000000, 100}}

// canLengths is by CAN System Engineering, tables 4.1 and 4.2. At 1 Mbit/s ISO
// 11898-2 allows 40 m under its own assumptions; the shorter one counts.
var canLengths = []lengthRow{{10000, 5000}, {20000, 2500}, {50000, 1000}, {125000, 500}, {250000, 250}, {500000, 100}, {800000, 50}, {1000000, 25}}

// LengthLimit is the longest trunk of this kind at a rate. ok is false where no
// table is published: a token-passing pair's limit is for the installation to say.
func (k *Kind) LengthLimit(rate BitPerSecond) (limit LengthLimit, ok bool) {
	row := func(rows []lengthRow, source string) (LengthLimit, bool) {
		i := slices.IndexFunc(rows, func(r lengthRow) bool { return rate <= r.upTo })
		if i < 0 {
			return LengthLimit{}, false
		}
		return LengthLimit{rows[i].longest, source}, true
	}
	switch k {
	case &Modbus:
		if rate <= 9600 {
			return LengthLimit{1000, "Modbus over Serial Line V1.02, 3.4.3: 1000 m up to 9600 bit/s on AWG 26 or thicker"}, true
		}
		return LengthLimit{min(1200, Metre(1e8/float64(rate))), "rule of thumb, length in m times rate at most 1e8, not over 1200 m; from memory"}, true
	case &Profibus:
		return row(profibusLengths, "PROFIBUS DP, cable type A, by rate")
	case &CAN:
		return row(canLengths, "CAN System Engineering, tables 4.1 and 4.2")
	}
	return LengthLimit{}, false
}

// StubRule is what a kind of line allows for stubs at a rate. Zero: none allowed.
type StubRule struct {
	Each   Metre // the longest single one
	Sum    Metre // all of a segment together; 0 where only Each counts
	Source string
}

// Stubs is the rule for stubs of this kind of line at a rate; tapped is how many
// leave one multi-port tap. ok is false where none is published.
func (k *Kind) Stubs(rate BitPerSecond, tapped int) (rule StubRule, ok bool) {
	switch k {
	case &Modbus:
		return StubRule{Each: min(20, 40/Metre(max(1, tapped))), Source: "Modbus over Serial Line V1.02, 3.4.3"}, true
	case &Profibus:
		for _, r := range []lengthRow{{19200, 500}, {93750, 100}, {187500, 1e-9 / profibusFarad}, {500000, 0.6e-9 / profibusFarad}, {1500000, 0.2e-9 / profibusFarad}} {
			if rate <= r.upTo {
				return StubRule{Each: r.longest, Sum: r.longest, Source: "PROFIBUS Competency Center Australia, technical series 09/020, table 1"}, true
			}
		}
		return StubRule{Source: "PROFIBUS Competency Center Australia, technical series 09/020, table 1: none above 1500 kbit/s"}, true
	case &CAN:
		for _, r := range []struct {
			upTo      BitPerSecond
			each, sum Metre
		}{{10000, 275, 1375}, {20000, 137.5, 687.5}, {50000, 55, 275}, {125000, 22, 110}, {250000, 11, 55}, {500000, 5.5, 27.5}, {800000, 2.5, 12.5}, {1000000, 1.5, 7.5}} {
			if rate <= r.upTo {
				return StubRule{Each: r.each, Sum: r.sum, Source: "CAN System Engineering, tables 4.1 and 4.2"}, true
			}
		}
	}
	return StubRule{}, false
}

// profibusFarad is the capacitance of a metre of cable type A, 30 pF at most (from memory).
const profibusFarad = 30e-12

// ModbusUnits is how many units a segment without a repeater takes: 32, and four
// fewer on a line with bias (Modbus over Serial Line V1.02, 3.4.1 and 3.4.6).
func ModbusUnits(biased bool) int {
	if biased {
		return 28
	}
	return 32
}

// canWire is the longest CAN trunk by conductor in mm² and number of nodes: 32,
// 64, 100 (CiA 303-1 as quoted).
var canWire = map[float64][3]Metre{0.25: {200, 170, 150}, 0.5: {360, 310, 270}, 0.75: {550, 470, 410}}

// CANWireLength is the longest CAN trunk by its wire, for so many nodes.
func CANWireLength(mm2 float64, nodes int) (Metre, error) {
	row, ok := canWire[mm2]
	switch {
	case !ok:
		return 0, fmt.Errorf("no length is published for %v mm²; there is one for 0.25, 0.5 and 0.75 mm²", mm2)
	case nodes <= 32:
		return row[0], nil
	case nodes <= 64:
		return row[1], nil
	case nodes <= 100:
		return row[2], nil
	}
	return 0, fmt.Errorf("no length is published for %d nodes; the table ends at 100", nodes)
}
