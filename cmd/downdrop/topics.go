package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"
)

// Pages of help that belong to no command. Tests hold each of them to the program:
// every code that is returned, every variable that is read, every place that is written.

const (
	shortExitCodes = "What the exit codes mean"
	longExitCodes  = "How a command ended, for scripts:\n"

	shortEnvironment = "Which environment variables are read"
	longEnvironment  = `Which environment variables are read. A flag outranks its variable.

  DOWNDROP_RULEBASE  folders to read instead of the shipped rulebase, laid over
                     one another, separated like those of PATH; flag --rulebase
  DOWNDROP_STORE     the store of cases: a file, or a PostgreSQL address;
                     flag --store
  DOWNDROP_BY        who writes in cases: an id, never a name; flag --by
  DOWNDROP_SHOP      the shop's name and address on a bench record; flag --shop
  COLUMNS            width of the text, from 20 to 80 columns; else that of the
                     terminal
  GOMEMLIMIT, GOGC   how much memory to try to stay below, as 32MiB, beside the
                     program itself, and how lazily memory is collected, in
                     percent; else each command's own measure

Where things are kept, unless a flag says so (Windows and macOS have their own
folders, see "downdrop help files"):

  XDG_DATA_HOME      the folder of users' data; else .local/share in HOME
  XDG_CACHE_HOME     the folder of what can be made again; else .cache in HOME
  HOME               the user's folder
  TMPDIR             the folder for temporary files (Windows: TMP or TEMP)

For a store in PostgreSQL, what its address leaves out is taken from PGHOST, PGPORT,
PGDATABASE, PGUSER, PGPASSFILE, PGSERVICE, PGSERVICEFILE, PGSSLMODE, PGSSLCERT,
PGSSLKEY, PGSSLCERTMODE, PGSSLROOTCERT, PGSSLPASSWORD, PGSSLSNI, PGSSLNEGOTIATION,
PGCHANNELBINDING, PGREQUIREAUTH, PGMINPROTOCOLVERSION, PGMAXPROTOCOLVERSION,
PGAPPNAME, PGCONNECT_TIMEOUT, PGTARGETSESSIONATTRS, PGTZ and PGOPTIONS, as other
programs do. Nobody need keep a password in PGPASSWORD: a password file is safer.

downdrop prints no colours.`

	shortFiles = "Every place that is written to"
	longFiles  = `Every place that downdrop writes to, and when. It opens no network connection but to
a PostgreSQL store that somebody names, and for "downdrop serve" one that browsers on
this machine reach.

The store of cases, made by the first command that keeps something:
  a file         what --store or DOWNDROP_STORE names, else downdrop/cases.db in
                   Linux    $XDG_DATA_HOME, else ~/.local/share
                   macOS    ~/Library/Application Support
                   Windows  %AppData%
                 "downdrop store where" says which.
  beside it      cases.db-wal and cases.db-shm while it is in use;
                 cases.db.schemaN-DATE-TIME, a copy from before a new version
                 changed its tables; cases-runs, the folder of runs at the bench
                 that "downdrop serve" keeps (or serve --runs; for a store in
                 PostgreSQL, runs in the folder of cases.db); for a moment files
                 that begin with .downdrop-
  a PostgreSQL   tables in the schema downdrop of that database; a copy of them
  database       beside it, from before a new version changed them

What can be made again, and be removed at any time:
  cache folder   downdrop/alike-..., the index of "case alike", in
                   Linux    $XDG_CACHE_HOME, else ~/.cache
                   macOS    ~/Library/Caches
                   Windows  %LocalAppData%
  temporary      files that begin with downdrop-, gone when the command ends
  folder

What somebody asks for by name, and nothing else. What is there already is not written
over. A result is made anew over an earlier one of its kind (chart --output, --junit,
--patch, replay --plot, rehearse --svg, hand-over --qr, help man), and over nothing else;
rulebase format, rulebase schema --to and handbook --replace write in place:
  the conversation    "save NAME" writes NAME.yaml
  case                export FILE, hand-over --file and --qr, show --fetch,
                      take-along --out
  chart               --output
  line                new FILE, echo --svg, waveform --svg
  decide              --plot
  triage              --rejects
  bench               run: PROCEDURE-DATE-TIME.run.jsonl here, or --file;
                      resume adds to it
  record              make: NUMBER.html and NUMBER.pdf here, or --out
  unit                offer --html, show --offer-html, return-note --html
  store               backup FILE, restore and move: the store they name
  rulebase            new DIR, format, schema --to, handbook --to, test --junit
  replay              --junit, --plot
  learn               --patch
  rehearse            --svg
  help man            the folder of --out

To be rid of downdrop, remove the program, and where they are no longer wanted the
store and the cache folder.`
)

// exitCodes is the table that "help exit-codes" prints.
var exitCodes = []struct {
	code int
	says string
}{
	{exitDone, "done"},
	{exitFound, "ran well and found problems: check found something to report,\na rule test differs, diagnose found that nothing listed allows the\nfindings, triage rejected a row or has to ask one back, or a later issue\nstands for a bench record"},
	{exitUsage, "the command line cannot be followed: a command, flag or value that\ndoes not exist"},
	{exitInput, "an input is not valid: a case, or (except in check) a rulebase"},
	{exitNotFound, "a file or folder is not there, or cannot be read"},
	{exitStore, "a place to write to is not available, such as a full disk, or the\nstore of cases is not: in use, not reachable, read-only"},
	{exitIntegrity, "the store of cases is damaged, or is no store; a run at the bench or\na bench record was changed"},
	{exitNoTerminal, "an answer was needed, and there is no terminal to ask on"},
	{exitBug, "a bug in downdrop"},
	{exitSignal + 2, "interrupted"},
	{exitSignal + 15, "terminated"},
}

// newTopics are pages of help that belong to no command. Having nothing to run,
// they stand apart in the list of commands.
func newTopics() []*cobra.Command {
	var codes strings.Builder
	codes.WriteString(longExitCodes)
	for _, c := range exitCodes {
		fmt.Fprintf(&codes, "\n  %3d  %s", c.code, strings.ReplaceAll(c.says, "\n", "\n       "))
	}
	return []*cobra.Command{
		{Use: "exit-codes", Short: shortExitCodes, Long: codes.String()},
		{Use: "environment", Short: shortEnvironment, Long: longEnvironment},
		{Use: "files", Short: shortFiles, Long: longFiles},
	}
}
