package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// caseOptions are what somebody says of a case on the command line.
type caseOptions struct {
	rulebase   []string
	file       string // "": none; "-": the input
	given, see []string
	at, who    string
	tools      []string
	alone      bool
	confirmed  []string
	sheet      string
	sheetText  []byte // of the sheet that was read, for whoever keeps it
}

func addCaseFlags(cmd *cobra.Command, o *caseOptions) {
	f := cmd.Flags()
	addRulebase(cmd, &o.rulebase)
	addMany(f, &o.given, "given", "a given and its value, as `id=value`")
	addMany(f, &o.see, "see", "something seen, as `id=value`, with how sure as id=value@0.8")
	f.StringVar(&o.at, "at", "", "where you are: phone, field or bench (`PLACE`)")
	f.StringVar(&o.who, "who", "", "whose hands are on the equipment: operator, electrician, technician or engineer (`WHO`)")
	addMany(f, &o.tools, "tool", "a tool that is at hand (`ID`); none for bare hands")
	f.BoolVar(&o.alone, "alone", false, "nobody else is there")
	addMany(f, &o.confirmed, "confirmed", "a `WARNING` whose words were confirmed")
	f.StringVar(&o.sheet, "sheet", "", "the installation sheet of the line (`FILE`); a case may name its own")
}

// load opens the rulebase and reads the case: the file first, the command line after it.
func (o *caseOptions) load(ctx context.Context, env *environment) (*rulebase.Base, rulebase.Situation, error) {
	var s rulebase.Situation
	var text []byte
	var err error
	if o.file != "" {
		if text, err = env.read(ctx, o.file); err != nil {
			return nil, s, err
		}
	}
	base, err := env.open(o.rulebase)
	if err != nil {
		return nil, s, err
	}
	var problems []error
	if o.file != "" {
		if s, err = base.ReadCase(inputNamed(o.file), text); err != nil {
			problems = append(problems, err)
		}
	}
	problems = append(problems, o.add(base, &s)...)
	if err := o.laySheet(ctx, env, &s); err != nil {
		problems = append(problems, err)
	}
	return base, s, errors.Join(problems...)
}

// laySheet reads the sheet that the command line or the case names, and adds what
// it says. A case names it from its own folder.
func (o *caseOptions) laySheet(ctx context.Context, env *environment, s *rulebase.Situation) error {
	file := s.Sheet
	if file != "" && !filepath.IsAbs(file) && o.file != "" && o.file != "-" {
		file = filepath.Join(filepath.Dir(o.file), file)
	}
	if o.sheet != "" {
		file, s.Sheet = o.sheet, o.sheet
	}
	if file == "" {
		return nil
	}
	text, err := env.read(ctx, file)
	if err != nil {
		return err
	}
	paper, err := rulebase.ReadSheet(inputNamed(file), text, sheet.Kinds())
	if err != nil {
		return err
	}
	o.sheetText = text
	sheet.Lay(paper, s)
	return nil
}

// inputName stands for the standard input where a problem names its file.
const inputName = "standard input"

// inputNamed is a file as a problem names it.
func inputNamed(file string) string {
	if file == "-" {
		return inputName
	}
	return file
}

// add takes in what the flags say. It gives all that is wrong with them.
func (o *caseOptions) add(base *rulebase.Base, s *rulebase.Situation) []error {
	var problems []error
	wrong := func(flag, text string, err error) {
		says := strings.TrimPrefix(err.Error(), strconv.Quote(text)+": ")
		problems = append(problems, usageError{fmt.Sprintf(sayFlagValue, flag, text, says)})
	}
	for _, text := range o.given {
		g, err := base.ReadGiven(text)
		if err != nil {
			wrong("given", text, err)
		}
		s.Givens = append(s.Givens, g)
	}
	for _, text := range o.see {
		f, err := base.ReadSee(text)
		if err != nil {
			wrong("see", text, err)
		}
		s.Findings = append(s.Findings, f)
	}
	if o.at != "" {
		s.At = rulebase.Place(o.at)
		if err := oneOf(o.at, placeWords); err != nil {
			wrong("at", o.at, err)
		}
	}
	if o.who != "" {
		var ok bool
		if s.Who, ok = rulebase.WhoOf(o.who); !ok {
			wrong("who", o.who, oneOf(o.who, whoWords))
		}
	}
	for _, tool := range o.tools {
		if err := addTool(base, s, tool); err != nil {
			wrong("tool", tool, err)
		}
	}
	for _, id := range o.confirmed {
		if err := oneOf(id, warningIDs(base)); err != nil {
			wrong("confirmed", id, err)
		}
		s.Confirmed = append(s.Confirmed, id)
	}
	s.Alone = s.Alone || o.alone
	return problems
}

var (
	placeWords = []string{string(rulebase.Phone), string(rulebase.Field), string(rulebase.Bench)}
	whoWords   = []string{"operator", "electrician", "technician", "engineer"}
)

// addTool takes in a tool at hand. One that no step asks for is refused: it is
// a slip, and would silently keep steps back.
func addTool(base *rulebase.Base, s *rulebase.Situation, tool string) error {
	if s.Tools == nil {
		s.Tools = []string{}
	}
	if tool == bareHands {
		return nil
	}
	if err := oneOf(tool, toolIDs(base)); err != nil {
		return err
	}
	s.Tools = append(s.Tools, tool)
	return nil
}

// bareHands is the --tool of somebody who has none.
const bareHands = "none"

// oneOf says what is wrong with a word that is none of those known.
func oneOf(word string, known []string) error {
	if slices.Contains(known, word) {
		return nil
	}
	says := fmt.Sprintf(sayNotOneOf, strings.Join(known, ", "))
	if near := source.Nearest(word, known); near != "" {
		says = strings.TrimSpace(fmt.Sprintf(sayMeant, near))
	}
	return errors.New(says)
}

func warningIDs(base *rulebase.Base) []string {
	var ids []string
	for i := range base.Warnings {
		ids = append(ids, base.Warnings[i].ID)
	}
	return ids
}

// toolIDs are the tools that some step needs.
func toolIDs(base *rulebase.Base) []string {
	var ids []string
	for _, steps := range [][]rulebase.Step{base.Tests, base.Remedies} {
		for i := range steps {
			ids = append(ids, steps[i].Needs...)
		}
	}
	slices.Sort(ids)
	return slices.Compact(ids)
}
