package main

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strconv"

	"github.com/go-json-experiment/json"

	"lastgood/api"
	"lastgood/api/exchange"
)

// importCmd loads a case folder into a running installation, over its API.
type importCmd struct {
	Dir string `arg:"" help:"The case folder." type:"path"`
	URL string `name:"url" default:"http://127.0.0.1:8080" help:"Where the installation serves."`
	Key string `required:"" env:"LASTGOOD_KEY" help:"A key of the plant, with all write scopes."`
}

// importOrder is the data files in the order in which they may refer to each
// other. Events and checks come last, in one go.
var importOrder = []string{"instruments", "certificates", "clock_offsets", "products", "lots", "locations", "mountings", "stays", "cleanouts", "transformations", "shipments"}

// Run imports the folder. The same folder again changes nothing.
func (c *importCmd) Run(g *globals) error {
	folder, problems := exchange.Read(c.Dir)
	for _, w := range folder.Warnings {
		fmt.Fprintln(g.err, "warning:", w)
	}
	problems = append(problems, policyProblems(folder)...)
	if len(problems) > 0 {
		g.code = exitBad
		return printProblems(g, problems, "nothing was imported", false)
	}
	i := &importer{g: g, client: &client{base: c.URL, key: c.Key, http: http.DefaultClient}, dir: c.Dir, bar: newBar(g.err, folder)}
	err := i.all(folder)
	i.bar.Finish()
	var bad *refusedRows
	if errors.As(err, &bad) {
		g.code = exitBad
		return printProblems(g, bad.problems, "the import stopped there; mend the rows and import again", false)
	}
	return err
}

type importer struct {
	g      *globals
	client *client
	dir    string
	bar    *bar
}

// refusedRows is what the server found wrong, by the rows of the folder.
type refusedRows struct{ problems []exchange.Problem }

func (r *refusedRows) Error() string { return fmt.Sprintf("%d rows were refused", len(r.problems)) }

func (i *importer) all(f *exchange.Folder) error {
	if err := i.policy(f.PolicyText); err != nil {
		return fmt.Errorf("policy: %w", err)
	}
	for _, name := range importOrder {
		if err := i.table(name); err != nil {
			return err
		}
	}
	if err := i.readings(f); err != nil {
		return fmt.Errorf("readings: %w", err)
	}
	return i.happenings()
}

// policy puts the policy of the folder in force, if the plant has none or has this
// one; else it proposes it, and what is in force goes on deciding until two people
// have signed.
func (i *importer) policy(text []byte) error {
	_, err := i.client.send(i.g.ctx, http.MethodPut, "/v1/policy", "application/yaml", text)
	var p *api.Problem
	if !errors.As(err, &p) || p.Rule != "precondition-required" {
		return err
	}
	tag, err := i.client.tag(i.g.ctx, "/v1/policy")
	if err != nil {
		return err
	}
	b, err := i.client.do(i.g.ctx, http.MethodPut, "/v1/policy", bytes.NewReader(text), "Content-Type", "application/yaml", "If-Match", tag)
	if err != nil {
		return err
	}
	var d api.DraftBody
	if err := json.Unmarshal(b, &d); err != nil {
		return err
	}
	if d.Draft == 0 { // somebody else put the same in force meanwhile
		return nil
	}
	fmt.Fprintf(i.g.out, "policy: the folder's differs from version %d, which is in force and goes on deciding; draft %d waits for two signatures\n  %s/v1/policy/drafts/%d\n",
		d.BasedOn, d.Draft, i.client.base, d.Draft)
	return nil
}

// maxItems and maxBytes bound one request.
const (
	maxItems = 5000
	maxBytes = 900_000
)

// table sends a data file in batches.
func (i *importer) table(name string) error {
	objects := exchange.Objects(i.dir, name)
	added, unchanged := 0, 0
	for len(objects) > 0 {
		n, size := 0, 0
		for n < len(objects) && n < maxItems && (n == 0 || size+len(objects[n].JSON) < maxBytes) {
			size += len(objects[n].JSON) + 1
			n++
		}
		var said api.CountsBody
		err := i.client.post(i.g.ctx, "/v1/"+name, map[string]any{"items": texts(objects[:n])}, &said)
		if err != nil {
			return located(err, map[string][]exchange.Object{"items": objects[:n]})
		}
		added, unchanged = added+said.Accepted, unchanged+said.Unchanged
		i.warnAside(said.Quarantined, objects[:n])
		objects = objects[n:]
	}
	if added+unchanged > 0 {
		fmt.Fprintf(i.g.out, "%s: %d new, %d unchanged\n", name, added, unchanged)
	}
	return nil
}

