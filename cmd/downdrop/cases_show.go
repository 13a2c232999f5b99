package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

type caseListOptions struct {
	deskOptions
	query     cases.Query
	from, to  string
	json, csv bool
}

func newCaseListCmd(env *environment) *cobra.Command {
	o := caseListOptions{query: cases.Query{Unsettled: true}}
	var all bool
	cmd := &cobra.Command{
		Use: "list", Short: shortCaseList, Long: longCaseList, Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			o.query.Unsettled = !all
			return runCaseList(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "closed ones too")
	addListFlags(cmd, &o)
	return cmd
}

func newCaseFindCmd(env *environment) *cobra.Command {
	var o caseListOptions
	cmd := &cobra.Command{
		Use: "find [TEXT]", Short: shortCaseFind, Long: longCaseFind,
		RunE: func(cmd *cobra.Command, args []string) error {
			for _, word := range args {
				o.query.Text += " " + word
			}
			return runCaseList(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.query.Location, "location", "", "at this location (`TEXT`)")
	f.StringVar(&o.query.Serial, "serial", "", "a unit of this serial (`TEXT`)")
	f.StringVar(&o.query.LooksLike, "looks-like", "", "a unit whose serial the eye takes for this one (`TEXT`)")
	f.StringVar(&o.query.Symptom, "symptom", "", "with this symptom (`ID`)")
	f.StringVar(&o.query.Cause, "cause", "", "closed with this cause (`ID`)")
	f.StringVar(&o.query.Reference, "reference", "", "with this number in other books (`TEXT`)")
	f.StringVar(&o.from, "from", "", "opened on this day or later (`YYYY-MM-DD`)")
	f.StringVar(&o.to, "to", "", "opened on this day or earlier (`YYYY-MM-DD`)")
	addListFlags(cmd, &o)
	return cmd
}

func addListFlags(cmd *cobra.Command, o *caseListOptions) {
	addStoreFlags(cmd, &o.deskOptions)
	cmd.Flags().IntVar(&o.query.Limit, "limit", cases.FindLimit, "at most so many (`N`); 0: all")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.CaseListSchema)
	cmd.Flags().BoolVar(&o.csv, "csv", false, "print a table for spreadsheets")
}

func runCaseList(ctx context.Context, env *environment, o caseListOptions) error {
	if o.csv && o.json {
		return usageError{sayCSVOrJSON}
	}
	var err error
	if o.query.From, err = day(env, "from", o.from, 0); err != nil {
		return err
	}
	if o.query.To, err = day(env, "to", o.to, 1); err != nil {
		return err
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	found, err := o.find(ctx, d)
	if err != nil {
		return err
	}
	switch {
	case o.json:
		return written(report.CasesJSON(env.out, found))
	case o.csv:
		return written(report.CasesCSV(env.out, found))
	}
	return written(report.CasesText(env.out, env.width(), d.base, found, env.clock()))
}

// find gives the cases asked for, and says so where there are more than were to be listed.
func (o *caseListOptions) find(ctx context.Context, d *desk) ([]cases.Summary, error) {
	limit := o.query.Limit
	switch {
	case limit < 0:
		return nil, usageError{sayListLimit}
	case limit == 0:
		var all []cases.Summary
		err := cases.FindEach(ctx, d.store, o.query, func(s cases.Summary) { all = append(all, s) })
		return all, err
	}
	o.query.Limit++
	found, err := d.store.Find(ctx, o.query)
	if len(found) > limit {
		found = found[:limit]
		fmt.Fprintf(d.env.err, sayListCut, limit)
	}
	return found, err
}

// day reads a day in the user's own zone; more is added to it.
func day(env *environment, flag, text string, more int) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	t, err := time.ParseInLocation(time.DateOnly, text, env.clock().Location())
	if err != nil {
		return t, usageError{fmt.Sprintf(sayFlagValue, flag, text, sayWrittenDay)}
	}
	return t.AddDate(0, 0, more), nil
}

func newCaseShowCmd(env *environment) *cobra.Command {
	var o deskOptions
	var asJSON, events, settings, asCase bool
	var fetch string
	cmd := &cobra.Command{
		Use: "show CASE", Short: shortCaseShow, Long: longCaseShow, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				switch {
				case fetch != "":
					return d.fetch(ctx, c, fetch)
				case asCase:
					_, err := env.out.Write(d.base.WriteCase(c.Situation))
					return written(err)
				case settings:
					return written(report.SettingsSheet(env.out, env.width(), c))
				case events:
					names, err := d.names(ctx, c)
					if err != nil {
						return err
					}
					return written(report.CaseEvents(env.out, env.width(), c, names))
				}
				earlier, err := cases.LookBack(ctx, d.store, c)
				if err != nil {
					return err
				}
				if asJSON {
					return written(report.CaseJSON(env.out, d.base, c, &earlier))
				}
				dg, err := d.diagnose(ctx, c)
				if err != nil {
					return err
				}
				if card, err := d.inShop(ctx, c); err != nil {
					return err
				} else if card != nil {
					if err := report.UnitLine(env.out, env.width(), card, env.clock()); err != nil {
						return written(err)
					}
				}
				return written(report.CaseText(env.out, env.width(), dg, c, &earlier))
			})
		},
	}
	addStoreFlags(cmd, &o)
	f := cmd.Flags()
	f.BoolVar(&asJSON, "json", false, "print JSON for programs, schema "+report.CaseSchema)
	f.BoolVar(&events, "entries", false, "every entry, numbered, with who and when")
	f.BoolVar(&settings, "settings", false, "the settings sheet, to print and to send with the unit")
	f.BoolVar(&asCase, "as-case", false, "as a case file, for diagnose")
	f.StringVar(&fetch, "fetch", "", "write the file or picture of this `NAME` to the current folder")
	return cmd
}

