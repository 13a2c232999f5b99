package rulebase

import (
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// The states of a drop in [Situation.Drops].
const (
	DropGood         = "good"
	DropDead         = "dead"
	DropComesAndGoes = "comes_and_goes"
)

// The words of [Extent]: how much of the line the trouble takes in. They are the
// values of a given that says `filled_by: extent`.
const (
	ExtentOne          = "one"            // this drop alone
	ExtentSome         = "some"           // several, in no pattern that order or supply explains
	ExtentSupply       = "supply"         // exactly those that share this drop's supply
	ExtentBeyond       = "beyond"         // all from one point of the cable outwards, this drop among them
	ExtentAll          = "all"            // every drop of which the state is known, and at least two
	ExtentComesAndGoes = "comes_and_goes" // this drop is not down all the time
)

// Extent derives how much is down from the state of each drop (good, dead or
// comes_and_goes, by address), the order of the drops along the cable from the
// host, and which drops share a supply. It returns one of the Extent words, or ""
// when that cannot be said, and in both cases a sentence: what it rests on, or
// what is missing.
//
// sick is the address of the drop in question; 0 means not said, and the only
// drop that is not good is taken. A drop that comes and goes counts as down
// beside a dead one. Addresses are names: cable order is never read from them.
// A break between two drops takes down everything outward of it, so `beyond`
// asks only that the sick drop is one of those, not that it is the nearest.
func Extent(sick int, drops map[int]string, order []int, supplies [][]int) (word, because string) {
	l := line{drops: drops, order: order}
	for _, address := range slices.Sorted(maps.Keys(drops)) {
		switch state := drops[address]; state {
		case DropGood:
			l.good = append(l.good, address)
		case DropDead, DropComesAndGoes:
			l.down = append(l.down, address)
		default:
			return "", fmt.Sprintf("The state of drop %d is %q: say good, dead or comes_and_goes.", address, state)
		}
	}
	if sick == 0 && len(l.down) == 1 {
		sick = l.down[0]
	}
	switch {
	case sick == 0:
		return "", "Say which drop this is about."
	case drops[sick] == DropGood:
		return "", fmt.Sprintf("Drop %d is said to be good.", sick)
	case drops[sick] == "":
		l.down = append(l.down, sick)
	}
	slices.Sort(l.good)
	slices.Sort(l.down)
	return l.extent(sick, supplies)
}

// A line is what is known of the drops along one trunk.
type line struct {
	drops      map[int]string
	order      []int
	good, down []int // addresses, rising
}

func (l *line) extent(sick int, supplies [][]int) (word, because string) {
	switch {
	case l.drops[sick] == DropComesAndGoes:
		return ExtentComesAndGoes, fmt.Sprintf("Drop %d comes and goes.", sick)
	case len(l.down)+len(l.good) == 1:
		return "", "Say how the other drops are."
	case len(l.good) == 0:
		return ExtentAll, fmt.Sprintf("Not one of %s is good.", dropList(l.down))
	case len(l.down) == 1:
		return ExtentOne, fmt.Sprintf("Drop %d is down and %s good.", sick, areOrIs(l.good))
	}
	shared, known := l.onOneSupply(sick, supplies)
	first, missing := l.nearestOfAllBeyond()
	switch {
	case shared && first != 0:
		return "", fmt.Sprintf("%s share a supply and are also all that lie from drop %d outwards: either would explain it.", dropList(l.down), first)
	case shared:
		return ExtentSupply, fmt.Sprintf("%s are exactly those on the supply of drop %d.", dropList(l.down), sick)
	case first != 0:
		return ExtentBeyond, fmt.Sprintf("%s are all that lie from drop %d outwards along the cable.", dropList(l.down), first)
	case missing != "":
		return "", missing
	case !known:
		return "", "Say which drops share a supply."
	}
	return ExtentSome, fmt.Sprintf("%s are down and %s good, and neither the order along the cable nor a shared supply explains it.", dropList(l.down), areOrIs(l.good))
}

// onOneSupply says whether exactly the drops that share sick's supply are down,
// and whether it is known who shares it.
func (l *line) onOneSupply(sick int, supplies [][]int) (exactly, known bool) {
	for _, group := range supplies {
		if !slices.Contains(group, sick) {
			continue
		}
		group = slices.Clone(group)
		slices.Sort(group)
		return slices.Equal(slices.Compact(group), l.down), true
	}
	return false, false
}

// nearestOfAllBeyond gives the nearest drop that is down, where it and everything
// farther along the cable is down and something nearer is good; 0 otherwise. The
// second result says what is missing to decide it, "" where nothing is.
func (l *line) nearestOfAllBeyond() (first int, missing string) {
	for _, address := range append(slices.Clone(l.down), l.good...) {
		if !slices.Contains(l.order, address) {
			return 0, fmt.Sprintf("Say the order of the drops along the cable, from the host, drop %d among them.", address)
		}
	}
	start := slices.IndexFunc(l.order, func(a int) bool { return slices.Contains(l.down, a) })
	unknown := 0
	for _, address := range l.order[start:] {
		switch {
		case slices.Contains(l.good, address):
			return 0, ""
		case !slices.Contains(l.down, address) && unknown == 0:
			unknown = address
		}
	}
	if unknown != 0 {
		return 0, fmt.Sprintf("Say how drop %d is.", unknown)
	}
	return l.order[start], "" // every good drop is in the order, so it lies nearer
}

func dropList(addresses []int) string {
	if len(addresses) == 1 {
		return "Drop " + strconv.Itoa(addresses[0])
	}
	return "Drops " + joinAddresses(addresses)
}

func areOrIs(addresses []int) string {
	if len(addresses) == 1 {
		return fmt.Sprintf("drop %d is", addresses[0])
	}
	return "drops " + joinAddresses(addresses) + " are"
}

func joinAddresses(addresses []int) string {
	words := make([]string, len(addresses))
	for i, a := range addresses {
		words[i] = strconv.Itoa(a)
	}
	last := len(words) - 1
	if last == 0 {
		return words[0]
	}
	return strings.Join(words[:last], ", ") + " and " + words[last]
}
