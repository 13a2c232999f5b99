package rulebase

import "sync"

// The shipped rulebase is also in the program as it is after reading, so that a start
// does not read half a megabyte of YAML: shipped_compiled.go holds it as data that
// the linker lays out. The YAML stays the truth. A test reads it and writes that
// file (go test ./rulebase -run Compiled -update); it goes red where the two differ.
//
// A compiled Base has no positions: where things stand in files is for whoever looks a
// rulebase over, who loads it from its files.

// compiled is set by shipped_compiled.go; nil where that was left out.
var compiled struct {
	base        *Base
	expressions []Expression
	ids         []compiledID
	rest        func() // what the linker cannot lay out: maps, NaN
}

// A compiledID is an entry of Base.index.
type compiledID struct {
	id  string
	ref Ref
}

// shippedOnce makes the compiled base usable: what data cannot hold, closures and
// maps, is made on first use.
var shippedOnce = sync.OnceValue(func() *Base {
	if compiled.base == nil {
		return nil
	}
	for i := range compiled.expressions {
		compiled.expressions[i].compile()
	}
	compiled.rest()
	b := compiled.base
	b.index = make(map[string]Ref, len(compiled.ids))
	for _, c := range compiled.ids {
		b.index[c.id] = c.ref
	}
	return b
})

// ShippedCompiled is the shipped rulebase as the program holds it: shared, and not
// to be changed. It is LoadShipped without positions (see Base.Line and its like).
func ShippedCompiled() (*Base, error) {
	if b := shippedOnce(); b != nil {
		return b, nil
	}
	return LoadShipped()
}
