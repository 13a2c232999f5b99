package report

import "io"

// VersionSchema is the schema of a Version.
const VersionSchema = "downdrop.version/1"

// Version is what the program was built from.
type Version struct {
	Schema  string `json:"schema"`
	Version string `json:"version"`
	Commit  string `json:"commit"`  // as version control names it; "" where the build does not say
	Time    string `json:"time"`    // of the commit, RFC 3339; "" where the build does not say
	Changed bool   `json:"changed"` // built with changes that are in no commit
	Go      string `json:"go"`
	System  string `json:"system"` // operating system/processor, as linux/arm64
}

// JSON writes it for programs.
func (v *Version) JSON(w io.Writer) error {
	v.Schema = VersionSchema
	return writeJSON(w, v)
}