// names are those kept for the people who wrote a case's entries, by id.
func (d *desk) names(ctx context.Context, c *cases.Case) (map[string]string, error) {
	names := map[string]string{}
	for _, e := range c.Events {
		if _, known := names[e.By]; known || e.By == "" {
			continue
		}
		name, err := d.store.Name(ctx, e.By)
		if err != nil {
			return nil, err
		}
		names[e.By] = name
	}
	return names, nil
}

// fetch writes an attachment under its own name, which never leaves the folder and
// never overwrites.
func (d *desk) fetch(ctx context.Context, c *cases.Case, name string) error {
	for _, f := range c.Files {
		if f.Body.Name != name {
			continue
		}
		content, err := d.store.File(ctx, f.Body.Digest)
		if errors.Is(err, cases.ErrNotFound) {
			return notFoundError{fmt.Sprintf(sayFileNotHere, name, c.Code)}
		} else if err != nil {
			return err
		}
		safe := fileName(name)
		if err := newFile(safe, textOf(string(content))); err != nil {
			return err
		}
		_, err = fmt.Fprintf(d.env.out, sayFetched, safe, len(content))
		return written(err)
	}
	return notFoundError{fmt.Sprintf(sayNoAttachment, c.Code, name)}
}

func newCaseHandOverCmd(env *environment) *cobra.Command {
	var o deskOptions
	var to, png, file string
	cmd := &cobra.Command{
		Use: "hand-over CASE", Short: shortCaseHandOver, Long: longCaseHandOver, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				if err := oneOf(to, placeWords); err != nil {
					return usageError{fmt.Sprintf(sayFlagValue, "to", to, err)}
				}
				if err := beforehand(file); err != nil {
					return err
				}
				if png != "" {
					if err := pictureBeforehand(strings.TrimSuffix(png, ".png") + ".png"); err != nil {
						return err
					}
				}
				c, err := d.write(ctx, c.ID, cases.Say(cases.KindHandedOver, cases.HandOver{To: rulebase.Place(to)}))
				if err != nil {
					return err
				}
				sheet, err := d.sheetText(ctx, c)
				if err != nil {
					return err
				}
				parts, carried, err := cases.HandOverText(c, sheet, cases.SheetParts)
				if err != nil && (file == "" || !errors.Is(err, cases.ErrTooLong)) { // in a file there is room
					return err
				}
				stays := c.Situation.SheetFile != "" && !carried
				if file != "" {
					return d.export(ctx, file, cases.ExportOptions{Cases: []string{c.ID}})
				}
				if png != "" {
					if err := d.codes(parts, png); err != nil {
						return err
					}
					return written(report.TravelApart(env.out, env.width(), c, stays))
				}
				dg, err := d.diagnose(ctx, c)
				if err != nil {
					return err
				}
				return written(report.HandOver(env.out, env.width(), dg, c, parts, stays))
			})
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().StringVar(&to, "to", "", "the place it goes to: phone, field or bench (`PLACE`)")
	cmd.Flags().StringVar(&file, "file", "", "write it into this `FILE`, with its pictures and files")
	cmd.Flags().StringVar(&png, "qr", "", "write it as QR codes into `FILE`.png, FILE-2.png ...")
	return cmd
}

