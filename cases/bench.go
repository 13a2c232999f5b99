package cases

// The kinds of events that the bench adds to a unit, both of version 1.
const (
	KindBenchRun Kind = "bench_run" // BenchRun: a procedure that was gone through to its end
	KindRecord   Kind = "record"    // Record: a bench record that was issued
)

// A BenchRun is what a run at the bench came to. The run itself, entry by entry, is kept
// as a file, with the procedure and the profile as they were.
type BenchRun struct {
	File             string   `json:"file"` // digest of the run's file
	Head             string   `json:"head"` // hash of its last entry
	Procedure        string   `json:"procedure"`
	ProcedureVersion int      `json:"procedure_version"`
	ProcedureDigest  string   `json:"procedure_digest"`
	Profile          string   `json:"profile"`
	ProfileDigest    string   `json:"profile_digest"`
	Verdict          string   `json:"verdict"` // one of UnitVerdicts
	Failed           []string `json:"failed"`  // ids of steps
	NotDone          []string `json:"not_done"`
}

// A Record is a bench record that was issued. What was issued is never changed: a later
// issue names the one that it stands for.
type Record struct {
	Number   string       `json:"number"`
	Issue    int          `json:"issue"`  // from 1
	Digest   string       `json:"digest"` // of what it says, as printed in its foot
	Replaces string       `json:"replaces,omitempty"`
	Why      string       `json:"why,omitempty"` // a reissue's reason
	Head     string       `json:"head"`          // of the run that it is about
	Verdict  string       `json:"verdict"`
	Files    []RecordFile `json:"files"`
}

// A RecordFile is a form in which a record was written, byte for byte.
type RecordFile struct {
	Form   string `json:"form"` // html, pdf
	Digest string `json:"digest"`
}
