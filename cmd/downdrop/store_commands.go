package main

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cases/postgres"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cmd/internal/report"
)

// newStoreCmd holds what is done to the store itself.
func newStoreCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{
		Use: "store", Short: shortStore, Long: longStore, Args: knownCommand,
		RunE: func(cmd *cobra.Command, _ []string) error { return written(cmd.Help()) },
	}
	verbs := []struct {
		use, short, long string
		run              func(context.Context, *environment, storeOptions) error
		flags            func(*cobra.Command, *storeOptions)
	}{
		{"where", shortStoreWhere, shortStoreWhere + ".", runStoreWhere, func(cmd *cobra.Command, o *storeOptions) { flagJSON(cmd, o, report.StoreSchema) }},
		{"verify", shortStoreVerify, longStoreVerify, runStoreVerify, func(cmd *cobra.Command, o *storeOptions) {
			flagJSON(cmd, o, report.VerifiedSchema)
			cmd.Flags().BoolVar(&o.rebuild, "rebuild", false, "make anew what cases are found by")
		}},
		{"backup FILE", shortStoreBackup, longStoreBackup, runStoreBackup, func(cmd *cobra.Command, o *storeOptions) {
			cmd.Flags().BoolVar(&o.salvage, "salvage", false, "leave out what cannot be read of a damaged store")
		}},
		{"restore FILE", shortStoreRestore, longStoreRestore, runStoreRestore, nil},
		{"move FILE|URL", shortStoreMove, longStoreMove, runStoreMove, nil},
		{"person ID [NAME]", shortStorePerson, longStorePerson, runStorePerson, func(cmd *cobra.Command, o *storeOptions) {
			cmd.Flags().BoolVar(&o.erase, "erase", false, "erase the name; the id stays in the entries")
		}},
	}
	for _, v := range verbs {
		var o storeOptions
		sub := &cobra.Command{Use: v.use, Short: v.short, Long: v.long, RunE: func(cmd *cobra.Command, args []string) error {
			o.args = args
			return v.run(cmd.Context(), env, o)
		}}
		sub.Flags().StringVar(&o.store, "store", "", "the store: a `FILE`, or postgres://USER@HOST/DATABASE")
		if v.flags != nil {
			v.flags(sub, &o)
		}
		cmd.AddCommand(sub)
	}
	return cmd
}

type storeOptions struct {
	store                  string
	args                   []string
	json, rebuild, salvage bool
	erase                  bool
}

func flagJSON(cmd *cobra.Command, o *storeOptions, schema string) {
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+schema)
}

func (o *storeOptions) none(verb string) error {
	if len(o.args) > 0 {
		return usageError{fmt.Sprintf(sayNoArguments, "downdrop store "+verb, o.args[0])}
	}
	return nil
}

// there says whether a store has been made; a server is asked by opening.
func storeThere(name string) bool {
	if postgres.Is(name) {
		return true
	}
	_, err := os.Lstat(name)
	return !errors.Is(err, fs.ErrNotExist)
}

// existing opens a store that has been made already.
func existing(ctx context.Context, env *environment, flag, verb string) (*sqlstore.Store, error) {
	name, err := storeName(env, flag)
	if err != nil {
		return nil, err
	}
	if !storeThere(name) {
		return nil, noStoreError{fmt.Sprintf(sayNoStoreYet, name, verb)}
	}
	return openStoreAs(ctx, env, name, "")
}

func runStoreWhere(ctx context.Context, env *environment, o storeOptions) error {
	if err := o.none("where"); err != nil {
		return err
	}
	name, err := storeName(env, o.store)
	if err != nil {
		return err
	}
	says := &report.Store{Where: whereIs(name)}
	if storeThere(name) {
		if err := lookInto(ctx, env, name, says); err != nil {
			return err
		}
	}
	if o.json {
		return written(says.JSON(env.out))
	}
	_, err = io.WriteString(env.out, says.Text())
	return written(err)
}

