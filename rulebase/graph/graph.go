// Package graph holds what is known of graphs of dependence: which members depend on one another in a
// circle, in which order all can be settled, and whether a circle passes through a negation. It knows
// nothing of what its numbered nodes stand for; rules and conditions are both put in order by it.
package graph

import "slices"

// An Edge leads from what reads to what is read.
type Edge struct {
	To       int
	Negative bool // more of it can take the reader back
}

// Components are the strongly connected components of a graph, each after all that it reads, in time
// linear in nodes and edges (Tarjan 1972, from memory). of is the component of each node.
func Components(edges [][]Edge) (of []int, members [][]int) {
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
			if index[e.To] == 0 {
				visit(e.To)
				low[v] = min(low[v], low[e.To])
			} else if on[e.To] {
				low[v] = min(low[v], index[e.To])
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

// NegativeCircle is a circle through a negative edge, each member reading the next and the last the first, as
// short as the first such edge allows; nil where there is none.
func NegativeCircle(edges [][]Edge) []int {
	of, _ := Components(edges)
	for from := range edges {
		for _, e := range edges[from] {
			if e.Negative && of[e.To] == of[from] {
				return append([]int{from}, way(edges, of, e.To, from)...)
			}
		}
	}
	return nil
}

// way is the shortest way inside a component, without its end.
func way(edges [][]Edge, of []int, from, to int) []int {
	if from == to {
		return nil
	}
	before := map[int]int{from: from}
	for queue := []int{from}; len(queue) > 0; queue = queue[1:] {
		v := queue[0]
		for _, e := range edges[v] {
			if _, seen := before[e.To]; !seen && of[e.To] == of[from] {
				before[e.To] = v
				queue = append(queue, e.To)
			}
		}
		if _, found := before[to]; found {
			break
		}
	}
	var back []int
	for v := before[to]; ; v = before[v] {
		back = append(back, v)
		if v == from {
			break
		}
	}
	slices.Reverse(back)
	return back
}
