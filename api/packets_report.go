package api

import (
	"fmt"
	"slices"
	"strings"

	"lastgood/api/packet"
	"lastgood/api/print"
	"lastgood/api/sheet"
	"lastgood/workflow"
)

// mostPrinted bounds the rows of one table in the report. A hundred thousand
// readings on paper are read by nobody, and stand whole in the packet.
const mostPrinted = 1000

// notIncluded says what is not in the packet, and what it does not prove.
func notIncluded(p workflow.Packet, redacted bool) string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("What is not in this packet of deviation %d of %s, and what it does not prove", p.Deviation.ID, p.Plant)
	line("")
	line("- The log is proven up to the checkpoint of %d entries in checkpoint.txt. Entries without a leaf are newer, and nothing proves them yet: %s.", p.Checkpoint.Size, unproven(p))
	line("- That the checkpoint is the one that the plant showed to others is proven only by comparing it with one that was kept outside.")
	line("- Of these streams of the trail every entry is here: %s. Of the administration's only those that put a policy in force, or let the log go on from an older state. All other streams are left out.", strings.Join(p.Streams, ", "))
	line("- Readings that lie outside the window and belong to no lot in doubt, and readings of other instruments, except as the runs count them.")
	line("- readings.csv, the tables in sections/ and report.pdf are made from the database of this moment. That they are as they were made is proven by the manifest; that they agree with the trail is for a reader to check against entries.ndjson, records.json and the runs.")
	line("- report.pdf shows at most %d rows of a table; the file of the table has all.", mostPrinted)
	line("- Pages that the plant keeps on paper, and its food safety plan.")
	if !p.SameEvidence() && p.Run.Number > 0 {
		line("- Something arrived since run %d, and the deviation is due for another: the readings here include it, the verdicts do not.", p.Run.Number)
	}
	if !redacted {
		return b.String()
	}
	line("")
	line("This packet is redacted:")
	line("- Names of people, their codes and titles, and consignees are replaced by salted digests in the tables, the runs, the policy and the report. The plant keeps the salt.")
	line("- Entries of the trail that a person made or that name somebody are here as their hash alone: that they are in the log and in their place is proven; what they say, who made them and when is not.")
	line("- Records that name somebody are here as their digest alone. Who signed is not proven: the entries that tell of it are hidden.")
	line("- No evidence is here: nobody knows who is named in a paper. Its digests stand in the table of evidence.")
	line("- A file that a name was replaced in is not the one that the trail has the digest of.")
	line("- Names of fewer than three letters are replaced only where they stand in a column of names.")
	return b.String()
}

func unproven(p workflow.Packet) string {
	var list []string
	for _, e := range p.Entries {
		if e.Leaf == nil {
			list = append(list, fmt.Sprintf("%s #%d", e.Stream, e.Seq))
		}
	}
	if list == nil {
		return "none in this packet"
	}
	return strings.Join(list, ", ")
}

// packetReport draws the report for people.
func packetReport(p workflow.Packet, tables []packetTable, missing string, redact *packet.Redactor) ([]byte, error) {
	clean := func(s string) string {
		if redact != nil {
			return redact.Text(s)
		}
		return s
	}
	o := opening{p, redact}
	r := print.Report{Title: clean(fmt.Sprintf("Deviation %d of %s", p.Deviation.ID, p.Plant)), At: p.MadeAt,
		Foot: clean(fmt.Sprintf("%s · deviation %d · made %s · log of %d entries", p.Plant, p.Deviation.ID, p.When(p.MadeAt), p.Checkpoint.Size))}
	say := func(s string) string { return plain(clean(s), p.Zone) }
	for _, h := range o.head() {
		r.Head = append(r.Head, [2]string{h[0], say(h[1])})
	}
	for _, s := range o.sections() {
		r.Opening = append(r.Opening, said(s, say))
	}
	for _, t := range tables {
		s, err := reportSection(t, redact)
		if err != nil {
			return nil, err
		}
		r.Sections = append(r.Sections, said(s, say))
	}
	r.Sections = append(r.Sections, print.ReportSection{Title: "What is not included", Notes: strings.Split(strings.TrimSpace(say(missing)), "\n")})
	return r.PDF()
}

// said rewrites every text of a section.
func said(s print.ReportSection, say func(string) string) print.ReportSection {
	for _, row := range s.Rows {
		for i := range row {
			row[i] = say(row[i])
		}
	}
	s.Notes = slices.Clone(s.Notes)
	for i := range s.Notes {
		s.Notes[i] = say(s.Notes[i])
	}
	return s
}

func reportSection(t packetTable, redact *packet.Redactor) (print.ReportSection, error) {
	s := print.ReportSection{Title: t.title, Notes: t.notes, Heads: printings[t.Name].heads}
	n := 0
	var rows [][]sheet.Cell
	for row, err := range t.redacted(redact).Rows {
		if err != nil {
			return s, err
		}
		if t.Name == "summary" && (row[1] == nil || strings.HasSuffix(fmt.Sprint(row[0]), "_utc")) {
			continue // the time stands there as it was at the plant
		}
		if n++; n <= mostPrinted {
			rows = append(rows, slices.Clone(row))
		}
	}
	if n > mostPrinted {
		s.Notes = append(slices.Clone(s.Notes), fmt.Sprintf("%d rows, of which the first %d are printed: all stand in %s of this packet.", n, mostPrinted, t.file()))
	}
	s.Columns, s.Rows = printed(t.Name, t.Columns, rows)
	s.Columns, s.Rows = filled(s.Columns, s.Rows, s.Heads)
	return s, nil
}

// filled leaves out columns in which nothing stands, but not those that name a row.
func filled(columns []string, rows [][]string, heads int) ([]string, [][]string) {
	if len(rows) == 0 {
		return columns, nil
	}
	var keep []int
	for i := range columns {
		if i < heads || slices.ContainsFunc(rows, func(r []string) bool { return r[i] != "" }) {
			keep = append(keep, i)
		}
	}
	pick := func(from []string) []string {
		to := make([]string, len(keep))
		for i, k := range keep {
			to[i] = from[k]
		}
		return to
	}
	out := make([][]string, len(rows))
	for i, r := range rows {
		out[i] = pick(r)
	}
	return pick(columns), out
}
