package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/engine/bench"
	"downdrop/rulebase"
)

func newRecordCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{Use: "record", Short: shortRecord, Long: longRecord, Args: knownCommand}
	cmd.AddCommand(newRecordMakeCmd(env), newRecordVerifyCmd(env), newRecordReadingsCmd(env))
	return cmd
}

type recordOptions struct {
	deskOptions
	out, why, unit                              string
	shop, customer, order, received, authorised string
}

func newRecordMakeCmd(env *environment) *cobra.Command {
	var o recordOptions
	cmd := &cobra.Command{
		Use: "make RUN", Short: shortRecordMake, Long: longRecordMake, Args: oneWord(sayOneRecorded),
		RunE: func(cmd *cobra.Command, args []string) error { return runRecordMake(cmd.Context(), env, o, args[0]) },
	}
	f := cmd.Flags()
	f.StringVar(&o.out, "out", "", "write `NAME`.html and NAME.pdf; else they are named by the record's number")
	f.StringVar(&o.why, "reissue", "", "issue the record of this run again, and `WHY`; the record says so")
	f.StringVar(&o.shop, "shop", "", "the shop's `NAME` and address; else DOWNDROP_SHOP")
	f.StringVar(&o.unit, "unit", "", "the `UNIT` that the store has it under, as TYPE/SERIAL, where it calls the type otherwise than the profile does")
	f.StringVar(&o.customer, "customer", "", "the `CUSTOMER`, as it should stand on paper")
	f.StringVar(&o.order, "order", "", "the customer's `ORDER`")
	f.StringVar(&o.received, "received", "", "the `DAY` the unit came in, as 2031-05-04; else what the store has")
	f.StringVar(&o.authorised, "authorised", "", "who answers for the record (`NAME`)")
	addStoreFlags(cmd, &o.deskOptions)
	return cmd
}

// runRecordMake writes a record of a run, and its digests into the store's chain.
func runRecordMake(ctx context.Context, env *environment, o recordOptions, name string) error {
	if o.received != "" {
		if _, err := time.Parse(time.DateOnly, o.received); err != nil {
			return usageError{fmt.Sprintf(sayNoDay, o.received)}
		}
	}
	run, err := shop.ReadRun(name)
	if err != nil {
		return ofShop(err)
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	s, err := run.State(d.base)
	if err != nil {
		return ofShop(err)
	}
	if s.Verdict == bench.NoVerdict {
		return inputError{fmt.Sprintf(sayRunNotEnded, name, name)}
	}
	unit, err := d.recordUnit(ctx, cases.Unit{Type: s.Unit.Type, Serial: s.Serial}, o.unit)
	if err != nil {
		return err
	}
	card, err := d.card(ctx, unit)
	if err != nil {
		return err
	}
	before, older, err := shop.Recorded(ctx, d.store, card, run.Events)
	switch {
	case err != nil:
		return err
	case before != nil && older:
		return usageError{fmt.Sprintf(sayOlderCopy, name, before.Number, before.Issue)}
	case before != nil && o.why == "":
		return usageError{fmt.Sprintf(sayAlreadyIssued, before.Number, before.Issue)}
	case before == nil && o.why != "":
		return usageError{sayNothingToReissue}
	}
	if o.shop == "" {
		o.shop = env.variable("DOWNDROP_SHOP")
	}
	said := report.RecordContent{Program: ourVersion(), Shop: o.shop, Customer: o.customer, Order: o.order, Received: o.received, Authorised: o.authorised}
	shop.KnownAs(&said, s, unit, card)
	shop.CameIn(&said, run.Events, card)
	record, err := shop.NewRecord(ctx, d.store, env.clock(), said, s, before, o.why)
	if err != nil {
		return err
	}
	return d.issue(ctx, o, record, s, unit, card, run)
}

// recordUnit is the unit that a record is about. Whoever took it in may have called its type
// otherwise than the profile does; then the store would hold one unit as two, so it is asked. So is which unit it was
// where nobody could read a serial number: all of those would be one.
func (d *desk) recordUnit(ctx context.Context, tested cases.Unit, said string) (cases.Unit, error) {
	if tested.Serial == "" {
		if tested.Serial = said[strings.LastIndexByte(said, '/')+1:]; tested.Serial == "" || tested.Serial == said {
			return tested, usageError{fmt.Sprintf(sayRecordNoSerial, tested.Type)}
		}
	}
	same, _, err := cases.FindUnits(ctx, d.store, tested.Serial)
	if err != nil {
		return tested, err
	}
	key := cases.UnitKey(tested)
	if said == "" {
		if len(same) == 0 || slices.Contains(same, key) {
			return tested, nil
		}
		theirs, mine := spoken(same), spoken([]string{key})[0]
		return tested, usageError{fmt.Sprintf(sayRecordOtherType, tested.Serial, strings.Join(theirs, ", "), mine, theirs[0], mine)}
	}
	for _, k := range append(same, key) {
		if kind, serial := cases.KeyParts(k); strings.EqualFold(said, kind+"/"+serial) {
			return cases.Unit{Type: kind, Serial: serial}, nil
		}
	}
	return tested, usageError{fmt.Sprintf(sayRecordNotOf, said, tested.Serial)}
}

// card is what the store knows of a unit; nil: nothing.
func (d *desk) card(ctx context.Context, unit cases.Unit) (*cases.Card, error) {
	events, err := d.store.Events(ctx, cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(unit)})
	if err != nil {
		return nil, err
	}
	return cases.FoldUnit(events), nil
}

