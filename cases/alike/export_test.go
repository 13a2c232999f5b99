package alike

// Len is how many cases it holds.
func (x *Index) Len() int { return len(x.profiles) }
