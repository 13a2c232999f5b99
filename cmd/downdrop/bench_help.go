package main

// What the help of the bench commands says, and what they refuse.
const (
	shortBench = "Prove a unit on the bench, step by step, and keep its readings"
	longBench  = `Prove a unit on the bench. A procedure says step by step what to connect, set and
expect; a unit profile says once what the type of unit is like, and all limits are
worked out from it. Two procedures and two invented profiles are shipped; a shop
writes its own into the folder bench of its rulebase, and its profiles into
bench/units.

Local rules, lockout rules and licensed people come before anything a step says.`

	shortBenchRun = "Go through a procedure with a unit"
	longBenchRun  = `Go through a procedure with a unit. What can hurt stands before a step; a warning has
to be read before the step goes on. Answers are words, readings with their unit,
"all pass, exceptions: 7" for points, "0 of 30000" for messages. Besides:

  not done REASON   leaves the step out; the record says so
  note TEXT         adds a remark
  undo              takes the last entry back; both stay in the run
  stop              ends for now

Every entry is on the disk before the next question stands on the screen, so a run
that was cut off goes on where it was with "resume". A fail goes into the diagnosis at
once, and with --case into a case of the store, where "undo" takes it back too.`
	shortBenchResume = "Go on with a run"
	longBenchResume  = `Go on with a run at the step where it stands. It goes on by the procedure and profile
that it began with, even where their files were changed meanwhile. Of a run that came to
its end, "undo" takes the last entry back; both stay in the run. What is found goes into the case
that it began with, or the one named with --case, with all that it found before.`
	shortBenchList = "List procedures and unit profiles"
	shortBenchShow = "Show a procedure, with the limits for a unit, or a run"
	longBenchShow  = `Show a procedure with all its steps and warnings, with --unit with the limits worked
out for it. Of a run's file, show what was read and what it came to.`
	shortBenchCheck = "Look procedures and unit profiles over and name every problem"
	longBenchCheck  = `Look files of procedures and unit profiles over and name every problem, each with its
line and column. Those in a rulebase's folder are also looked over by "check".

Exit code 0 says that nothing is wrong, 1 that something is.`

	sayOneProcedure = "One procedure is wanted: downdrop bench run short --unit quay_24; \"downdrop bench list\" lists them."
	sayOneRun       = "One run is wanted: downdrop bench resume FILE"
	sayOneShown     = "One procedure or the file of one run is wanted: downdrop bench show acceptance"
	sayWhatToCheck  = "Name the files to look over: downdrop bench check FILE..."
	sayShowJSON     = "--json is for a run; give its file."
	sayBenchNobody  = "The bench asks its questions on a terminal, and there is none here. --answers FILE takes the entries from a file, a line each."
	sayNoProcedure  = "No procedure is called %q."
	sayNoProfile    = "No unit profile is called %q."
	sayThereAre     = " There are: %s."
	sayWhichUnit    = "Say which unit: --unit NAME or a file. There are: %s."
	sayRunExists    = "%s is there already; \"downdrop bench resume %s\" goes on with it."
	sayRunOtherBase = "%s began with another version of the rulebase; its procedure stays as it was, the diagnosis is of the one in use.\n"
	sayRunByWord    = "%q cannot stand for a person at the bench, where it means something else; say with --by (or DOWNDROP_BY) who works there."
	// What is found while this holds is in the run, and is added when it is gone on with where the case is.
	sayRunCaseNotHere = "%s adds what it finds to case %s, which this store does not have or cannot open; the run goes on without it."
	sayRunBegins      = "%s, %s. Each entry is kept in %s."
	sayRunEnded       = "\nKept in %s; \"downdrop record make %s\" writes the record."
	// What a run that was at its end when it was gone on with takes.
	sayRunConfirmAgain = "Another person goes on here, or it is another day: the warnings of the steps that are open are to be confirmed again."
	sayRunAtEnd        = "\nThe run is at its end. Type \"undo\" to take its last entry back, or \"stop\"."
	sayRunStopped      = "Stopped. \"downdrop bench resume %s\" goes on here."
	sayNothingWrong    = "Nothing is wrong."
)