// issue writes the files, keeps all in the store, and says what was made.
func (d *desk) issue(ctx context.Context, o recordOptions, record *report.Record, s *bench.State, unit cases.Unit, card *cases.Card, run *shop.Run) error {
	c := &record.Content
	name := o.out
	if name == "" {
		name = strings.ToLower(fmt.Sprintf("%s-%d", c.Number, c.Issue))
	}
	forms, body, err := shop.Forms(record)
	if err != nil {
		return err
	}
	var made []string
	for _, f := range forms {
		file := name + "." + f.Name
		if err := create(file, textOf(string(f.Text))); err != nil {
			for _, m := range made {
				os.Remove(m)
			}
			if errors.Is(err, os.ErrExist) {
				return usageError{fmt.Sprintf(sayRecordExists, file)}
			}
			return cannotWrite(file, err)
		}
		made = append(made, file)
	}
	if err := d.keepRecord(ctx, body, s, unit, card, run.Text, forms); err != nil {
		for _, m := range made { // a record that no chain knows is none
			os.Remove(m)
		}
		return err
	}
	_, err = fmt.Fprintf(d.env.out, sayRecordMade+"\n", c.Number, c.Issue, strings.Join(made, " and "), record.Digest)
	return written(err)
}

// keepRecord keeps the run, the files and the rulebase, and appends what says so to the unit.
func (d *desk) keepRecord(ctx context.Context, body cases.Record, s *bench.State, unit cases.Unit, card *cases.Card, run []byte, forms []shop.Form) error {
	if err := d.keepRulebase(ctx); err != nil {
		return err
	}
	drafts, err := shop.KeepRecord(ctx, d.store, card, body, s, run, forms)
	if err != nil {
		return err
	}
	d.writer.Place = rulebase.Bench
	_, err = d.writer.Write(ctx, cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(unit)}, drafts...)
	return err
}

func newRecordVerifyCmd(env *environment) *cobra.Command {
	var o deskOptions
	var paper string
	cmd := &cobra.Command{
		Use: "verify FILE", Short: shortRecordVerify, Long: longRecordVerify, Args: oneWord(sayOneVerified),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runRecordVerify(cmd.Context(), env, o, args[0], paper)
		},
	}
	cmd.Flags().StringVar(&paper, "digest", "", "hold it against this `DIGEST`, as printed in the foot of the paper, instead of the store's chain")
	addStoreFlags(cmd, &o)
	return cmd
}

