package source

import "strings"

// Flow is a value in one line of YAML, for people to read; "" for none.
func (n *Node) Flow() string {
	if n == nil || n.Empty {
		return ""
	}
	var parts []string
	switch n.Shape {
	case List:
		for _, item := range n.Items {
			parts = append(parts, item.Flow())
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case Map:
		for i, k := range n.Keys {
			parts = append(parts, k.Text+": "+n.Items[i].Flow())
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	return strings.Join(strings.Fields(n.Text), " ")
}
