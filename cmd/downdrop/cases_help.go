package main

// What the help of the case commands says, and what they refuse.
const (
	shortCase = "Keep cases: from the first call to what it turned out to be"
	longCase  = `Keep cases: one down drop from the first call to what it turned out to be.

A case has a short code, to be read out by phone. What is said is kept at once and
never changed: a correction is a further entry. No name of a person is needed.`

	shortCaseOpen = "Open a case, and say what is remembered of its unit and location"
	longCaseOpen  = `Open a case. What is known goes in as for diagnose, by a case file or by flags.
The unit's serial and the location are looked up at once: the same unit before, a
serial that is easily taken for this one, the same location whatever the unit.`

	shortCaseList = "List the cases that are not closed"
	longCaseList  = `List the cases that are not closed, the last changed first.`

	shortCaseFind = "Find cases by text, place, serial, symptom, cause, date or reference"
	longCaseFind  = `Find cases. Each word of TEXT must be somewhere in a case: in notes, the complaint,
findings, causes or references. Letters' case and accents do not count. All that is
asked for must hold.`

	shortCaseShow = "Show a case: what is known, what still stands, what is likely"
	longCaseShow  = `Show a case: what was said and done, what is still in place, what is remembered of
unit and place, and what the rulebase makes of it now.`

	shortCaseTalk = "Go on with a case in the conversation"
	longCaseTalk  = `Go on with a case in the conversation. Every answer is kept before the next
question stands on the screen.`

	shortCaseSee = "Add what was seen, read or said"
	longCaseSee  = `Add findings and givens, as diagnose takes them with --see and --given.`

	shortCaseDone = "Add a step that was done, and what the drop did then"
	longCaseDone  = `Add a remedy or test that was carried out, and what the drop did then.`

	shortCaseNote = "Add a note"
	longCaseNote  = `Add a note in free words. It is searched, handed over and exported with the case.`

	shortCaseAttach = "Add a picture or a file"
	longCaseAttach  = `Add a picture (JPEG, PNG), a PDF or plain text. A picture is drawn anew, upright and
no larger than 2,000 pixels, so that nothing of where and by whom it was taken stays
in it. A file that the case names and that is not here yet, since a hand-over as text
cannot hold it, is known by its hash and takes its place; no new entry is made.`

	shortCaseSheet = "Give the case the installation sheet of its line"
	longCaseSheet  = `Give the case the installation sheet of its line. It is kept with the case as it now
is, weighed from now on, and drawn by serve with what is suspected where. line new
asks for a sheet.`

	shortCaseRefer = "Add a number from other books: work order, return, purchase"
	longCaseRefer  = `Add numbers from other books, as kind=text; the kinds are work_order, return,
purchase and other. Cases are found by them.`

	shortCaseSetting = "Note a setting of the unit, as found or as left"
	longCaseSetting  = `Note settings of the unit, as found or, with --left, as left. Read them before a unit
is pulled, cycled or changed; show --settings prints the sheet. NAME= without a value
takes a line back. The usual names:`

	shortCasePutIn = "Note what was put in, forced or loosened for a test"
	longCasePutIn  = `Note what was put in, forced, lowered or loosened for a test. It is listed in every
view and hand-over until it is taken out, and a case cannot be closed over it. KIND
is one of:`

	shortCaseTakeOut = "Note that something put in is out again"
	longCaseTakeOut  = `Note that something put in is out again, by its number in the list.`

	shortCaseTakeBack = "Take back an entry that was wrong"
	longCaseTakeBack  = `Take back an entry, by its number in "show --entries". It stays on record, and no
longer counts.`

	shortCaseAbout = "Say later what a case is about: location, unit, complaint"
	longCaseAbout  = `Say what was not known when the case was opened, or was wrong: the location, the
unit by its plate, the complaint. What is remembered of them is said at once.`

	shortCaseCost = "Add what something cost"
	longCaseCost  = `Add amounts with their currency, as what="1250.00 EUR". They are exact decimals; a credit
has a minus before it. The usual names:`

	shortCaseDispose = "Note what is to be done with the drop and its unit"
	longCaseDispose  = `Note what is to be done with the drop and its unit. WHAT is one of:`

	shortCaseTakeOver = "Note that somebody else goes on with a case, at the same place"
	longCaseTakeOver  = `Note that somebody else goes on with a case, at the same place. What was confirmed
before a step stands for whoever saw it, so it is asked anew. --by says who takes over; for
another place, "case hand-over".`

	shortCaseWait = "Set a case to waiting, and say for whom"
	longCaseWait  = `Set a case to waiting, and say for whom or what.`

	shortCaseWatch = "Set a case to being watched, while a remedy proves itself"
	longCaseWatch  = `Set a case to being watched, while the proof of a remedy runs.`

	shortCaseResume = "End waiting or watching"
	longCaseResume  = `End waiting or watching: the case is open again.`

	shortCaseAccept = "Accept what stands against closing, and say why"
	longCaseAccept  = `Accept that a thing stays in place (by its number in the list), or that an abnormal
finding is not explained (by its symptom).`

	shortCaseClose = "Close a case with what was proven"
	longCaseClose  = `Close a case with the causes that were proven, and how. It is refused while something
put in still stands, or while an abnormal finding is neither explained by the proven
causes nor accepted.`

	shortCaseReopen = "Open a closed case again"
	longCaseReopen  = `Open a closed case again. What was proven stays on record.`

	shortCaseJoin = "Note that several cases have one origin, as after a storm"
	longCaseJoin  = `Note that several cases have one origin, as after a storm.`

	shortCaseHandOver = "Hand a case over to another place, as text or as QR codes"
	longCaseHandOver  = `Hand a case over to another place: as text to paste, as QR codes to scan, or as a file.
The other place takes it in with "case receive" and asks nothing again. Pictures and
files go with the file (--file); text and codes bring their names and hashes, list them,
and the other place takes each in later with "case attach".`

	shortCaseReceive = "Take in a case that was handed over"
	longCaseReceive  = `Take in a case from pasted text (the parts in any order, with whatever stands around
them) or from the file of a hand-over. Taking it in twice is the same as once. Pictures
and files that text cannot bring are listed as not here yet.`

	shortCaseExport = "Write cases into a file, as JSON lines"
	longCaseExport  = `Write cases into a file, a JSON object on each line, with a manifest before them and a
check behind: what each case says, its pictures and files, the rulebases it was
diagnosed by, and all that is known of its unit and its location. The same store gives the same file. Names of people stay here unless
--names is said.`

	shortCaseImport = "Take cases in from such a file"
	longCaseImport  = `Take cases in from a file that "case export", "case hand-over --file" or "store backup"
wrote. Every line is checked, and nothing is kept of a file that is cut or changed.
Files may come in any order, and taking one in twice is the same as once. To bring a
whole store back in place of a lost one, use "store restore".`

	sayExportWhat    = "Say where to and what: downdrop case export FILE CASE..., or with --all in place of cases."
	sayImportWhat    = "One file is wanted: downdrop case import FILE; - is the standard input."
	sayExported      = "Written as %s: %d entries and %d files.\n"
	sayImported      = "Taken in: %d entries; %d were here already; %d files.\n"
	sayGaps          = "Of other sites' chains %d parts between are not here: the cases they belong to were not sent.\n"
	sayNoCase        = "There is no case %q in this store."
	sayCodeMisread   = " A code has six signs, and its last one does not fit: have it read out again."
	sayOpenCases     = " Not closed are %s."
	sayCaseWanted    = "%s wants a case: its short code or its id."
	sayCaseWords     = "%[1]s takes other words: %[2]s. \"%[1]s --help\" has examples."
	sayReference     = "--reference %s: a reference is kind=text, its kind one of %s."
	sayNoStep        = "There is no test or remedy %q in the rulebase."
	sayNoRemedy      = "There is no remedy %q in the rulebase."
	sayWeighTwo      = "--weigh names one cause, or two different ones to weigh against each other."
	sayNoCause       = "There is no cause %q in the rulebase."
	sayAttach        = "%s is not kept: %v."
	sayAboutWhat     = "Say what it is about: --location, --drop, --type, --serial, --revision, --complaint or --call-back."
	sayCost          = "%q is no amount: it is what=\"12.50 EUR\"."
	sayDispose       = "%q cannot be done with a drop or a unit: %v"
	saySetting       = "%q is no setting: it is name=value; the usual names are %s."
	sayPutIn         = "%q is no kind of thing put in: %v"
	sayNoPutIn       = "There is no number %s among the %d things still in place."
	sayNoEntry       = "There is no entry %s that could be taken back; there are %d, and the first opens the case."
	sayTakeOverWho   = "Say what whoever takes over may do: --who operator, electrician, technician or engineer."
	sayIsClosed      = "Case %s is closed; reopen it first."
	sayNotClosed     = "Case %s is not closed."
	sayAcceptWhy     = "Say with --why for what reason it may stay so."
	sayCloseHow      = "Say with --how it was proven; one sentence is enough."
	sayOutcome       = "--outcome: it cannot be told from what was done, %v"
	sayJoined        = "%d cases have one origin now: %s.\n"
	sayFetched       = "Written as %s, %d bytes.\n"
	sayListLimit     = "--limit - 0 for all, or a number of cases, is wanted."
	sayListCut       = "There are more: these are the %d that were changed last. --limit 0 lists all.\n"
	sayFileNotHere   = "%s is not here yet: the case came as text, which brings its name and hash only. Have it sent, and take it in with \"downdrop case attach %s FILE\"."
	sayArrived       = "%s has come in for case %s, known by its hash; %d of its files are not here yet.\n"
	sayNoAttachment  = "Case %s has no file %q."
	sayReceived      = "Taken in: %d entries; %d were here already.\n"
	sayHandOverEmpty = "The hand-over holds no entry."
	sayNoHandOver    = "No hand-over is in this text. Give all of it, from DOWNDROP1/ to its end."
	sayCodes         = "%s written; scan it with any camera and paste what it reads.\n"
	sayNotAdded      = "What was just said is not kept: %v"
)