// runRecordVerify holds a record's file against a digest from elsewhere, and says which
// that was.
func runRecordVerify(ctx context.Context, env *environment, o deskOptions, name, paper string) error {
	file, err := readFile(name, mostFile)
	if err != nil {
		return err
	}
	r, err := report.ReadRecord(file)
	if err != nil {
		return integrityError{fmt.Sprintf(sayRecordUnread, name)}
	}
	if paper != "" {
		return verifyByPaper(env, name, file, r, paper)
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	c := &r.Content
	found, newest, err := d.issues(ctx, c)
	if err != nil {
		return err
	}
	if found == nil {
		return notFoundError{fmt.Sprintf(sayRecordUnknown, c.Number, c.Issue)}
	}
	digest := shop.DigestOf(file)
	if !slices.ContainsFunc(found.Files, func(f cases.RecordFile) bool { return f.Digest == digest }) {
		return integrityError{fmt.Sprintf(sayRecordDiffers, name, c.Number, c.Issue)}
	}
	if _, err := fmt.Fprintf(env.out, sayRecordAgrees+"\n", name, c.Number, c.Issue, d.store.Site()); err != nil {
		return written(err)
	}
	if newest.Issue == c.Issue {
		return nil
	}
	if _, err := fmt.Fprintf(env.out, sayRecordOlder+"\n", newest.Issue, strings.TrimSuffix(newest.Why, ".")); err != nil {
		return written(err)
	}
	return foundError{}
}

// issues are what the store has of a record, under whatever type it has the unit: who took it in may have
// called that otherwise than the profile does, which is what stands on the record.
func (d *desk) issues(ctx context.Context, c *report.RecordContent) (asked, newest *cases.Record, err error) {
	keys := []string{cases.UnitKey(c.Unit())}
	if c.Unit().Serial == "" { // whose it is was said, and stands in the store alone
		err := cases.Units(ctx, d.store, func(card *cases.Card) error {
			if asked == nil {
				asked, newest = issuesOf(card, c.Number, c.Issue)
			}
			return nil
		})
		return asked, newest, err
	}
	same, _, err := cases.FindUnits(ctx, d.store, c.Unit().Serial)
	if err != nil {
		return nil, nil, err
	}
	for _, key := range append(keys, same...) {
		card, err := cases.ReadUnit(ctx, d.store, key)
		if errors.Is(err, cases.ErrNotFound) {
			continue
		} else if err != nil {
			return nil, nil, err
		}
		if asked, newest = issuesOf(card, c.Number, c.Issue); asked != nil {
			return asked, newest, nil
		}
	}
	return nil, nil, nil
}

// issuesOf are what the store has of a record: the issue that is asked for, and the newest
// one. Both are nil where that issue is not known.
func issuesOf(card *cases.Card, number string, issue int) (asked, newest *cases.Record) {
	if card == nil {
		return nil, nil
	}
	for i := range card.Records {
		b := &card.Records[i].Body
		if b.Number != number {
			continue
		}
		if b.Issue == issue {
			asked = b
		}
		if newest == nil || b.Issue > newest.Issue {
			newest = b
		}
	}
	if asked == nil {
		return nil, nil
	}
	return asked, newest
}

// leastPaper is how many digits of a digest are enough: 16 stand for 64 bits.
const leastPaper = 16

func verifyByPaper(env *environment, name string, file []byte, r *report.Record, paper string) error {
	if words := strings.Fields(paper); strings.Contains(paper, "/") && len(words) > 0 { // what the code says: DOWNDROP RECORD NUMBER/ISSUE DIGEST
		paper = words[len(words)-1]
	}
	paper = strings.ToLower(strings.NewReplacer(" ", "", "-", "").Replace(paper))
	if len(paper) < leastPaper || len(paper) > 64 || strings.Trim(paper, "0123456789abcdef") != "" {
		return usageError{fmt.Sprintf(sayPaperDigest, leastPaper)}
	}
	if !strings.HasPrefix(r.Digest, paper) {
		return integrityError{fmt.Sprintf(sayPaperDiffers, name)}
	}
	same, err := r.Shows(file)
	if err != nil {
		return err
	}
	if !same && r.Content.Program == ourVersion() {
		return integrityError{fmt.Sprintf(sayPaperLayout, name)}
	}
	says := fmt.Sprintf(sayPaperAgrees+"\n", name, r.Content.Number, r.Content.Issue, len(paper))
	if !same {
		says += fmt.Sprintf(sayPaperProgram+"\n", r.Content.Program)
	}
	_, err = io.WriteString(env.out, says)
	return written(err)
}

func newRecordReadingsCmd(env *environment) *cobra.Command {
	return &cobra.Command{
		Use: "readings FILE", Short: shortRecordReadings, Long: longRecordReadings, Args: oneWord(sayOneVerified),
		RunE: func(_ *cobra.Command, args []string) error {
			file, err := readFile(args[0], mostFile)
			if err != nil {
				return err
			}
			r, err := report.ReadRecord(file)
			if err != nil {
				return integrityError{fmt.Sprintf(sayRecordUnread, args[0])}
			}
			c := csv.NewWriter(env.out)
			c.UseCRLF = true
			return written(c.WriteAll(r.Readings()))
		},
	}
}
