package rulebase

import (
	"slices"

	"downdrop/rulebase/graph"
)

// ruleGraph has the rules as its first nodes, then the names: a rule reads
// names, a name is set by rules. Going by way of the names keeps it as small as
// what is written; from rule to rule, a name that many set and many read would
// cost their product.
func ruleGraph(b *Base) [][]graph.Edge {
	n := len(b.Rules)
	edges := make([][]graph.Edge, n+len(b.Names))
	for i := range b.Rules {
		r := &b.Rules[i]
		negative := map[int]bool{}
		for _, k := range r.When.KnownReads() {
			if k.Negative {
				negative[k.Name] = true
			}
		}
		for _, name := range r.When.Reads() {
			edges[i] = append(edges[i], graph.Edge{To: n + name, Negative: negative[name]})
		}
		for _, a := range r.Then {
			edges[n+a.Name] = append(edges[n+a.Name], graph.Edge{To: i})
		}
	}
	return edges
}

// Strata gives each rule the level at which it may run: where a rule reads
// known(x) in a negative position, all rules that can set x, through any chain,
// stand at a lower level. Where rules lead through such a reading back to
// themselves there is no such order; circle then names the rules and names
// along the way, in turn, a rule first (Apt, Blair and Walker 1988, from memory).
func Strata(b *Base) (levels []int, circle []string) {
	edges := ruleGraph(b)
	if c := graph.NegativeCircle(edges); c != nil {
		for _, v := range c {
			circle = append(circle, nodeID(b, v))
		}
		return nil, circle
	}
	return levelsOf(edges, len(b.Rules)), nil
}

func nodeID(b *Base, node int) string {
	if node < len(b.Rules) {
		return b.Rules[node].ID
	}
	return b.Names[node-len(b.Rules)].ID
}

// levelsOf walks the components, each after what it reads. A name that no rule
// sets is settled from the start: nobody waits for it.
func levelsOf(edges [][]graph.Edge, rules int) []int {
	of, members := graph.Components(edges)
	level := make([]int, len(members))
	for c, nodes := range members {
		for _, v := range nodes {
			for _, e := range edges[v] {
				if of[e.To] == c || len(edges[e.To]) == 0 && e.To >= rules {
					continue
				}
				least := level[of[e.To]]
				if e.Negative {
					least++
				}
				level[c] = max(level[c], least)
			}
		}
	}
	levels := make([]int, rules)
	for i := range levels {
		levels[i] = level[of[i]]
	}
	return levels
}

// A Group is what settles together: one rule or one name by itself, or rules
// and names that support one another in a circle. Rules are places in
// Base.Rules, names places in Base.Names, both rising.
type Group struct {
	Rules, Names []int
}

// Circle says whether the members of the group support one another.
func (g *Group) Circle() bool { return len(g.Rules) > 0 && len(g.Names) > 0 }

// SettlingOrder is all rules and names in groups, each group after those that
// it reads or is set by: who works through it in this order never has to go back.
func SettlingOrder(b *Base) []Group {
	_, members := graph.Components(ruleGraph(b))
	groups := make([]Group, len(members))
	for i, nodes := range members {
		slices.Sort(nodes)
		for _, v := range nodes {
			if v < len(b.Rules) {
				groups[i].Rules = append(groups[i].Rules, v)
			} else {
				groups[i].Names = append(groups[i].Names, v-len(b.Rules))
			}
		}
	}
	return groups
}
