package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"downdrop/cases"
	"downdrop/cases/postgres"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
)

// storeName is the store to work with: that of the flag, else of DOWNDROP_STORE,
// else a file in the user's data folder.
func storeName(env *environment, flag string) (string, error) {
	if flag != "" {
		return flag, nil
	}
	if name := env.variable("DOWNDROP_STORE"); name != "" {
		return name, nil
	}
	dir, err := dataFolder(env)
	if err != nil {
		return "", fmt.Errorf("%w: %w", cases.ErrUnavailable, err)
	}
	return filepath.Join(dir, "downdrop", "cases.db"), nil
}

// dataFolder is where a program keeps its user's data: by the XDG base directory
// specification, and where that is not the custom, as the system has it.
func dataFolder(env *environment) (string, error) {
	switch runtime.GOOS {
	case "windows", "darwin", "ios", "plan9":
		dir, err := os.UserConfigDir()
		if err != nil {
			return "", errNoFolder
		}
		return dir, nil
	}
	if dir := env.variable("XDG_DATA_HOME"); filepath.IsAbs(dir) { // a relative one is to be passed over, says the specification
		return dir, nil
	}
	if home := env.variable("HOME"); home != "" {
		return filepath.Join(home, ".local", "share"), nil
	}
	return "", errNoFolder
}

var errNoFolder = noFolderError{}

type noFolderError struct{}

func (noFolderError) Error() string { return sayNoDataFolder }

// openStore opens the store that a flag or the environment names, and makes it on
// first use. What happens on the way, and that it can only be read, is said.
func openStore(ctx context.Context, env *environment, flag string) (cases.Store, error) {
	s, err := openStoreAs(ctx, env, flag, "")
	if err != nil {
		return nil, err
	}
	if why := s.ReadOnly(); why != "" {
		fmt.Fprintf(env.err, sayStoreReadOnly, why)
	}
	return s, nil
}

// openStoreAs opens a store that writes under a site's name, where one is given.
func openStoreAs(ctx context.Context, env *environment, flag, site string) (*sqlstore.Store, error) {
	name, err := storeName(env, flag)
	if err != nil {
		return nil, err
	}
	o := sqlstore.Options{Site: site, Now: env.clock, Program: ourVersion(), Tell: func(says string) { fmt.Fprintln(env.err, says) }}
	open := sqlite.Open
	if postgres.Is(name) {
		open = postgres.Open
	}
	return open(ctx, name, o)
}

// lookAtStore opens a store that is there already, to be looked at: it is neither made nor
// brought to another schema, and nothing is said.
func lookAtStore(ctx context.Context, env *environment, flag string) (cases.Store, error) {
	name, err := storeName(env, flag)
	if err != nil {
		return nil, err
	}
	look := sqlite.Look
	if postgres.Is(name) {
		look = postgres.Look
	}
	return look(ctx, name, sqlstore.Options{Now: env.clock})
}
