package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"lastgood/policy/catalogue"
)

// limitsCmd lists the ready-made limits that a policy may name, or shows one.
type limitsCmd struct {
	Name string `arg:"" optional:"" help:"A ready-made limit; without it all are listed."`
	JSON bool   `name:"json" help:"Print JSON."`
}

// quoted stands under everything the command prints.
const quoted = "These figures are quoted. The cited edition and the plant's process authority decide what applies to a product."

// limitItem is one ready-made limit in JSON.
type limitItem struct {
	Name       string           `json:"name"`
	Title      string           `json:"title"`
	Kind       string           `json:"kind"`
	Parameters []limitParameter `json:"parameters"`
	YouWrite   []string         `json:"you_write"` // the parameters that are the plant's own
	Citation   string           `json:"citation"`
	Edition    string           `json:"edition"`
	Section    string           `json:"section"`
	FromMemory bool             `json:"from_memory"`
	Confidence string           `json:"confidence"`
	Note       string           `json:"note"`
	Caution    string           `json:"caution"`
	Rows       []string         `json:"rows"`
}

// limitParameter has a value, or rows where it is a table.
type limitParameter struct {
	Name  string     `json:"name"`
	Value string     `json:"value,omitempty"`
	Rows  [][]string `json:"rows,omitempty"`
}

// Run prints the catalogue or one of its entries. It needs no database.
func (c *limitsCmd) Run(g *globals) error {
	if c.Name == "" {
		return c.list(g)
	}
	e, err := catalogue.Find(c.Name)
	if err != nil {
		return usage{err}
	}
	if c.JSON {
		return printJSON(g, map[string]any{"limit": itemOf(e), "caution": quoted})
	}
	p := &printer{w: g.out}
	p.readyMade(e)
	p.line("\n%s", quoted)
	return p.err
}

func (c *limitsCmd) list(g *globals) error {
	var items []limitItem
	for _, name := range catalogue.Names() {
		e, err := catalogue.Find(name)
		if err != nil {
			return err
		}
		items = append(items, itemOf(e))
	}
	if c.JSON {
		return printJSON(g, map[string]any{"limits": items, "caution": quoted})
	}
	w := tabwriter.NewWriter(g.out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "NAME\tKIND\tWHAT")
	for _, i := range items {
		what := i.Title
		if i.FromMemory {
			what += " (from memory, to be confirmed)"
		}
		fmt.Fprintf(w, "%s\t%s\t%s\n", i.Name, i.Kind, what)
	}
	if err := w.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintf(g.out, "\n%d ready-made limits; lastgood limits NAME shows one. %s\n", len(items), quoted)
	return err
}

func itemOf(e catalogue.Entry) limitItem {
	i := limitItem{
		Name: e.Name, Title: e.Title, Kind: e.Kind.Name, Parameters: []limitParameter{}, YouWrite: []string{},
		Citation: e.Citation, Edition: e.Edition, Section: e.Section, FromMemory: e.FromMemory, Confidence: e.Confidence,
		Note: e.Note, Caution: e.Caution, Rows: e.Rows,
	}
	for _, p := range e.Parameters {
		i.Parameters = append(i.Parameters, limitParameter(p))
	}
	for _, p := range e.Open() {
		i.YouWrite = append(i.YouWrite, p.Name)
	}
	return i
}

// readyMade prints one entry: what it asks, how to use it, where it comes from.
func (p *printer) readyMade(e catalogue.Entry) {
	p.line("%s\n%s\n\nkind: %s", e.Name, e.Title, e.Kind.Name)
	for _, x := range e.Parameters {
		if x.Rows == nil {
			p.line("%s: %s", x.Name, x.Value)
			continue
		}
		p.line("%s:", x.Name)
		for _, r := range x.Rows {
			p.line("  [%s]", strings.Join(r, ", "))
		}
	}
	p.line("\nIn policy.yaml:\n  - {limit: a-name-of-yours, use: %s%s}", e.Name, ownParameters(e))
	if ownParameters(e) != "" {
		p.line("max_gap is yours: how far apart readings may be and still be one record.")
	}
	p.line("\nsource: %s", source(e))
	if e.FromMemory {
		p.line("from memory: figures were recalled and not seen; confirm them in the source before use")
	}
	p.line("confidence: %s", e.Confidence)
	if e.Note != "" {
		p.line("note: %s", e.Note)
	}
	if e.Caution != "" {
		p.line("caution: %s", e.Caution)
	}
	p.line("rows: %s", strings.Join(e.Rows, ", "))
}

// ownParameters is what the plant has to write besides, with a value to replace.
func ownParameters(e catalogue.Entry) string {
	_, countsTime := e.Values.Duration["allow.total"]
	for _, o := range e.Open() {
		if o.Name == "max_gap" && (o.Required || countsTime) {
			return ", max_gap: 1m"
		}
	}
	return ""
}

func source(e catalogue.Entry) string {
	parts := []string{e.Citation}
	for _, s := range []string{e.Edition, e.Section} {
		if s != "" {
			parts = append(parts, s)
		}
	}
	return strings.Join(parts, "; ")
}
