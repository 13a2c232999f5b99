package main

// This file is every sentence the command line itself says: help, and what is
// wrong with a command line. What a result says stands in the report package.

const (
	shortRoot = "Find out why a drop is down, and what to do next"
	longRoot  = `Find out why a drop is down.

Alone on a terminal, downdrop asks questions and leads from what is seen to what
is wrong. With "diagnose" it answers a case that is written down already.

It never says that something is safe. Local codes, lockout rules and licensed
people come before anything it prints.`

	shortDiagnose = "Say what is likely in a case, how sure that is, why, and what to do next"
	longDiagnose  = `Say what is likely in a case, how sure that is, why, and what to do next.

The case is a YAML file, or "-" for the standard input, or nothing but flags.
Flags are read after the file. Of a symptom given twice the surest counts, then
the last. What --see says was seen now, after everything the case says was done.

Values may be words or readings with their unit. A finding that is not sure
carries how sure it is behind the last @, as a number from 0 to 1. An id or value
that does not exist is refused, with what was probably meant.

--weigh sets two causes side by side: finding by finding, what speaks for the one
against the other.`

	shortStore = "The store of cases: where it is, copies of it, is it whole"
	longStore  = `The store of cases: where it is, copies of it, is it whole.

Cases are kept in a file in the user's data folder, made on first use. --store or
DOWNDROP_STORE names another file, or a database that several people share:
postgres://USER@HOST/DATABASE. Its password belongs in your PostgreSQL password
file, never on a command line.

A copy is made with "backup", not by copying the file: what was written last
stands beside it.`
	shortStoreWhere  = "Say where the cases are kept"
	shortStoreVerify = "Go over the whole store and name all that is damaged"
	longStoreVerify  = `Go over the whole store and name all that is damaged, with the cases that it
touches: every event against its hash and its chain, every file against its
digest, and what cases are found by against what their events say.

With --rebuild, what cases are found by is first made anew from the events.
Exit code 7 says that something is damaged.`
	shortStoreBackup = "Write a copy of the whole store into a file"
	longStoreBackup  = `Write a copy of the whole store into a file, also while others use it: text, a JSON
object on each line, with the names of people in it. The same store gives the same
file, whatever database it is in. With --salvage what cannot be read of a damaged
store is left out and named.

The store's own file is not copied by hand while it is in use: what was written last
stands in the log beside it (FILE-wal). A copy without its log is a whole beginning of
what was written, and nothing in it says that more was: "verify" finds it whole. It is
told from the store itself when it takes in something that this one wrote since; nothing
is taken in then. Compare the count and the head that "where" prints.`
	shortStoreRestore = "Bring a copy back into a new store"
	longStoreRestore  = `Bring a copy back into a store that holds nothing yet. FILE is what "backup" wrote, or
a store that was copied aside before its schema was changed. It goes on under the
same site, so the store that the copy was made of must not be written any more.`
	shortStoreMove = "Move the store to another file or database"
	longStoreMove  = `Move the store to another file or to a database, and compare: an export of both is
the same. The old one stays and can then only be read, so that nobody goes on in
it by mistake.`
	shortStorePerson = "Say, set or erase the name behind an id"
	longStorePerson  = `Say, set or erase the name behind the id of a person. No name is needed anywhere: entries
hold ids only, so that a name can be erased and no entry changes.

Erasing takes the name out of the store's file and its log, or of its table on a
PostgreSQL server. It does not reach backups, exports made with names, copies that were
put aside before the schema changed, the server's own log, backups and followers, nor
what somebody wrote into a note or another entry: entries are never changed. Cases in
which the name is written are listed.`

	shortCheck = "Look a rulebase over and name every problem"
	longCheck  = `Look a rulebase over and name every problem: errors, which keep it from loading,
and remarks on its sense, which do not: causes that nothing tells apart, rows that
are never reached, evidence that counts twice, steps that do not warn. Without a
folder, the rulebase in use is looked at. Several folders are laid over one
another, the first at the bottom. Of a folder that extends the shipped rulebase
only what stands in the folder is told, unless --all is said.

Every remark ends with its kind in brackets; --explain KIND says what it means and
shows a sample with it and one without. A remark that is no mistake is accepted in
the file, on the line or above the entry, with the reason:

  # accept KIND: reason

With --untrusted a rulebase from elsewhere is looked at before it is used: its size and
the work of looking it over are bounded by counts, and no link leads out of its folder.

Exit code 0 says that there is nothing to report, 1 that there is.`

	shortRehearse = "Play simulated breakdowns: how often is the advice right, what is it worth"
	longRehearse  = `Play simulated breakdowns against a rulebase and count how often its advice is
right, so that whoever keeps it knows where to work.

A case is drawn from the rulebase's own numbers: what is truly wrong, and what
everybody sees of it. It is played by phone, in the field or on the bench until
the advice is given that enough is known, or nothing is left to do.

Variants: own (the world has the rulebase's numbers), disturbed (likelihoods
moved by up to 2.7 in odds and weights by up to 2, anew for each case),
wrong_answers (of a caller's answers 1 in 10 is wrong, of a technician's 3 in
100). Without --variant all are played. The intervals are those of 95 percent.

The confused pairs name cases; --case replays one, with the same --seed.

With --policies rival ways of going about it are played against the same breakdowns up
to a working drop: swap the unit first, the trade's checklist, a good technician's
order, the most telling test a minute, and the default. It takes a while.`

	shortRulebase = "Tools for the person who keeps a rulebase"
	longRulebase  = `Tools for the person who keeps a rulebase: write it, test it, look at it, print it.`

	shortLine = "The line on paper: sums that tell whether it can work at all"
	longLine  = `The line on paper: sums that tell whether an installation can work at all, from
a sheet that says what was laid, fitted and set.`

	shortLineCheck = "Go over an installation sheet, rule by rule"
	longLineCheck  = `Go over an installation sheet, rule by rule: rate and clocks, length, units,
addresses, terminators, ohms to be read, stubs, levels, echoes, the controller's
map, frame and scan time, 24 V at every drop, currents, copper's temperature,
separation and shield; each stretch between repeaters by itself. Each rule has its figure, its limit and where that comes
from, and what to do.

Exit code 1 says that something does not go.`
	shortLineEcho = "Say what a step sent into the trunk does at both ends"
	longLineEcho  = `Say what a step sent into the trunk does at both ends: the waves that run to and
fro, what each end sends back, and where it settles, closed by the terminators
that the sheet has. With --svg the lattice is drawn as well.`
	shortLineNew = "Ask for an installation sheet and write it"
	longLineNew  = `Ask for an installation sheet, question by question, and write it. Each answer is
tried on what was said before, and asked again where it does not fit. What is not
known is left out with Enter; the check says later what it would need. Nothing
that is there already is written over.`
	shortLineOhms = "Say what an ohm reading across the dead pair can be, or should be"
	longLineOhms  = `Say what an ohm reading across the dead pair can be: how many terminators of
which value, a break, a short and how far away, the likeliest first, reckoned
with the cable's own resistance and with what may have been left connected.

Without a reading it says what should be read at a place (--at), with everything
off the pair and with what may have been left connected; --break and --short
suppose the pair open or shorted at another place.

Ohms are read on a dead line only, after volts.`

	shortLineSchema = "Print a JSON Schema of installation sheets for an editor"
	longLineSchema  = `Print the JSON Schema (draft-07) of an installation sheet, so that an editor of
YAML completes its keys, says what they mean and marks a figure without its unit,
while you type. Sums, places and names only "downdrop line check" sees.

An editor finds the schema by the first line of a sheet, with the path from there:
  # yaml-language-server: $schema=sheet.json`

	shortLineLocate = "Say where a short lies, what a break takes away, where to measure next"
	longLineLocate  = `Say what a sheet tells of a fault along the trunk: how far away a short is by the
loop ohms that a meter reads, which drops a break at a place takes away, or where
to measure next so that what is left in doubt is halved.

--short is a reading across the pair with the line dead, every unit unplugged and
the terminator at the meter's end off; the short itself and the cable to it are
then all that it sees. --from is the end it was read at. --break is a place, and
--between two places, parted by "and", of which the first is good and the second
is not.`

	shortLineWaveform = "Measure in an instrument's capture of the pair"
	longLineWaveform  = `Measure in an instrument's capture of the pair: bit time and rate, how loud each
sender is, the level while nobody sends, how fast the edges are, echoes and how
far away what sends them back is, noise and hum. Each figure comes with its
uncertainty, or with the reason why this capture cannot show it. What follows for
a diagnosis is printed as flags to paste.

With the sheet of the line and the place of the probe it also says where along the
trunk what sends an echo back can be, and what the sums have across an idle pair.

The file holds a column of time and one of volts across the pair, or two of each
leg against common, parted by commas, semicolons or tabs, with their units in the
heading; lines of the instrument above the table are skipped.

Exit code 1 says that something is not as it should be.`

	shortHandbook = "Print a whole rulebase as a book to read"
	longHandbook  = `Print a whole rulebase as a book to read: an index of symptoms by place and by
part, a page for each cause with what looks like it, a card for each test with
what can hurt before the steps, rules with their reasons, warnings, sources and
an index of terms. Without a folder, the rulebase in use is printed.

The ending of --to says what is written: one HTML page (.html) that needs no
other file and no network, or one file of Markdown (.md). Anything else is a
folder, which gets the page and Markdown with a file for each part of the drop;
--html or --markdown picks one of them. With - the book goes to the output.
Nothing that is there already is written over without --replace.`

	shortRulebaseTest = "Run the rule tests of a rulebase and say what they cover"
	longRulebaseTest  = `Run the rule tests of a rulebase, the cases in its files that end in _test.yaml,
and say what differs from what was expected, and why: what came first, and what
speaks for it and against what was expected. Without a folder, the rulebase in use
is tested. Several folders are laid over one another, the first at the bottom. Of
a folder that extends the shipped rulebase only its own tests are run, and only
its own entries need covering, unless --all is said.

Covered is what is put to the test both ways, in one case speaking and in another
silent. A cause speaks where it is expected first, and is silent where a chance
below a half is the most that is expected of it. A rule speaks where it fires. A
row of a symptom speaks where a case has a finding of the symptom and, were the
cause that is expected first the only one, the row would be the one that counts.
A row of more_likely speaks where its condition holds.

Exit code 0 says that every case came out as expected, 1 that some differ. What is
not covered is told, and changes no exit code.`

	shortLayers = "Show which rulebase lies over which, and what stands for what"
	longLayers  = `Show which rulebase lies over which, the lowest first: what each adds, which
entries it replaces (replaces: true) or changes (changes: true), and the keys
that differ, old and new. Without a folder, the rulebase in use is shown. Of the
lowest rulebase only how much it holds is told, unless --all is said.`

	shortDistinguish = "Say how well a rulebase tells causes apart at a place"
	longDistinguish  = `Say how well the tests of a rulebase tell its causes apart, each cause there alone:
which share of what happens is seen at all, which is singled out, how long that
takes, what stays together, and what would part it. Only tests count that may be
offered at the place, to the person and with the tools that are said; nothing said
means everything possible. What the outputs do on loss of bus, and warnings, count
as answered.

A test tells two causes apart if one thing that it shows, by itself, is right often
enough about which of the two it is, both being equally likely before, and as sure
as findings are at the place: --right says how often. Causes with the same remedies
need not be told apart to know what to do, so every figure is given twice.`

	shortSchema = "Print a JSON Schema, so that an editor completes and checks as you type"
	longSchema  = `Print the JSON Schema (draft-07) of the files of a rulebase, so that an editor of
YAML completes keys, ids and values, says what they mean and marks what cannot be
right, while you type. Without a folder it is that of the rulebase in use.

The schema knows the ids that the rulebase has now: after adding some, make it
anew. It sees keys, words, ids and values; what a condition says, how chances add
up and what goes in circles only "downdrop check" sees.

An editor finds the schema by the first line of a file, with the path from there:
  # yaml-language-server: $schema=schema/rulebase.json`

	shortNew = "Start a rulebase of one's own in an empty folder"
	longNew  = `Start a rulebase of one's own in a folder that holds nothing: small files with
comments, one for each use, of an invented site. They load, pass "downdrop check"
and their own rule tests as they stand; what is not needed is taken out.

It is laid over the shipped rulebase: a cause of one's own with its rows, test and
remedy, weights of one's own, what the site calls its lamps and terminals, and
rule tests. With --alone it is a small complete rulebase over no other.

The folder schema holds what an editor completes and checks by, see "downdrop
rulebase schema". Nothing is ever written over.`

	shortFormat = "Bring the files of a rulebase into their one form"
	longFormat  = `Bring the files of a rulebase, its rule tests and cases into their one form, so that
nobody need think about blanks and a change shows only what was meant. Of a folder
its .yaml files; "-" formats the input to the output. Comments stay, and what the
files say stays: all are compared before one is written.

Two blanks for each level. Keys in the order of the format. What stands in braces
or brackets stays there, in one line of up to 160 columns; beyond, words and
numbers go on in the next line and all else gets a line for each item. What is
written out stays written out. Quotes go where a single word does not need them,
and come where a text does. At most one empty line in a row. Comments behind lines
that follow one another stand in one column.

With --check or --diff nothing is written, and exit code 1 says that something is
not in form.`

	shortVersion = "Print the version of downdrop, its commit and its Go"
	longVersion  = `Print the version of downdrop, the commit it was built from and the Go it was built
with: what belongs into a report of a bug.`

	shortHelp = "Help for a command or a topic"
	longHelp  = `Print help for a command, as "downdrop COMMAND --help" does, or one of the pages that
belong to no command: environment, exit-codes, files. Help reads no rulebase and no
store, and needs no terminal.`
)