// Bench records.
const (
	shortRecord = "Bench records: write them, issue them again, verify them"
	longRecord  = `Bench records. A record says what was done with a unit at the bench and what it came
to, on a page to print and as a PDF. Its digests go into the store's chain, and
the digest of what it says stands in its foot and in the code on it.`
	shortRecordMake = "Write the record of a run that came to its end"
	longRecordMake  = `Write the record of a run that came to its end, as HTML and as PDF. The run, both
files and the rulebase are kept in the store, and their digests in its chain. A run has
one record, also when it was gone on with; a further issue needs --reissue with the
reason, and says what it stands for. Nothing issued is ever changed.`
	shortRecordVerify = "Hold a record's file against the store's chain, or the digest on paper"
	longRecordVerify  = `Hold a record's file, HTML or PDF, against the digest that the store's chain has of it.
Where the store does not know the record, --digest gives what is printed in the foot of
the paper, or what its code says; then what the file says is held against that, and what
it shows against what it says. The answer says which of the two it had.

Exit code 7 says that the file was changed, 1 that a later issue stands for it, 5 that the
store knows no such record.`
	shortRecordReadings = "Print the readings of a record as a table"
	longRecordReadings  = `Print the readings of a record's file as a table (RFC 4180), safe against formulas.`

	sayOneRecorded      = "One run is wanted: downdrop record make RUN.jsonl"
	sayOneVerified      = "One record is wanted: the HTML or PDF file that \"downdrop record make\" wrote."
	sayNoDay            = "%q is no day; write it as 2031-05-04."
	sayRunNotEnded      = "%s is not at its end; \"downdrop bench resume %s\" goes on with it."
	sayRecordOtherType  = "The store has the serial %s as %s; by its profile it is %s. Say --unit %q where they are one, --unit %q where not."
	sayRecordNotOf      = "The run is not about %q: its serial number is %s. Name the unit as TYPE/SERIAL."
	sayRecordNoSerial   = "The run has no serial number, and all units without one would be one in the store. Say which it was: --unit %q with its serial number, or what the shop calls it by, behind a slash."
	sayAlreadyIssued    = "This run has the record %s, issue %d. To issue it again, say why: --reissue \"order number added\"."
	sayOlderCopy        = "%s is an older copy of a run that has the record %s, issue %d: that holds all of this, and what was entered after it. Name the file of the run as it stands now."
	sayNothingToReissue = "No record of this run was issued yet, so there is nothing to issue again."
	sayRecordExists     = "%s is there already and is not overwritten; --out gives another name."
	sayRecordMade       = "Record %s, issue %d, is in %s.\nDigest %s"
	sayRecordUnread     = "%s is no bench record, or was changed so that it cannot be read as one."
	sayRecordUnknown    = "The store knows no record %s, issue %d. --digest holds the file against the digest on its paper."
	sayRecordDiffers    = "%s is not what was issued: it differs from what the store's chain has of record %s, issue %d."
	sayRecordAgrees     = "%s is record %s, issue %d, byte for byte as the store's chain (site %s) has it."
	sayRecordOlder      = "Issue %d stands for it. Why: %s."
	sayPaperDigest      = "Give the digest from the foot of the paper, at least its first %d digits (0 to 9, a to f)."
	sayPaperDiffers     = "%s is not what the paper was printed from: what it says has another digest."
	sayPaperLayout      = "%s says what the digest on paper stands for, but shows something else: it was changed."
	sayPaperAgrees      = "%s says what the digest on paper stands for (record %s, issue %d; %d digits compared). The store's chain was not asked."
	sayPaperProgram     = "It was laid out by another version of the program (%s), so what it shows was not compared; \"downdrop record readings\" prints what it says."
)
