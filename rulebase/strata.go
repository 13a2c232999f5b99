package rulebase

import "slices"

// An edge leads from what reads to what is read.
type edge struct {
	to       int
	negative bool // more of it can take the reader back
}

// components are the strongly connected components of a graph, each after all
// that it reads, in time linear in nodes and edges (Tarjan 1972, from memory).
func components(edges [][]edge) (of []int, members [][]int) {
	n := len(edges)
	index, low, on := make([]int, n), make([]int, n), make([]bool, n)
	of = make([]int, n)
	var stack []int
	next := 1
	var visit func(v int)
	visit = func(v int) {
		index[v], low[v], on[v] = next, next, true
		next++
		at := len(stack)
		stack = append(stack, v)
		for _, e := range edges[v] {
			if index[e.to] == 0 {
				visit(e.to)
				low[v] = min(low[v], low[e.to])
			} else if on[e.to] {
				low[v] = min(low[v], index[e.to])
			}
		}
		if low[v] != index[v] {
			return
		}
		for _, w := range stack[at:] {
			on[w], of[w] = false, len(members)
		}
		members = append(members, slices.Clone(stack[at:]))
		stack = stack[:at]
	}
	for v := range n {
		if index[v] == 0 {
			visit(v)
		}
	}
	return of, members
}

// negativeCircle is a circle through a negative edge, each member reading the
// next and the last the first; nil where there is none.
func negativeCircle(edges [][]edge) []int {
	of, _ := components(edges)
	for from := range edges {
		for _, e := range edges[from] {
			if e.negative && of[e.to] == of[from] {
				return append([]int{from}, shortest(edges, of, e.to, from)...)
			}
		}
	}
	return nil
}

// shortest is the shortest way inside a component, without its end.
func shortest(edges [][]edge, of []int, from, to int) []int {
	if from == to {
		return nil
	}
	before := map[int]int{from: from}
	for queue := []int{from}; len(queue) > 0; queue = queue[1:] {
		v := queue[0]
		for _, e := range edges[v] {
			if _, seen := before[e.to]; !seen && of[e.to] == of[from] {
				before[e.to] = v
				queue = append(queue, e.to)
			}
		}
		if _, found := before[to]; found {
			break
		}
	}
	var way []int
	for v := before[to]; ; v = before[v] {
		way = append(way, v)
		if v == from {
			break
		}
	}
	slices.Reverse(way)
	return way
}

// ruleGraph has the rules as its first nodes, then the names: a rule reads
// names, a name is set by rules. Going by way of the names keeps it as small as
// what is written; from rule to rule, a name that many set and many read would
// cost their product.
func ruleGraph(b *Base) [][]edge {
	n := len(b.Rules)
	edges := make([][]edge, n+len(b.Names))
	for i := range b.Rules {
		r := &b.Rules[i]
		negative := map[int]bool{}
		for _, k := range r.When.KnownReads() {
			if k.Negative {
				negative[k.Name] = true
			}
		}
		for _, name := range r.When.Reads() {
			edges[i] = append(edges[i], edge{n + name, negative[name]})
		}
		for _, a := range r.Then {
			edges[n+a.Name] = append(edges[n+a.Name], edge{i, false})
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
	if c := negativeCircle(edges); c != nil {
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
func levelsOf(edges [][]edge, rules int) []int {
	of, members := components(edges)
	level := make([]int, len(members))
	for c, nodes := range members {
		for _, v := range nodes {
			for _, e := range edges[v] {
				if of[e.to] == c || len(edges[e.to]) == 0 && e.to >= rules {
					continue
				}
				least := level[of[e.to]]
				if e.negative {
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
	_, members := components(ruleGraph(b))
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
