package review

// Tells says that some test on offer tells two causes apart, or one from Nothing.
func (x *Distinction) Tells(f, g int) bool {
	for test := range x.Tests {
		if x.Causes.t.Apart(test, f, g) {
			return true
		}
	}
	return false
}
