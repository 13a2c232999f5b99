package rulebase

import (
	"bytes"
	"fmt"
	"io/fs"
	"os"
	"path"

	"downdrop/rulebase/source"
)

// Limits on a rulebase from elsewhere, in all its files together. They are several times what
// the shipped rulebase comes to.
const (
	StrangersBytes  = source.MostBytes
	StrangersFiles  = 200
	StrangersValues = 80_000 // ends of lines, commas and brackets, counted before anything is parsed
)

// CheckSize refuses a rulebase that is larger than one from elsewhere may be, before anything
// of it is parsed. The error is a *Problems, or that of a file that could not be read.
func CheckSize(l Layer) error {
	files, size, values := 0, 0, 0
	too := func(format string, args ...any) error {
		says := fmt.Sprintf(format, args...)
		return &Problems{List: []Problem{{Position: Position{File: l.Name}, Kind: "too-large", Says: says}}}
	}
	for _, dir := range []string{".", "bench", "bench/units"} {
		all, err := l.files(dir, ".yaml")
		if err != nil {
			return err
		}
		for _, file := range all {
			if files++; files > StrangersFiles {
				return too("the rulebase has more than %d files; one from elsewhere may not", StrangersFiles)
			}
			name := path.Join(l.Name, file)
			info, err := fs.Stat(l.FS, file)
			if err != nil {
				return fmt.Errorf("read rulebase file %s: %w", name, err)
			}
			if !info.Mode().IsRegular() { // a pipe would never end
				return too("%s is no ordinary file; one from elsewhere is made of such", name)
			}
			text, err := readFile(l.FS, file)
			if err != nil {
				return fmt.Errorf("read rulebase file %s: %w", name, err)
			}
			if size += len(text); size > StrangersBytes {
				return too("the rulebase is larger than %d MiB in all; one from elsewhere may not be", StrangersBytes>>20)
			}
			if values += marks(text); values > StrangersValues {
				return too("the rulebase holds more than %d values in all; one from elsewhere may not", StrangersValues)
			}
		}
	}
	return nil
}

// LoadUntrusted loads folders that come from elsewhere, laid over one another, the lowest
// first: none may be larger than CheckSize lets pass, and nothing outside of a folder is read,
// whatever a link in it says.
func LoadUntrusted(folders ...string) (*Base, error) {
	layers := make([]Layer, len(folders))
	for i, f := range folders {
		root, err := os.OpenRoot(f) // left open: rule tests and procedures are read later
		if err != nil {
			return nil, fmt.Errorf("open rulebase %s: %w", f, err)
		}
		layers[i] = Layer{f, root.FS()}
		if err := CheckSize(layers[i]); err != nil {
			return nil, err
		}
	}
	return Load(layers...)
}

// marks are the characters that begin or end a value in YAML.
func marks(text []byte) int {
	n := 0
	for _, mark := range []string{",", "\n", "- ", "[", "{"} {
		n += bytes.Count(text, []byte(mark))
	}
	return n
}
