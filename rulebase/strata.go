package rulebase

import "slices"

// An edge leads from what reads to what is read.
type edge struct {
	to       int
	negative bool // more of it can take the reader back
}

// components are the strongly connected components of a graph, each after all
// that it reads (Tarjan 1972, from memory).
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
		at := slices.Index(stack, v)
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

// Strata gives each rule the level at which it may run: where a rule reads
// known(x) in a negative position, all rules that can set x, through any chain,
// stand at a lower level. Where rules lead through such a reading back to
// themselves there is no such order; circle then names the rules and names
// along the way (Apt, Blair and Walker 1988, from memory).
func Strata(b *Base) (levels []int, circle []string) {
	// Nodes: the rules, then the names. A rule reads names, a name is set by rules.
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
	if c := negativeCircle(edges); c != nil {
		for _, v := range c {
			if v < n {
				circle = append(circle, b.Rules[v].ID)
			} else {
				circle = append(circle, b.Names[v-n].ID)
			}
		}
		return nil, circle
	}
	return levelsOf(edges, n), nil
}

// levelsOf walks the components, each after what it reads.
func levelsOf(edges [][]edge, rules int) []int {
	of, members := components(edges)
	level := make([]int, len(members))
	for c, nodes := range members {
		for _, v := range nodes {
			for _, e := range edges[v] {
				if of[e.to] == c {
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