// whereIs is a store's name as the store itself gives it.
func whereIs(name string) string {
	if postgres.Is(name) {
		return postgres.Where(name)
	}
	if abs, err := filepath.Abs(name); err == nil {
		return abs
	}
	return name
}

func lookInto(ctx context.Context, env *environment, name string, says *report.Store) error {
	s, err := openStoreAs(ctx, env, name, "")
	if err != nil {
		return err
	}
	defer s.Close()
	says.There, says.Where, says.Site, says.ReadOnly = true, s.Where(), s.Site(), s.ReadOnly()
	if says.Heads, err = s.Heads(ctx); err != nil {
		return err
	}
	says.Events, err = s.Count(ctx)
	return err
}

func runStoreVerify(ctx context.Context, env *environment, o storeOptions) error {
	if err := o.none("verify"); err != nil {
		return err
	}
	s, err := existing(ctx, env, o.store, "verify")
	if err != nil {
		return err
	}
	defer s.Close()
	if o.rebuild {
		if err := s.Rebuild(ctx); err != nil {
			return err
		}
		fmt.Fprintf(env.err, sayRebuilt, s.Where())
	}
	v, err := s.Verify(ctx)
	if err != nil {
		return err
	}
	if o.json {
		err = report.VerifiedJSON(env.out, s.Where(), &v)
	} else {
		_, err = io.WriteString(env.out, report.VerifiedText(s.Where(), &v))
	}
	if err != nil {
		return written(err)
	}
	if len(v.Damage) > 0 {
		return damagedError{}
	}
	return nil
}

// A damagedError says that a store is damaged; its result says how.
type damagedError struct{}

func (damagedError) Error() string { return cases.ErrIntegrity.Error() }
func (damagedError) Unwrap() error { return cases.ErrIntegrity }

func (o *storeOptions) file(verb string) (string, error) {
	if len(o.args) != 1 {
		return "", usageError{fmt.Sprintf(sayOneCopy, verb)}
	}
	return o.args[0], nil
}

func runStoreBackup(ctx context.Context, env *environment, o storeOptions) error {
	file, err := o.file("backup")
	if err != nil {
		return err
	}
	s, err := o.toCopy(ctx, env)
	if err != nil {
		return err
	}
	defer s.Close()
	x := cases.ExportOptions{Names: true}
	if o.salvage {
		x.Salvage = func(err error) { fmt.Fprintf(env.err, report.Salvaged, err) }
	}
	m, err := writeCopy(file, func(w io.Writer) (cases.Manifest, error) { return cases.Export(ctx, s, w, x) })
	if err != nil {
		return err
	}
	_, err = io.WriteString(env.out, report.BackedUp(file, &m))
	return written(err)
}

// toCopy opens the store to be copied; a damaged file by a copy of it that is mended as far as may be.
func (o *storeOptions) toCopy(ctx context.Context, env *environment) (*sqlstore.Store, error) {
	name, err := storeName(env, o.store)
	if err != nil {
		return nil, err
	}
	if o.salvage && !postgres.Is(name) && storeThere(name) {
		return sqlite.OpenDamaged(ctx, name, sqlstore.Options{Now: env.clock})
	}
	return existing(ctx, env, o.store, "back up")
}

// A noStoreError says that no store has been made yet.
type noStoreError struct{ says string }

func (e noStoreError) Error() string { return e.says }
func (noStoreError) Unwrap() error   { return cases.ErrNotFound }

// writeCopy writes a file that is not there yet: under another name first, so that
// under its own it is whole or not there, also after a crash.
func writeCopy(file string, write func(io.Writer) (cases.Manifest, error)) (m cases.Manifest, err error) {
	if _, err := os.Lstat(file); !errors.Is(err, fs.ErrNotExist) {
		return m, usageError{fmt.Sprintf(sayStoreExists, file)}
	}
	err = inPlaceOf(file, 0o600, func(w io.Writer) error { // names of people are in it
		m, err = write(w)
		return err
	})
	return m, err
}

