package report

import "downdrop/engine"

// A ChartRow is a place or an end of a chart, as a drawing of its tree needs it: in the
// order in which they are read, each as deep as answers lead to it.
type ChartRow struct {
	Depth  int
	Way    string  // what was seen to come here; "" at the beginning
	Chance float64 // of that, at the place above
	Number int     // 0: an end
	Of     int     // the place whose words have it: its own, or that above an end
	Says   string
	Last   bool // no other answer of the place above follows
}

// Tree gives the rows of the tree.
func (c *Chart) Tree() []ChartRow {
	if len(c.places) == 0 {
		says, _ := c.end(c.tree.Root, c.tree.Root)
		return []ChartRow{{Of: 0, Says: capital(sentence(says)), Last: true}}
	}
	numbers := map[*engine.ChartNode]*ChartPlace{}
	for _, x := range c.places {
		numbers[x.Node] = x
	}
	var rows []ChartRow
	var walk func(n *engine.ChartNode, row ChartRow)
	walk = func(n *engine.ChartNode, row ChartRow) {
		x := numbers[n]
		row.Number, row.Of, row.Says = x.Number, x.Number, x.Do
		if x.Further || row.Says == "" {
			row.Says = x.Read
		}
		rows = append(rows, row)
		for i, w := range n.Ways {
			next := ChartRow{Depth: row.Depth + 1, Way: x.Ways[i].Says, Chance: w.Chance, Last: i == len(n.Ways)-1}
			if x.Ways[i].To > 0 {
				walk(w.Node, next)
				continue
			}
			next.Of, next.Says = x.Number, capital(sayEndShort(x.Ways[i].End))
			rows = append(rows, next)
		}
	}
	walk(c.tree.Root, ChartRow{Last: true})
	return rows
}

// Places are those where something is done, in reading order.
func (c *Chart) Places() []*ChartPlace { return c.places }

// Says are the lines above and below the chart.
func (c *Chart) Says(kind ChartKind) (heads, feet []string) { return c.heads(), c.feet(kind) }

// Comes is how often a place comes up.
func (x *ChartPlace) Comes() string { return capital(sayChartShare(x.Share)) }

// GoTo is how a way says that it goes on at another place.
func (w ChartWay) GoTo() string { return sayGoTo(w.To) }