const (
	sayToMissing     = "Say where to write with --to: a folder, a file that ends in .html or .md, or - for the output."
	sayToOutput      = "To the output goes either --html or --markdown: say which one."
	sayToBoth        = "%q is to be %s by its ending, and %s asks for something else."
	sayExists        = "%q is there already; --replace writes it anew."
	sayHandbook      = "The handbook is in %s: %d entries."
	sayHandbookFiles = "The handbook is in %d files in %s: %d entries. Begin with %s."

	sayOneFolder    = "One folder is wanted: downdrop rulebase new DIR"
	sayRulebaseName = "%q cannot be the name of a rulebase of one's own: small letters, digits and _, and not drop, which is the shipped one."
	sayNoFolder     = "%q is a file, or lies in one; a rulebase is a folder."
	sayNotEmpty     = "%q holds something already, such as %s; a new rulebase wants an empty folder, and nothing is written over."
	sayNewMade      = `The rulebase %[1]s is in %[2]s: %[3]s.
Begin with rulebase.yaml there; "downdrop check %[2]s" looks it over, and
"downdrop rulebase test %[2]s" runs its tests.
`

	saySchemas      = "The schemas for an editor are in %s.\n"
	sayForOrTo      = "--to writes the schemas of all kinds of files, --for prints that of one; say one of them."
	sayNotOurSchema = "%q is there already and is no schema of downdrop's; it is left as it is."

	sayFormatWhat      = "Say what to format: files, folders, or - for the input."
	sayFormatInput     = "- formats the input to the output; it stands alone, without --check and --diff."
	sayNothingToFormat = "There is no .yaml file in %q."
	sayFormatLink      = "%q is a link; name the file that it leads to."
	sayReadOnly        = "%q is read-only, and is left as it is."
	sayFormatted       = "%s is in form now.\n"
	sayFormattedAll    = "Of %s %d changed.\n"
	sayNotInForm       = "%s is not in form.\n"
	sayInForm          = " (in form)"
	sayAllInForm       = "Looked at %s: all in form.\n"
	sayFormChanges     = "formatting would change what %s says: %v"

	sayStoreExists   = "%q is there already, and a copy is never written over another file. Name a new one."
	sayStoreNotEmpty = "%s: %w: it holds %d events already, and only a store without any can take a copy in. Name another one with --store; it is made on the way"
	sayOneCopy       = "One file is wanted: downdrop store %s FILE"
	sayPersonWhat    = "Say whose name: downdrop store person ID to read it, with a name behind it to set it, with --erase to erase it."
	sayNoPerson      = "No name is kept for %s."
	sayPersonIs      = "%s is %s.\n"
	sayPersonErased  = "The name of %s is erased. Entries keep the id. %s\nNot reached: backups, exports made with names and copies put aside before the schema changed. Take those away, or make them anew.\n"
	sayErasedFile    = "It stands no more in the store's file, nor in its log once whoever else has the store open has closed it."
	sayErasedServer  = "It stands no more in the store's table. The server's own log, its backups and servers that follow it hold it until whoever keeps them has renewed them."
	sayStillWritten  = "Written in entries, which are never changed: cases %s. Handed-over copies of them hold it too.\n"
	sayMoveTo        = "Say where to: downdrop store move FILE|URL"
	sayMoveSame      = "The store is in %s already."
	sayMoveDiffers   = "%w: after moving, an export of %s is not that of %s. Nothing was given up: the old store can be written again. Take %s away and try once more"
	sayNoStoreYet    = "%s: there is no store yet, so there is nothing to %s"
	sayRebuilt       = "%s: what cases are found by was made anew from the events.\n"

	sayNoDataFolder  = "There is no folder for the user's data: HOME is not set. Name a file for the store with --store or DOWNDROP_STORE."
	sayStoreReadOnly = "%s It can be looked at, printed and exported; nothing can be added.\n"

	sayNoTerminal    = "downdrop asks its questions on a terminal, and there is none here. Say what is known to \"downdrop diagnose\" instead."
	sayBug           = "downdrop has a bug and could not go on: %v. Please report it with the command line, the case, and what \"downdrop version\" prints.\n"
	sayReading       = "Reading the case from the terminal; Ctrl-D ends it."
	sayTooLong       = "The input is longer than %d MiB, which no case is."
	sayFileTooLong   = "%s is longer than %d MiB, which no file is that belongs here."
	sayNoFile        = "There is no file or folder %q."
	sayUnreadable    = "%q cannot be read: %v."
	sayNoCommand     = "There is no command %q; \"downdrop help\" lists them."
	sayNoTopic       = "There is no help on %q; \"downdrop help\" lists what there is."
	sayMeant         = " Did you mean %s?"
	sayFlagError     = "%s See \"%s --help\"."
	sayNoFlag        = "%s has no flag %s."
	sayFlagValue     = "--%s %s: %s"
	sayWrittenDay    = "a day is written as 2031-05-28."
	sayNotOneOf      = "say one of %s."
	sayNoArguments   = "%s takes no arguments, and was given %q."
	sayOneForm       = "--json and --sarif are two forms of one result; say one of them."
	sayPolicies      = "--policies compares whole courses: it goes without --case, and --svg goes with it only."
	sayRight         = "--right is how often right, above 0.5 and at most 1; it was given %v."
	sayOneOutput     = "--json and --junit - both want the output; write the JUnit XML to a file."
	sayNoSuchCase    = "No case has %q in its name."
	sayWhichStranger = "Say which folder comes from elsewhere: \"downdrop check DIR --untrusted\"."
	sayNoKind        = "There is no kind of finding %q; those that there are stand above."
	sayWholeFrom     = "a whole number from %d to %d is wanted."
	sayCaseInWords   = "--case prints a course in words; --json has figures only. Say one of them."
	sayPlayed        = "%s: %d of %d cases played\n"
	sayOneCase       = "diagnose takes one case at a time: a file, or - for the standard input."
)