func runStoreRestore(ctx context.Context, env *environment, o storeOptions) error {
	file, err := o.file("restore")
	if err != nil {
		return err
	}
	copied, err := openCopy(ctx, env, file)
	if err != nil {
		return err
	}
	defer copied.Close()
	m, err := cases.ReadManifest(copied)
	if err != nil {
		return inFile(file, err)
	}
	if _, err := copied.Seek(0, io.SeekStart); err != nil {
		return err
	}
	to, err := emptyStore(ctx, env, o.store, m.Site)
	if err != nil {
		return err
	}
	defer to.Close()
	done, err := cases.ImportFrom(ctx, to, copied, true)
	if err != nil {
		return inFile(file, err)
	}
	_, err = io.WriteString(env.out, report.Restored(file, to.Where(), &done))
	return written(err)
}

func inFile(file string, err error) error {
	if errors.Is(err, cases.ErrSpoilt) {
		return fmt.Errorf("%s: %w", file, err)
	}
	return err
}

// emptyStore opens, or makes, a store that writes as a site and holds no event.
func emptyStore(ctx context.Context, env *environment, flag, site string) (*sqlstore.Store, error) {
	there, err := storeName(env, flag)
	if err != nil {
		return nil, err
	}
	if storeThere(there) {
		s, err := openStoreAs(ctx, env, there, "")
		if err != nil {
			return nil, err
		}
		n, err := s.Count(ctx)
		where := s.Where()
		if err := errors.Join(err, s.Close()); err != nil {
			return nil, err
		} else if n > 0 {
			return nil, fmt.Errorf(sayStoreNotEmpty, where, cases.ErrUnavailable, n)
		}
	}
	return openStoreAs(ctx, env, there, site)
}

// openCopy opens what backup wrote. Of a store that was copied aside as it was, it makes that first.
func openCopy(ctx context.Context, env *environment, file string) (*os.File, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	begin := make([]byte, 6)
	if _, err := io.ReadFull(f, begin); err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF) {
		return nil, errors.Join(err, f.Close())
	}
	if !bytes.Equal(begin, []byte("SQLite")) {
		_, err := f.Seek(0, io.SeekStart)
		return f, err
	}
	if err := f.Close(); err != nil {
		return nil, err
	}
	return exportOf(ctx, env, file)
}

// exportOf copies a store aside and writes what is in it into a file that is gone when it is closed.
func exportOf(ctx context.Context, env *environment, file string) (*os.File, error) {
	dir, err := os.MkdirTemp("", "downdrop-restore-")
	if err != nil {
		return nil, cannotWrite(os.TempDir(), err)
	}
	defer os.RemoveAll(dir)
	if to, err := filepath.EvalSymlinks(file); err == nil {
		file = to // of a link the log stands beside what it leads to
	}
	for _, end := range []string{"", "-wal"} {
		content, err := os.ReadFile(file + end)
		if errors.Is(err, fs.ErrNotExist) && end != "" {
			continue
		} else if err != nil {
			return nil, err
		}
		if err := os.WriteFile(filepath.Join(dir, "copy"+end), content, 0o600); err != nil {
			return nil, cannotWrite(dir, err)
		}
	}
	s, err := sqlite.Open(ctx, filepath.Join(dir, "copy"), sqlstore.Options{Now: env.clock})
	if err != nil {
		return nil, err
	}
	defer s.Close()
	out, err := os.CreateTemp("", "downdrop-restore-*")
	if err != nil {
		return nil, cannotWrite(os.TempDir(), err)
	}
	_ = os.Remove(out.Name()) // where a system keeps the name of an open file, its temporary folder keeps it
	if _, err = cases.Export(ctx, s, out, cases.ExportOptions{Names: true}); err == nil {
		_, err = out.Seek(0, io.SeekStart)
	}
	if err != nil {
		return nil, errors.Join(err, out.Close())
	}
	return out, nil
}