func newCaseReceiveCmd(env *environment) *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use: "receive [FILE|-]", Short: shortCaseReceive, Long: longCaseReceive, Args: atMostOneCase,
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx, name := cmd.Context(), "-"
			if len(args) > 0 {
				name = args[0]
			}
			text, err := env.readUpTo(ctx, name, mostHandOver)
			if err != nil {
				return err
			}
			d, err := o.openDesk(ctx, env)
			if err != nil {
				return err
			}
			defer d.store.Close()
			a, err := d.arrive(ctx, text)
			if err != nil && isExport(text) {
				return inFile(name, err)
			} else if err != nil {
				return err
			}
			return d.tellArrival(ctx, &a)
		},
	}
	addStoreFlags(cmd, &o)
	return cmd
}

// mostHandOver is how much pasted text is read.
const mostHandOver = 32 << 20

// An arrival is what came in of a hand-over.
type arrival struct {
	cases []*cases.Case // as they stand now
	done  cases.Imported
	file  *cases.ImportReport // of a file with pictures and files; nil: it was text
}

// arrive takes in a hand-over: pasted text, the whole file of a case that was taken along, or an export.
func (d *desk) arrive(ctx context.Context, text []byte) (arrival, error) {
	if isExport(text) {
		return d.arriveFile(ctx, text)
	}
	events, sheet, err := cases.ReadHandOver(string(text))
	if errors.Is(err, cases.ErrNotFound) {
		return arrival{}, notFoundError{sayNoHandOver}
	}
	if err != nil {
		return arrival{}, err
	}
	if len(events) == 0 {
		return arrival{}, inputError{sayHandOverEmpty}
	}
	id := events[0].Subject.ID
	before, err := d.before(ctx, id)
	if err != nil {
		return arrival{}, err
	}
	done, err := d.store.Import(ctx, func(yield func(cases.Event, error) bool) {
		for _, e := range events {
			if !yield(e, nil) {
				return
			}
		}
	})
	if err != nil {
		return arrival{}, err
	}
	if sheet != nil {
		if _, err := d.store.PutFile(ctx, sheet); err != nil {
			return arrival{}, err
		}
	}
	c, err := d.joined(ctx, id, before)
	return arrival{cases: []*cases.Case{c}, done: done}, err
}

// sheetText is the text of the installation sheet that a case was given; nil: none, or none that is here.
func (d *desk) sheetText(ctx context.Context, c *cases.Case) ([]byte, error) {
	if c.Situation.SheetFile == "" {
		return nil, nil
	}
	text, err := d.store.File(ctx, c.Situation.SheetFile)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	return text, err
}

// mostTold is how many of the cases that came in are told of.
const mostTold = 5

func (d *desk) tellArrival(ctx context.Context, a *arrival) error {
	if a.file != nil {
		if err := d.tookIn(a.file); err != nil {
			return err
		}
	} else if _, err := fmt.Fprintf(d.env.out, sayReceived, a.done.Added, a.done.Known); err != nil {
		return written(err)
	}
	for _, c := range a.cases[:min(mostTold, len(a.cases))] {
		if err := d.opened(ctx, c, false); err != nil {
			return err
		}
	}
	return nil
}

// before is a case as it stands before another place's events come in; nil: not known here.
func (d *desk) before(ctx context.Context, id string) (*cases.Case, error) {
	c, err := d.store.Case(ctx, id)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	return c, err
}

// joined is a case as it stands once they are in. Where it went on here meanwhile, what was passed
// over at either place stays so, and nothing is asked again.
func (d *desk) joined(ctx context.Context, id string, before *cases.Case) (*cases.Case, error) {
	c, err := d.store.Case(ctx, id)
	if err != nil {
		return nil, err
	}
	drafts, err := kept.Joined(before, c)
	if err != nil || len(drafts) == 0 {
		return c, err
	}
	d.writer.Place = c.Situation.At
	return d.write(ctx, id, drafts...)
}

// codes writes each part as a picture of its own.
func (d *desk) codes(parts []string, name string) error {
	name = strings.TrimSuffix(name, ".png")
	for i, part := range parts {
		code, err := report.QR(part)
		if err != nil {
			return err
		}
		file := name + ".png"
		if i > 0 {
			file = fmt.Sprintf("%s-%d.png", name, i+1)
		}
		if err := writeResult(d.env, file, func(w io.Writer) error { return code.PNG(w, 6) }); err != nil {
			return err
		}
		if _, err := fmt.Fprintf(d.env.out, sayCodes, file); err != nil {
			return written(err)
		}
	}
	return nil
}