// What is wrong with a command line about the line.
const (
	sayJSONOrHTML   = "One form at a time: --json or --html."
	sayOneSheet     = "One installation sheet is wanted: downdrop line check SHEET.yaml"
	sayOneLocate    = "Say one of --short, --break and --between: downdrop line locate SHEET.yaml --short \"18 ohm\""
	sayTwoPlaces    = "--between %s: say two places parted by \"and\", like \"host and 250 m\"."
	sayHostOrEnd    = "--from %s: say host or end."
	saySheetOnly    = "line schema takes no file; it is the same for every sheet."
	sayOneReading   = "A sheet is wanted, and a reading where one was taken: downdrop line ohms SHEET.yaml \"148 ohm\""
	sayWhereOnSheet = "--where is a place on the trunk of a sheet: say --sheet FILE too."
	sayNoSupposing  = "--break and --short suppose what is so; beside a reading it is what is asked. Take the reading out, or them."
	sayOneCapture   = "One capture is wanted: downdrop line waveform FILE.csv"
	sayNoRate       = "%q is no rate; say it like 153.6k or 19200."
	sayNoBandwidth  = "%q is no bandwidth; say it like \"20 MHz\"."
	sayNoVelocity   = "%v is no share of the speed of light in a cable; it lies between 0.3 and 1, for most pairs at 0.66."
	sayNoUnit       = "%q is no unit of %s; it is one of %s."
	sayFieldBench   = "%q is no place where a capture is made; say field or bench."
	sayOneOhm       = "%q is not one reading in ohm; give what the meter showed, like \"148 ohm\" or OL."
	sayBeyondTrunk  = "%s lies beyond the trunk, which is %.0f m long."
	sayNoPlace      = "%q is no place on this trunk. Say host, end, metres from the host like \"120 m\", or one of its drops: %s."
)

