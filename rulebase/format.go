package rulebase

import (
	"bytes"
	"slices"
	"sync"

	"downdrop/rulebase/source"
)

// Format writes a file of a rulebase, its rule tests or a case in its one form; see
// source.Format for the rules. The keys stand in the order of the format.
func Format(file string, text []byte) ([]byte, error) {
	order := keyOrder
	if isCase(file, text) {
		order = caseOrder
	}
	out, err := source.Format(file, text, order)
	for range formattings - 1 {
		again, problem := source.Format(file, out, order)
		if err != nil || problem != nil || bytes.Equal(again, out) {
			break
		}
		out = again
	}
	return out, err
}

// formattings is how often a file is brought into form at most until nothing changes: where a comment at an odd
// margin goes may need what stands above it to be in form first.
const formattings = 4

// isCase says that a file holds one case: its keys are a case's, and what a rulebase
// has as sections it has, if at all, under the same words.
func isCase(file string, text []byte) bool {
	doc := source.NewReader().Read(file, text)
	if doc == nil || doc.Shape != source.Map {
		return false
	}
	return slices.ContainsFunc(doc.Keys, func(k *source.Node) bool {
		return slices.Contains([]string{"case", "findings", "at", "expect", "done"}, k.Text)
	})
}

// keyOrder is the order of a map's keys by where it stands; nil: as written.
func keyOrder(path []string) []string {
	if len(path) > 0 && path[0] == "#" { // rule tests
		return caseOrder(path[1:])
	}
	switch {
	case len(path) == 0:
		return nil
	case path[0] == "rulebase":
		return headerOrder(path[1:])
	case sectionKinds[path[0]] == KindNone:
		return caseOrder(path)
	case len(path) == 2:
		return orders()[path[0]]
	case len(path) == 4 && path[3] == "#":
		switch path[2] {
		case "shows", "shows_first":
			return orders()["row"]
		case "more_likely":
			return orders()["likelier"]
		case "remedies", "remedy":
			return orders()["helps"]
		}
	case len(path) == 3 && path[2] == "proof":
		return orders()["proof"]
	}
	return nil
}

func headerOrder(path []string) []string {
	switch {
	case len(path) == 0:
		return orders()["rulebase"]
	case len(path) == 1 && (path[0] == "complaint" || path[0] == "effort"):
		return orders()[path[0]]
	}
	return nil
}

// caseOrder is the order of keys in a case.
func caseOrder(path []string) []string {
	switch {
	case len(path) == 0:
		return orders()["case"]
	case slices.Equal(path, []string{"findings", "#"}):
		return orders()["finding"]
	case slices.Equal(path, []string{"done", "#"}):
		return orders()["done"]
	case slices.Equal(path, []string{"expect"}):
		return orders()["expectation"]
	case slices.Equal(path, []string{"expect", "top"}):
		return orders()["top"]
	}
	return nil
}

// orders are the orders of keys by table: how an entry is laid over another first,
// then the table's own, the note behind the source.
var orders = sync.OnceValue(func() map[string][]string {
	all := map[string][]string{}
	for of := range keys() {
		order := slices.Clone(keyNames()["overlaying"])
		for _, name := range keyNames()[of] {
			if name == "note" && !hasKey(of, "note") {
				continue
			}
			if name == "because" && of == "row" {
				order = append(order, "*") // the values stand behind the condition
			}
			order = append(order, name)
			if name == "source" && !hasKey(of, "note") {
				order = append(order, "note")
			}
		}
		all[of] = order
	}
	return all
})

// hasKey says whether a table itself places a key that may stand anywhere.
func hasKey(of, name string) bool {
	return slices.ContainsFunc(keys()[of], func(k key) bool { return k.name == name })
}
