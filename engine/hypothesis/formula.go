package hypothesis

// A Formula is a condition over numbered causes and conditions, with and, or,
// not and constants. Formulas are trees and are never changed once made.
type Formula struct {
	op   op
	n    int // cause or condition
	args []*Formula
}

type op uint8

const (
	opFalse op = iota
	opTrue
	opCause
	opCondition
	opNot
	opAnd
	opOr
)

var (
	falsehood = &Formula{op: opFalse}
	truth     = &Formula{op: opTrue}
)

// Constant is a formula that always or never holds.
func Constant(holds bool) *Formula {
	if holds {
		return truth
	}
	return falsehood
}

// Cause holds where cause n is present.
func Cause(n int) *Formula { return &Formula{op: opCause, n: n} }

// Condition holds where condition n holds.
func Condition(n int) *Formula { return &Formula{op: opCondition, n: n} }

// Not holds where f does not.
func Not(f *Formula) *Formula {
	switch f.op {
	case opTrue:
		return falsehood
	case opFalse:
		return truth
	case opNot:
		return f.args[0]
	}
	return &Formula{op: opNot, args: []*Formula{f}}
}

// And holds where all of fs hold; with none, always.
func And(fs ...*Formula) *Formula { return join(opAnd, truth, falsehood, fs) }

// Or holds where any of fs holds; with none, never.
func Or(fs ...*Formula) *Formula { return join(opOr, falsehood, truth, fs) }

// join makes a flat and or or: the neutral constant drops out, the absorbing one wins.
func join(o op, neutral, absorbing *Formula, fs []*Formula) *Formula {
	var args []*Formula
	for _, f := range fs {
		switch {
		case f.op == absorbing.op:
			return absorbing
		case f.op == neutral.op:
		case f.op == o:
			args = append(args, f.args...)
		default:
			args = append(args, f)
		}
	}
	switch len(args) {
	case 0:
		return neutral
	case 1:
		return args[0]
	}
	return &Formula{op: o, args: args}
}

// Constant says whether the formula always (true, true) or never (false, true) holds.
func (f *Formula) Constant() (holds, constant bool) {
	return f.op == opTrue, f.op == opTrue || f.op == opFalse
}

// Reads calls cause and condition for every cause and condition the formula names, repeats included.
func (f *Formula) Reads(cause, condition func(n int)) {
	switch f.op {
	case opCause:
		cause(f.n)
	case opCondition:
		condition(f.n)
	}
	for _, a := range f.args {
		a.Reads(cause, condition)
	}
}

// Holds evaluates the formula for one hypothesis, the obvious way.
func (f *Formula) Holds(cause, condition func(n int) bool) bool {
	switch f.op {
	case opTrue:
		return true
	case opCause:
		return cause(f.n)
	case opCondition:
		return condition(f.n)
	case opNot:
		return !f.args[0].Holds(cause, condition)
	case opAnd:
		for _, a := range f.args {
			if !a.Holds(cause, condition) {
				return false
			}
		}
		return true
	case opOr:
		for _, a := range f.args {
			if a.Holds(cause, condition) {
				return true
			}
		}
	}
	return false
}
