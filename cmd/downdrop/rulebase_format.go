package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"

	"github.com/rogpeppe/go-internal/diff"
	"github.com/spf13/cobra"

	"downdrop/rulebase"
)

type formatOptions struct {
	names []string
	check bool
	diff  bool
}

func newFormatCmd(env *environment, runF func(context.Context, *environment, formatOptions) error) *cobra.Command {
	var o formatOptions
	cmd := &cobra.Command{
		Use:   "format FILE|DIR|-...",
		Short: shortFormat,
		Long:  longFormat,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.names = args
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&o.check, "check", false, "write nothing; name the files that are not in form")
	cmd.Flags().BoolVar(&o.diff, "diff", false, "write nothing; show what would change")
	return cmd
}

// A formFile is a file on its way into its form.
type formFile struct {
	name        string
	mode        fs.FileMode
	before, now []byte
}

func (f *formFile) inForm() bool { return bytes.Equal(f.before, f.now) }

// runFormat brings files into their form. All are read and formatted before one is
// written.
func runFormat(ctx context.Context, env *environment, o formatOptions) error {
	if len(o.names) == 0 {
		o.names = env.rulebases(nil)
	}
	if len(o.names) == 0 {
		return usageError{sayFormatWhat}
	}
	if slices.Contains(o.names, "-") {
		return formatInput(ctx, env, o)
	}
	names, err := filesIn(o.names)
	if err != nil {
		return err
	}
	files, err := formFiles(names)
	if err != nil {
		return err
	}
	files = slices.DeleteFunc(files, func(f formFile) bool { return f.inForm() })
	if o.check || o.diff {
		return showForm(env, o, files, len(names))
	}
	if err := saysTheSame(files); err != nil {
		return err
	}
	for _, f := range files {
		if err := replaceFile(&f); err != nil {
			return err
		}
		if _, err := fmt.Fprintf(env.out, sayFormatted, f.name); err != nil {
			return written(err)
		}
	}
	_, err = fmt.Fprintf(env.out, sayFormattedAll, countFiles(len(names)), len(files))
	return written(err)
}

// formatInput formats the standard input to the output, for editors.
func formatInput(ctx context.Context, env *environment, o formatOptions) error {
	if len(o.names) > 1 || o.check || o.diff {
		return usageError{sayFormatInput}
	}
	text, err := env.read(ctx, "-")
	if err != nil {
		return err
	}
	out, err := rulebase.Format(inputName, text)
	if err != nil {
		return err
	}
	_, err = env.out.Write(out)
	return written(err)
}

// filesIn are the files named, and those of the folders named.
func filesIn(names []string) ([]string, error) {
	var files []string
	for _, name := range names {
		info, err := os.Stat(name)
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			files = append(files, name)
			continue
		}
		inside, err := filepath.Glob(filepath.Join(name, "*.yaml"))
		if err != nil {
			return nil, err
		}
		if len(inside) == 0 {
			return nil, usageError{fmt.Sprintf(sayNothingToFormat, name)}
		}
		files = append(files, inside...)
	}
	return once(files), nil
}

// formFiles reads and formats files; what is wrong with any of them is said at once.
func formFiles(names []string) ([]formFile, error) {
	var files []formFile
	wrong := &rulebase.Problems{}
	for _, name := range names {
		info, err := os.Lstat(name)
		if err != nil {
			return nil, err
		}
		if info.Mode()&fs.ModeSymlink != 0 {
			return nil, usageError{fmt.Sprintf(sayFormatLink, name)}
		}
		text, err := readUpTo(name)
		if err != nil {
			return nil, err
		}
		out, err := rulebase.Format(name, text)
		var problems *rulebase.Problems
		if errors.As(err, &problems) {
			wrong.List = append(wrong.List, problems.List...)
		} else if err != nil {
			return nil, err
		}
		files = append(files, formFile{name, info.Mode().Perm(), text, out})
	}
	if len(wrong.List) > 0 {
		return nil, wrong
	}
	return files, nil
}

func readUpTo(name string) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close() // it was only read
	return io.ReadAll(io.LimitReader(f, mostInput+1))
}

// showForm tells what is not in form, and how it differs.
func showForm(env *environment, o formatOptions, files []formFile, of int) error {
	for _, f := range files {
		text := fmt.Appendf(nil, sayNotInForm, f.name)
		if o.diff {
			text = diff.Diff(f.name, f.before, f.name+sayInForm, f.now)
		}
		if _, err := env.out.Write(text); err != nil {
			return written(err)
		}
	}
	if len(files) > 0 {
		return foundError{}
	}
	_, err := fmt.Fprintf(env.out, sayAllInForm, countFiles(of))
	return written(err)
}

// saysTheSame loads every folder that loads as it is with its files in form, too, and
// compares the two rulebases field by field.
func saysTheSame(files []formFile) error {
	folders := map[string]map[string][]byte{}
	for _, f := range files {
		dir := filepath.Dir(f.name)
		if folders[dir] == nil {
			folders[dir] = map[string][]byte{}
		}
		folders[dir][filepath.Base(f.name)] = f.now
	}
	for dir, formed := range folders {
		before, err := rulebase.LoadFolder(dir)
		if err != nil {
			continue // no rulebase, or one that does not load yet: the texts were compared
		}
		after, err := rulebase.Load(rulebase.Layer{Name: dir, FS: formedFolder{os.DirFS(dir), formed}})
		if err != nil {
			return fmt.Errorf(sayFormChanges, dir, err)
		}
		if at := rulebase.FirstDifference(before, after); at != "" {
			return fmt.Errorf(sayFormChanges, dir, at)
		}
	}
	return nil
}

// A formedFolder is a folder some of whose files are in form.
type formedFolder struct {
	fs.FS
	formed map[string][]byte
}

// Open opens a file, the one in form where there is one.
func (d formedFolder) Open(name string) (fs.File, error) {
	f, err := d.FS.Open(name)
	if text, is := d.formed[name]; is && err == nil {
		return formedFile{f, bytes.NewReader(text)}, nil
	}
	return f, err
}

// A formedFile is a file that reads as it will be in form.
type formedFile struct {
	fs.File
	text *bytes.Reader
}

// Read reads the text in form.
func (f formedFile) Read(p []byte) (int, error) { return f.text.Read(p) }

// A readOnlyError is a file, by its name, that may not be written.
type readOnlyError string

func (e readOnlyError) Error() string { return fmt.Sprintf(sayReadOnly, string(e)) }

// replaceFile writes a file in its form over what it was.
func replaceFile(f *formFile) error {
	if f.mode&0o222 == 0 {
		return outputError{readOnlyError(f.name)}
	}
	return inPlaceOf(f.name, f.mode, textOf(string(f.now)))
}

func countFiles(n int) string {
	if n == 1 {
		return "1 file"
	}
	return fmt.Sprintf("%d files", n)
}