// What is asked for a new sheet.
const (
	sayNoEcho      = "%s does not give enough of the cable to send a step into it."
	sayOneNewSheet = "The file to write is wanted: downdrop line new SHEET.yaml"
	sayNewBegin    = "An installation sheet, from the host outwards. Enter leaves a thing out; write units, like 180 m. In a list, same stands for what the entry before had."
	sayNewNothing  = "Nothing was entered; nothing was written."
	sayNewWritten  = "Written as %s; \"downdrop line check %s\" goes over it."
	sayNewCable    = "The cable's length is needed for all else. Say what you take it for, and mend it later."
	sayNewLeftOut  = "Without its %s this is left out."

	askSheetName = "What is this trunk called?"
	askSheetLine = "Which kind of line is it: %s?"
)

// What becomes of a unit.
const (
	shortDecide = "Weigh what can become of a unit: put back, repair, exchange, a new one"
	longDecide  = `Weigh what can become of a unit that may be bad: put it back, put the site right,
test first, have it repaired, exchange it, fit the spare, buy a new one, build the
drop anew. From the chance that it is bad, or a case that is diagnosed, and a price
sheet, it tells what each way costs on the mean and of what; from which chance on
another is cheaper; which amounts would change the answer; what it is worth to know
for sure (EVPI), and which test on the sheet is worth its time (EVSI); and the
risk of standing without a spare. Ties are told as ties.

With --at bench, or a case on the bench, the unit is in the shop already. With --kept
or --unit it is one that the store knows: earlier returns of the serial and from the
place are then looked up. The note of the sheet is printed with every decision and
every offer.

A price sheet is YAML; --keys lists what it can say, and
cases/examples/prices has examples. Sums are exact; money is rounded
on paper only, a half to the even digit.`

	sayOneSource     = "The chance is taken from one place: a case file or flags, a kept case (--kept), or a unit in the shop (--unit)."
	sayReturnsStored = "With --kept or --unit earlier returns of serial and place are looked up in the store."
	sayPlaceStored   = "With --kept or --unit the store knows where the unit is."
	sayOnePrices     = "One price sheet is wanted: downdrop decide PRICES.yaml --bad 30%"
	sayBadOrCase     = "Say how likely the unit is bad: --bad 0.3, or --case FILE, or what was seen with --see."
	sayBadNotCase    = "Either the chance or a case: --bad goes without --case, --see and --given."
	sayNoReturns     = "Earlier returns are counted from 0 up."
	sayManyReturns   = "More than %d earlier returns are hardly meant."
	saySerialTwice   = "A case says itself whether the unit came back before (--given returned_before=true); --returns-of-serial goes with --bad, or it would count twice."
	sayInputTwice    = "The input can be the price sheet or the case, not both."
	sayNoChance      = "Nothing on my list allows these findings together, so there is no chance to decide by; \"downdrop diagnose\" tells which."
	sayNoAmount      = "--%s %s: say %s."
)

