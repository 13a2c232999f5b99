package cases

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"slices"
)

// Attached are the pictures and files of a case, each content once.
func (c *Case) Attached() []Attachment {
	var out []Attachment
	for _, f := range c.Files {
		if !slices.ContainsFunc(out, func(a Attachment) bool { return a.Digest == f.Body.Digest }) {
			out = append(out, f.Body)
		}
	}
	return out
}

// NotHere are those of the case's pictures and files that a store does not hold.
func (c *Case) NotHere(ctx context.Context, store Store) ([]Attachment, error) {
	var out []Attachment
	for _, a := range c.Attached() {
		has, err := holdsFile(ctx, store, a.Digest)
		if err != nil {
			return nil, err
		} else if !has {
			out = append(out, a)
		}
	}
	return out, nil
}

// holdsFile asks a store for a file without reading it, where the store can say so.
func holdsFile(ctx context.Context, store Store, digest string) (bool, error) {
	if s, ok := store.(interface {
		HasFile(ctx context.Context, digest string) (bool, error)
	}); ok {
		return s.HasFile(ctx, digest)
	}
	_, err := store.File(ctx, digest)
	if errors.Is(err, ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// MatchFile finds which of the files not here a content is, by its hash: as it was kept
// where it comes from, or as CleanFile makes it of the original. It gives the file with
// the content to keep; false where it is none of them.
func MatchFile(notHere []Attachment, content []byte) (Attachment, []byte, bool) {
	clean, _, err := CleanFile(content)
	for _, text := range [][]byte{content, clean} {
		sum := sha256.Sum256(text)
		digest := hex.EncodeToString(sum[:])
		if i := slices.IndexFunc(notHere, func(a Attachment) bool { return a.Digest == digest }); i >= 0 {
			return notHere[i], text, true
		}
		if err != nil {
			break
		}
	}
	return Attachment{}, nil, false
}
