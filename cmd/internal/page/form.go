package page

import (
	"cmp"
	"errors"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/wording"
)

// readForm reads the body of a form, and nothing of the address: what is said is said
// in the body. Only of ticked may there be several.
func readForm(r *http.Request, ticked ...string) error {
	if err := r.ParseForm(); err != nil {
		return unreadForm(err)
	}
	keepable(r)
	for name, values := range r.PostForm {
		if len(values) > 1 && !slices.Contains(ticked, name) {
			return refusal{http.StatusBadRequest, sayBadForm}
		}
	}
	return nil
}

// formID is the id of a form that was read. The ids of what it says follow from it, so that a form
// sent twice is one entry.
func formID(r *http.Request) (string, error) {
	form := r.PostForm.Get("form")
	if !cases.PlainID(form) || len(form) > mostFormID {
		return "", refusal{http.StatusBadRequest, sayBadForm}
	}
	return form, nil
}

// mostFormID leaves room in an event's id for what is put behind it.
const mostFormID = 40

// unreadForm is why a form could not be read: it is too long, came too slowly, or is none.
func unreadForm(err error) error {
	var long *http.MaxBytesError
	switch {
	case errors.As(err, &long):
		return err
	case errors.Is(err, os.ErrDeadlineExceeded):
		return refusal{http.StatusRequestTimeout, sayTooSlow}
	}
	return refusal{http.StatusBadRequest, sayBadForm}
}

// keepable takes out of a form what no store keeps: broken UTF-8, and NUL.
func keepable(r *http.Request) {
	for _, values := range r.PostForm {
		for i, v := range values {
			values[i] = strings.ReplaceAll(strings.ToValidUTF8(v, "?"), "\x00", "")
		}
	}
}

// idForm is that of ids of the rulebase, and of what a conversation makes of them.
var idForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z0-9_ .:-]{0,120}$`) })

// formAbout is the question that a form answers. What is no id is left out: then it is a
// question that nobody asked.
func formAbout(r *http.Request) conversation.About {
	get := func(name string) string {
		if id := r.PostForm.Get(name); idForm().MatchString(id) {
			return id
		}
		return ""
	}
	return conversation.About{Kind: conversation.QuestionKind(get("kind")), ID: get("about"), For: get("for"), After: get("after")}
}

// readUpload reads a form with a file in it. All of it lies in memory: the body is bounded.
func readUpload(r *http.Request, name string) ([]byte, error) {
	if !strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/form-data") {
		return nil, readForm(r)
	}
	if err := r.ParseMultipartForm(mostForm); err != nil {
		return nil, unreadForm(err)
	}
	if r.PostForm == nil {
		r.PostForm = url.Values{}
	}
	for _, values := range r.PostForm {
		if len(values) > 1 {
			return nil, refusal{http.StatusBadRequest, sayBadForm}
		}
	}
	keepable(r)
	files := r.MultipartForm.File[name]
	if len(files) == 0 {
		return nil, nil
	}
	if len(files) > 1 {
		return nil, refusal{http.StatusBadRequest, sayBadForm}
	}
	f, err := files[0].Open()
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, mostForm))
}

// The longest texts of a form, in letters.
const (
	mostShort = 120
	mostStory = 4000
)

// short reads a field of at most so many letters, on one line.
func short(r *http.Request, name string, most int) (string, error) {
	text := wording.OneLine(r.PostForm.Get(name))
	if utf8.RuneCountInString(text) > most {
		return "", wrong(sayLongField, cmp.Or(sayFields[name], wording.UpperFirst(name)), most)
	}
	return text, nil
}

// fields reads several fields of mostShort letters, and says of all that are longer that they are.
func fields(r *http.Request, into map[string]*string) error {
	var long []string
	for name, to := range into {
		text, err := short(r, name, mostShort)
		if err != nil {
			long = append(long, err.Error())
		}
		*to = text
	}
	slices.Sort(long)
	if len(long) > 0 {
		return refusal{http.StatusUnprocessableEntity, strings.Join(long, "\n")}
	}
	return nil
}