// A list of returns.
const (
	shortTriage = "Go over a list of returns: which units are probably good, what to ask"
	longTriage  = `Go over a shop's list of returns, a CSV file or "-" for the standard input. For
each row: how likely the unit is good, what to ask the sender before it is shipped,
bench time to plan, how it most likely ends. The worklist begins with units that are
probably good, where a question may save a shipment.

The complaint is heard in the sender's words, as the conversation hears them. Columns
are known by their headings: serial, complaint, place and words like them, or the id
of a symptom or a given, whose cells are its values; --column gives others a role.
Of two columns of one name each is told by its place: --column "Serial (column 2)=unused".

A row that a spreadsheet may have spoilt (a serial number like 1.2E+11, lost zeros,
a date, spoilt letters, a comma that may be either) is asked back and not matched.
Semicolons, decimal commas and Windows-1252 are read. Rows that cannot be read are
rejected with line and reason, and so are rows of totals. A serial that is missing is
asked for; one that stands in two of the first 131072 rows is named with its lines.
Memory stays the same however long the list is.

With --look-up each sound serial is looked up in the store: units and cases of it
before, and those that the eye takes for it, which are only asked about.

Exit code 1 says that rows were rejected or have to be asked back.`

	sayOneList     = "One list is wanted: downdrop triage RETURNS.csv"
	sayColumnTwice = "--column says two things of %q: %s and %s; say one."
	sayCSVOrJSON   = "One form at a time: --csv or --json."
	sayListFolder  = "%s is a folder; a list is a CSV file."
	sayReject      = "Line %d is rejected: %s\n"
	sayMoreRejects = "And %d more; --rejects FILE.csv lists all of them.\n"
	sayGoingOver   = "Going over the list: row %d of %d."
)
