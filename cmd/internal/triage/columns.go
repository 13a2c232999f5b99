package triage

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"unicode"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// The roles of columns; any other role is the id of a symptom or a given.
const (
	Serial    = "serial"
	Complaint = "complaint"
	Place     = "place"
	Unused    = "unused"
)

// headings are the words by which a column is known, its letters and digits alone.
var headings = map[string]string{
	"serial": Serial, "serialnumber": Serial, "serialno": Serial, "sn": Serial, "serialnr": Serial,
	"complaint": Complaint, "fault": Complaint, "faultdescription": Complaint, "description": Complaint, "symptom": Complaint, "symptoms": Complaint,
	"problem": Complaint, "reason": Complaint, "reasonforreturn": Complaint, "remarks": Complaint, "remark": Complaint, "comment": Complaint, "comments": Complaint, "error": Complaint,
	"place": Place, "location": Place, "site": Place, "drop": Place, "position": Place,
}

// telling are the words that tell a column's role where they stand among others, as in "Fault reported" or
// "Unit serial no."; quiet are those beside which they tell another thing, as in "Fault code".
var (
	telling = map[string]string{"complaint": Complaint, "complaints": Complaint, "fault": Complaint, "faults": Complaint, "symptom": Complaint, "symptoms": Complaint, "problem": Complaint, "defect": Complaint, "failure": Complaint, "serial": Serial}
	quiet   = []string{"code", "codes", "date", "day", "time", "id", "class", "category", "group", "type", "by", "count", "found", "cause", "old", "new", "other", "controller", "module", "not", "no-fault"}
)

// byWords is the role that a heading of at most four words has by one of them; "" none.
func byWords(name string) string {
	words := strings.FieldsFunc(strings.ToLower(name), func(r rune) bool { return !unicode.IsLetter(r) && r != '-' })
	role := ""
	for _, w := range words {
		if slices.Contains(quiet, w) {
			return ""
		}
		role = cmp.Or(role, telling[w])
	}
	if len(words) > 4 || role == Complaint && slices.ContainsFunc(words, func(w string) bool { return w == "no" || w == "nr" || w == "number" }) {
		return ""
	}
	return role
}

// columns are what the cells of a row are.
type columns struct {
	names []string // on one line; of several of one name each with its place among the columns
	roles []string
}

// readColumns gives every heading its role: by what was said, by its words, by an id.
func readColumns(base *rulebase.Base, headed []string, said map[string]string) (*columns, []string) {
	c := &columns{names: make([]string, len(headed)), roles: make([]string, len(headed))}
	plain, times := make([]string, len(headed)), map[string]int{}
	for i, name := range headed {
		plain[i] = oneLine(name)
		times[plain[i]]++
	}
	told := make([]bool, len(headed))
	met := map[string]bool{}
	for i, name := range plain {
		c.names[i], c.roles[i] = name, Unused
		if name != "" && times[name] > 1 {
			c.names[i] = sayOneOfColumns(name, i+1)
		}
		for _, as := range []string{name, c.names[i]} { // the narrower counts
			if role, ok := said[as]; ok {
				c.roles[i], told[i], met[as] = role, true, true
			}
		}
		if told[i] {
			continue
		}
		if role := headings[bare(name)]; role != "" {
			c.roles[i] = role
		} else if id := strings.ToLower(strings.NewReplacer(" ", "_", "-", "_").Replace(name)); findable(base, id) {
			c.roles[i] = id
		}
	}
	for i, name := range plain { // what is written out counts before what a word tells
		role := byWords(name)
		if told[i] || role == "" || c.roles[i] != Unused || role == Serial && slices.Contains(c.roles, Serial) {
			continue
		}
		c.roles[i] = role
	}
	var problems []string
	for name := range said {
		if !met[name] {
			problems = append(problems, sayNoHeading(name, source.Nearest(name, c.names), c.names))
		}
	}
	slices.Sort(problems)
	for i, role := range c.roles {
		if j := slices.Index(c.roles, role); j < i && role != Complaint && role != Unused {
			problems = append(problems, sayTwoColumns(c.names[j], c.names[i], role))
		}
	}
	if len(problems) == 0 && !slices.ContainsFunc(c.roles, func(r string) bool { return r == Complaint || findable(base, r) }) {
		problems = append(problems, sayNoComplaint(c.names))
	}
	return c, problems
}

// oneLine is a heading without the breaks and blanks that only lay it out.
func oneLine(heading string) string { return strings.Join(strings.Fields(heading), " ") }

// ReadRole checks HEADING=ROLE of a command line.
func ReadRole(base *rulebase.Base, text string) (heading, role string, err error) {
	i := strings.LastIndex(text, "=")
	if i <= 0 || i == len(text)-1 {
		return "", "", fmt.Errorf("%s", sayRoleForm)
	}
	heading, role = oneLine(text[:i]), strings.TrimSpace(text[i+1:])
	known := []string{Serial, Complaint, Place, Unused}
	if slices.Contains(known, role) || findable(base, role) {
		return heading, role, nil
	}
	for i := range base.Symptoms {
		known = append(known, base.Symptoms[i].ID)
	}
	for i := range base.Givens {
		known = append(known, base.Givens[i].ID)
	}
	return "", "", fmt.Errorf("%s", sayNoRole(role, source.Nearest(role, known)))
}

// findable says whether an id is that of a symptom or a given.
func findable(base *rulebase.Base, id string) bool {
	ref, ok := base.Lookup(id)
	return ok && (ref.Kind == rulebase.KindSymptom || ref.Kind == rulebase.KindGiven)
}

func bare(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			return unicode.ToLower(r)
		}
		return -1
	}, name)
}

// unused are the headings of columns that are not read.
func (c *columns) unused() []string {
	var all []string
	for i, role := range c.roles {
		if role == Unused && c.names[i] != "" {
			all = append(all, c.names[i])
		}
	}
	return all
}

// cell is the cell of a role that has one column.
func (c *columns) cell(fields []string, role string) string {
	if i := slices.Index(c.roles, role); i >= 0 {
		return strings.TrimSpace(fields[i])
	}
	return ""
}
