package api

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"lastgood/api/exchange"
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
	r := print.Report{Title: clean(fmt.Sprintf("Deviation %d of %s", p.Deviation.ID, p.Plant)), At: p.MadeAt,
		Foot: clean(fmt.Sprintf("%s · deviation %d · made %s · log of %d entries", p.Plant, p.Deviation.ID, p.MadeAt.UTC().Format(time.RFC3339), p.Checkpoint.Size)),
		Head: [][2]string{{"Instrument", p.Run.Instrument}, {"State", string(p.Deviation.State)}, {"Opened by", clean(p.Run.OpenedBy)},
			{"Failed at", p.When(p.Run.FailedAt)}, {"Trace run", strconv.Itoa(p.Run.Number)}, {"Policy version", strconv.Itoa(p.Run.PolicyVersion)},
			{"Lots in doubt", strconv.Itoa(len(p.Lots))}, {"Checkpoint", fmt.Sprintf("%d entries, root %x", p.Checkpoint.Size, p.Checkpoint.Root)}, {"Note", exchange.Caution}}}
	for _, t := range tables {
		s, err := reportSection(t, redact, clean)
		if err != nil {
			return nil, err
		}
		r.Sections = append(r.Sections, s)
	}
	r.Sections = append(r.Sections, print.ReportSection{Title: "What is not included", Notes: strings.Split(strings.TrimSpace(clean(missing)), "\n")})
	return r.PDF()
}

func reportSection(t packetTable, redact *packet.Redactor, clean func(string) string) (print.ReportSection, error) {
	s := print.ReportSection{Title: t.title, Notes: t.notes, Columns: t.Columns}
	rows := 0
	for row, err := range t.redacted(redact).Rows {
		if err != nil {
			return s, err
		}
		rows++
		if rows > mostPrinted {
			continue
		}
		line := make([]string, len(t.Columns))
		for i, c := range row {
			line[i] = clean(cellText(c))
		}
		s.Rows = append(s.Rows, line)
	}
	if rows > mostPrinted {
		s.Notes = append(append([]string{}, s.Notes...), fmt.Sprintf("%d rows, of which the first %d are printed: all stand in %s of this packet.", rows, mostPrinted, t.file()))
	}
	s.Columns, s.Rows = filled(s.Columns, s.Rows)
	return s, nil
}

// filled leaves out columns in which nothing stands, and times that stand in
// another column as they were at the plant: on paper they take the room of the
// others. The rest are named in words.
func filled(columns []string, rows [][]string) ([]string, [][]string) {
	var keep []int
	for i, c := range columns {
		if strings.HasSuffix(c, "_utc") {
			continue
		}
		for _, r := range rows {
			if r[i] != "" {
				keep = append(keep, i)
				break
			}
		}
	}
	if len(keep) == 0 {
		return columns, nil
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
	names := pick(columns)
	for i := range names {
		names[i] = strings.ReplaceAll(names[i], "_", " ")
	}
	return names, out
}

func cellText(c sheet.Cell) string {
	switch v := c.(type) {
	case nil:
		return ""
	case float64:
		return strconv.FormatFloat(v, 'g', 7, 64)
	case string:
		return v
	}
	return fmt.Sprint(c)
}
