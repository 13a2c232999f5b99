package report

import (
	"io"

	"downdrop/cases"
)

// StoreSchema names the form of a Store in JSON.
const StoreSchema = "downdrop.store/1"

// A Store is where the cases are, and what is in it.
type Store struct {
	Schema   string                `json:"schema"`
	Where    string                `json:"where"`
	There    bool                  `json:"there"` // false: it will be made on first use
	Site     string                `json:"site"`
	ReadOnly string                `json:"read_only"` // why; "" it can be written
	Events   int64                 `json:"events"`
	Heads    map[string]cases.Head `json:"heads"`
}

// JSON writes it.
func (s *Store) JSON(w io.Writer) error {
	s.Schema = StoreSchema
	if s.Heads == nil {
		s.Heads = map[string]cases.Head{}
	}
	return writeJSON(w, s)
}

// VerifiedSchema names the form of what a store's check found, in JSON.
const VerifiedSchema = "downdrop.store_verified/1"

type verifiedJSON struct {
	Schema string                `json:"schema"`
	Where  string                `json:"where"`
	Events int                   `json:"events"`
	Cases  int                   `json:"cases"`
	Files  int                   `json:"files"`
	Heads  map[string]cases.Head `json:"heads"`
	Damage []damageJSON          `json:"damage"`
}

type damageJSON struct {
	Where string   `json:"where"`
	What  string   `json:"what"`
	Cases []string `json:"cases"`
}

// VerifiedJSON writes what a store's check found.
func VerifiedJSON(w io.Writer, where string, v *cases.Verified) error {
	out := &verifiedJSON{Schema: VerifiedSchema, Where: where, Events: v.Events, Cases: v.Cases, Files: v.Files, Heads: v.Heads, Damage: []damageJSON{}}
	if out.Heads == nil {
		out.Heads = map[string]cases.Head{}
	}
	for _, d := range v.Damage {
		out.Damage = append(out.Damage, damageJSON{d.Where, d.What, append([]string{}, d.Cases...)})
	}
	return writeJSON(w, out)
}