// warnAside names rows that the server put aside.
func (i *importer) warnAside(aside []api.AsideBody, objects []exchange.Object) {
	for _, q := range aside {
		at := whereabouts(api.Fault{Location: q.Location, Rule: q.Rule, Detail: q.Detail}, map[string][]exchange.Object{"items": objects})
		fmt.Fprintf(i.g.err, "warning: %s; it is in quarantine as number %d, and its lots are held\n", at.Error(), q.ID)
	}
}

func texts(objects []exchange.Object) []any {
	list := make([]any, len(objects))
	for n, o := range objects {
		list[n] = o.JSON
	}
	return list
}

// happenings sends events and checks in one request, so that containment sees
// all of them.
func (i *importer) happenings() error {
	events, checks := exchange.Objects(i.dir, "events"), exchange.Objects(i.dir, "checks")
	var said api.HappenedBody
	err := i.client.post(i.g.ctx, "/v1/happenings", map[string]any{"events": texts(events), "checks": texts(checks)}, &said)
	if err != nil {
		return located(err, map[string][]exchange.Object{"events": events, "checks": checks})
	}
	fmt.Fprintf(i.g.out, "events and checks: %d deviations opened\n", len(said.Opened))
	if len(said.Cascades) == 0 {
		return nil
	}
	fmt.Fprintf(i.g.out, "%d cascades wait: what was checked against instruments that fell is held; look at each, and let somebody else confirm it\n", len(said.Cascades))
	for _, id := range said.Cascades {
		fmt.Fprintf(i.g.out, "  %s/v1/cascades/%d\n", i.client.base, id)
	}
	return nil
}

// readings sends the readings file as it is.
func (i *importer) readings(f *exchange.Folder) error {
	name := f.ReadingsFile()
	file, err := os.Open(filepath.Join(i.dir, name))
	if err != nil {
		return err
	}
	defer file.Close()
	// A batch of its own each time: what is there already is then told as such.
	said, err := i.client.upload(i.g.ctx, "import-"+rand.Text(), name, &progress{file, i.bar, 0})
	if err != nil {
		return err
	}
	fmt.Fprintf(i.g.out, "readings: %d new, %d unchanged\n", said.AcceptedRows, lineCount(said.Duplicates))
	var odd []exchange.Problem
	for _, r := range said.Quarantined {
		odd = append(odd, exchange.Problem{File: name, Line: r.Line, Column: r.Field, Rule: r.Rule, Detail: r.Detail})
	}
	warnQuarantined(i.g, odd)
	var bad []exchange.Problem
	for _, r := range said.Refused {
		bad = append(bad, exchange.Problem{File: name, Line: r.Line, Column: r.Field, Rule: r.Rule, Detail: r.Detail})
	}
	if len(bad) > 0 {
		return &refusedRows{bad}
	}
	return nil
}

// lineCount counts the lines of ranges.
func lineCount(ranges [][2]int) (n int) {
	for _, r := range ranges {
		n += r[1] - r[0] + 1
	}
	return n
}

// progress shows how much of a file was sent.
type progress struct {
	io.Reader
	bar  *bar
	sent int64
}

// Read counts what it hands on.
func (p *progress) Read(b []byte) (int, error) {
	n, err := p.Reader.Read(b)
	p.sent += int64(n)
	p.bar.Set(p.sent)
	return n, err
}

// place is where a fault of the server lies: body.items[3].points[1].found.
var place = regexp.MustCompile(`^body\.(\w+)\[(\d+)\](?:\.points\[(\d+)\])?(?:\.(.+))?$`)

// located turns the places of a refusal into files, lines and columns.
func located(err error, lists map[string][]exchange.Object) error {
	var p *api.Problem
	if !errors.As(err, &p) {
		return err
	}
	out := &refusedRows{}
	for _, f := range p.Errors {
		out.problems = append(out.problems, whereabouts(f, lists))
	}
	if len(out.problems) == 0 {
		return err
	}
	return out
}

// whereabouts turns the place of one fault into file, line and column.
func whereabouts(f api.Fault, lists map[string][]exchange.Object) exchange.Problem {
	at := exchange.Problem{Rule: f.Rule, Detail: f.Detail, Column: f.Location}
	if m := place.FindStringSubmatch(f.Location); m != nil {
		index, _ := strconv.Atoi(m[2])
		if objects := lists[m[1]]; index < len(objects) {
			part, _ := strconv.Atoi(m[3])
			o := objects[index]
			at.File, at.Line, at.Column = o.File, o.Lines[min(part, len(o.Lines)-1)], m[4]
		}
	}
	return at
}