func runStoreMove(ctx context.Context, env *environment, o storeOptions) error {
	if len(o.args) != 1 {
		return usageError{sayMoveTo}
	}
	from, err := existing(ctx, env, o.store, "move")
	if err != nil {
		return err
	}
	defer from.Close()
	if to := from.MovedTo(); to != "" && to != whereIs(o.args[0]) {
		return fmt.Errorf("%s: %w: %s", from.Where(), cases.ErrUnavailable, from.ReadOnly())
	}
	to, err := emptyStore(ctx, env, o.args[0], from.Site())
	if err != nil {
		return err
	}
	defer to.Close()
	if to.Where() == from.Where() {
		return usageError{fmt.Sprintf(sayMoveSame, from.Where())}
	}
	if err := from.Retire(ctx, to.Where()); err != nil {
		return err
	}
	done, err := copyStore(ctx, from, to)
	if err != nil {
		return errors.Join(err, from.Retire(context.WithoutCancel(ctx), ""))
	}
	_, err = io.WriteString(env.out, report.Moved(from.Where(), to.Where(), &done))
	return written(err)
}

// runStorePerson says, sets or erases the name behind an id.
func runStorePerson(ctx context.Context, env *environment, o storeOptions) error {
	if len(o.args) == 0 || len(o.args) > 2 || len(o.args) == 2 && (o.erase || o.args[1] == "") {
		return usageError{sayPersonWhat}
	}
	s, err := existing(ctx, env, o.store, "name a person in")
	if err != nil {
		return err
	}
	defer s.Close()
	id := o.args[0]
	name, err := s.Name(ctx, id)
	if err != nil {
		return err
	}
	says := ""
	switch {
	case o.erase && name == "":
		return notFoundError{fmt.Sprintf(sayNoPerson, id)}
	case o.erase:
		says, err = erase(ctx, s, id, name)
	case len(o.args) == 2:
		err, says = s.SetName(ctx, id, o.args[1]), fmt.Sprintf(sayPersonIs, id, o.args[1])
	case name == "":
		return notFoundError{fmt.Sprintf(sayNoPerson, id)}
	default:
		says = fmt.Sprintf(sayPersonIs, id, name)
	}
	if err != nil {
		return err
	}
	_, err = io.WriteString(env.out, says)
	return written(err)
}

// erase takes a name out of a store, and says where that does not reach.
func erase(ctx context.Context, s *sqlstore.Store, id, name string) (string, error) {
	var codes []string
	err := cases.FindEach(ctx, s, cases.Query{Text: name}, func(c cases.Summary) { codes = append(codes, cmp.Or(c.Code, c.ID)) })
	if err != nil {
		return "", err
	}
	if err := s.SetName(ctx, id, ""); err != nil {
		return "", err
	}
	reached := sayErasedFile
	if postgres.Is(s.Where()) {
		reached = sayErasedServer
	}
	says := fmt.Sprintf(sayPersonErased, id, reached)
	if len(codes) > 0 {
		says += fmt.Sprintf(sayStillWritten, strings.Join(codes, ", "))
	}
	return says, nil
}

// copyStore writes an export of one store into another and compares those of both.
func copyStore(ctx context.Context, from, to *sqlstore.Store) (cases.ImportReport, error) {
	out, in := io.Pipe()
	sum := sha256.New()
	go func() {
		_, err := cases.Export(ctx, from, io.MultiWriter(in, sum), cases.ExportOptions{Names: true})
		in.CloseWithError(err)
	}()
	done, err := cases.ImportFrom(ctx, to, out, true)
	if err == nil {
		_, err = io.Copy(io.Discard, out) // to the end, after which sum is whole
	}
	_ = out.CloseWithError(err) // ends the writer, where the reader stopped early
	if err != nil {
		return done, err
	}
	again := sha256.New()
	if _, err := cases.Export(ctx, to, again, cases.ExportOptions{Names: true}); err != nil {
		return done, err
	}
	if !bytes.Equal(sum.Sum(nil), again.Sum(nil)) {
		return done, fmt.Errorf(sayMoveDiffers, cases.ErrIntegrity, to.Where(), from.Where(), to.Where())
	}
	return done, nil
}
