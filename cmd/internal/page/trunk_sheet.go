package page

import (
	"bytes"
	"context"
	"errors"
	"net/http"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	paper "downdrop/engine/sheet"
	"downdrop/rulebase"
)

// sheetOfLine is the installation sheet that is kept with a case; nil where it has none, or none
// that is here: a hand-over as text brings no long one along.
func (s *Server) sheetOfLine(ctx context.Context, c *cases.Case) (*rulebase.Sheet, error) {
	text, err := s.sheetText(ctx, c)
	if err != nil || text == nil {
		return nil, err
	}
	read, err := rulebase.ReadSheet(sayThisSheet, text, paper.Kinds())
	if err != nil { // kept by another version of the program, which knew other keys
		s.o.Log.Warn("the sheet of a case cannot be read any more", "case", c.Code, "error", err)
		return nil, nil
	}
	return read, nil
}

// sheetText is the text of a case's sheet; nil: it has none, or none that is here.
func (s *Server) sheetText(ctx context.Context, c *cases.Case) ([]byte, error) {
	if c.Situation.SheetFile == "" {
		return nil, nil
	}
	text, err := s.o.Store.File(ctx, c.Situation.SheetFile)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	return text, err
}

// giveSheet takes in the sheet of a case's line: its text, or a file.
func (s *Server) giveSheet(w http.ResponseWriter, r *http.Request) error {
	text, err := readUpload(r, "file")
	if err != nil {
		return err
	}
	if len(bytes.TrimSpace(text)) == 0 { // no file was chosen
		text = []byte(r.PostForm.Get("sheet"))
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return wrong(sayNoSheetGiven)
	}
	return s.addThen(w, r, "/causes", func(st *standing) ([]cases.Draft, error) {
		if st.Case.State == cases.StateClosed {
			return nil, refusal{http.StatusConflict, sayClosed}
		}
		read, err := rulebase.ReadSheet(sayThisSheet, text, paper.Kinds())
		if err != nil {
			return nil, refusal{http.StatusUnprocessableEntity, err.Error()}
		}
		after := st.Case.Situation.Clone()
		paper.Lay(read, &after)
		after.Sheet = ""
		if after.SheetFile, err = s.o.Store.PutFile(r.Context(), text); err != nil {
			return nil, err
		}
		return st.Case.Changes(kept.AsOfNow(after)), nil
	})
}
