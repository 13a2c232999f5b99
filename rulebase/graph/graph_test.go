package graph_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/rulebase/graph"
	"downdrop/testdata/support"
)

// reach says which node reads which, through any number of edges, by trying every way in turn.
func reach(edges [][]graph.Edge) [][]bool {
	n := len(edges)
	to := make([][]bool, n)
	for v := range to {
		to[v] = make([]bool, n)
		for _, e := range edges[v] {
			to[v][e.To] = true
		}
	}
	for via := range n {
		for a := range n {
			for b := range n {
				to[a][b] = to[a][b] || to[a][via] && to[via][b]
			}
		}
	}
	return to
}

// Of random graphs: two nodes are in one component if each reads the other, components come after what they
// read, and a circle is found where an edge through a negation has a way back; it is the shortest for its edge.
func TestComponentsAndCirclesAgreeWithReach(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 2))
	circles := 0
	for range support.Deep(t, 2000) {
		n := 1 + r.IntN(9)
		edges := make([][]graph.Edge, n)
		for range r.IntN(2 * n) {
			from := r.IntN(n)
			edges[from] = append(edges[from], graph.Edge{To: r.IntN(n), Negative: r.IntN(4) == 0})
		}
		to := reach(edges)
		of, members := graph.Components(edges)
		seen := 0
		for i, nodes := range members {
			seen += len(nodes)
			for _, v := range nodes {
				if of[v] != i {
					t.Fatalf("%v: %d is in component %d, and said to be in %d", edges, v, i, of[v])
				}
			}
		}
		if seen != n {
			t.Fatalf("%v: components %v", edges, members)
		}
		negative := false
		for a := range n {
			for b := range n {
				if together := a == b || to[a][b] && to[b][a]; together != (of[a] == of[b]) || to[a][b] && of[b] > of[a] {
					t.Fatalf("%v: %d and %d are in components %d and %d", edges, a, b, of[a], of[b])
				}
			}
			for _, e := range edges[a] {
				negative = negative || e.Negative && (e.To == a || to[e.To][a])
			}
		}
		circle := graph.NegativeCircle(edges)
		if negative != (circle != nil) {
			t.Fatalf("%v: circle %v", edges, circle)
		}
		if circle == nil {
			continue
		}
		circles++
		leads := func(from, to int, negative bool) bool {
			return slices.ContainsFunc(edges[from], func(e graph.Edge) bool { return e.To == to && (e.Negative || !negative) })
		}
		for i, v := range circle {
			if next := circle[(i+1)%len(circle)]; !leads(v, next, i == 0) {
				t.Fatalf("%v: %d does not read %d in the circle %v", edges, v, next, circle)
			}
			if slices.Index(circle, v) != i {
				t.Fatalf("%v: twice in the circle %v", edges, circle)
			}
		}
		if len(circle) > 2 { // no way back is shorter: no member reads one beyond the next
			for i := 1; i < len(circle); i++ {
				for j := i + 2; j < len(circle); j++ {
					if leads(circle[i], circle[j], false) {
						t.Fatalf("%v: the circle %v is longer than it need be", edges, circle)
					}
				}
			}
		}
	}
	if circles < 100 {
		t.Errorf("only %d circles", circles)
	}
}
