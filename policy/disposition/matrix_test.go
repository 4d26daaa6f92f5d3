package disposition

import (
	"flag"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"lastgood/policy/limit"
	"lastgood/policy/sampling"
)

var update = flag.Bool("update", false, "write the golden files anew")

// trailing is the blank end of a row of columns.
var trailing = regexp.MustCompile(` +\n`)

const goldenFile = "../../testdata/golden/disposition_matrix.txt"

// TestDispositionMatrix writes the tables out in a file that a quality manager
// can read and that a review sees change.
func TestDispositionMatrix(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString(`# What may become of a portion in doubt, and who signs. Written by the tests of policy/disposition.
# yes: allowed with what is attached; if: needs evidence that is not attached (section 1 says which, or the source of section 5);
# -: not allowed as things are, whatever is attached.
`)
	words(&b)
	byEvidence(&b)
	byRegime(&b)
	special(&b)
	regimeNotes(&b)
	whoSigns(&b)
	notOnePerson(&b)
	got := trailing.ReplaceAllString(b.String(), "\n")
	if *update {
		if err := os.WriteFile(goldenFile, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(goldenFile)
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), got); d != "" {
		t.Errorf("the matrix differs from %s (-update writes it):\n%s", goldenFile, d)
	}
}

// words says for each verdict and place what every disposition needs, or why it
// is not allowed, with nothing attached and no regime.
func words(b *strings.Builder) {
	b.WriteString("\n1. What each verdict allows, with nothing attached, by no regime of its own\n")
	for _, v := range verdicts {
		for _, place := range []Place{InControl, Shipped, Retrieved} {
			fmt.Fprintf(b, "\n%s, %s\n", v, place)
			for _, o := range Allowed(v, Facts{Where: place, Level: 1}) {
				fmt.Fprintf(b, "  %-10s %-4s %s\n", o.Disposition, cell(o), o.Why)
				if len(o.Then) > 0 {
					fmt.Fprintf(b, "  %-15s then, as its second disposition: %s\n", "", join(o.Then))
				}
			}
		}
	}
	b.WriteString("\nWhat the evidence has to be\n")
	for _, k := range kinds {
		fmt.Fprintf(b, "  %-22s %s\n", k.evidence, k.evidence.Means())
	}
}

func cell(o Option) string {
	switch {
	case o.Allowed:
		return "yes"
	case o.Barred:
		return "-"
	}
	return "if"
}

func join[T ~string](list []T) string {
	var out []string
	for _, s := range list {
		out = append(out, string(s))
	}
	return strings.Join(out, ", ")
}

// head writes the names of the dispositions above their columns.
func head(b *strings.Builder, first, second string) {
	fmt.Fprintf(b, "%-42s %-28s", first, second)
	for _, d := range all {
		fmt.Fprintf(b, " %-9s", d)
	}
	b.WriteString("\n")
}

func line(b *strings.Builder, first, second string, v limit.Verdict, f Facts) {
	fmt.Fprintf(b, "%-42s %-28s", first, second)
	for _, o := range Allowed(v, f) {
		fmt.Fprintf(b, " %-9s", cell(o))
	}
	b.WriteString("\n")
}

// byEvidence attaches one kind of evidence at a time.
func byEvidence(b *strings.Builder) {
	b.WriteString("\n2. One kind of evidence at a time, in the plant, by 9 CFR 417 (the last line: all of it)\n")
	head(b, "verdict", "attached")
	for _, v := range verdicts {
		f := Facts{Where: InControl, Level: 1, Regimes: []Regime{MeatPoultry}}
		line(b, string(v), "nothing", v, f)
		for _, k := range kinds {
			f.Evidence = []Evidence{k.evidence}
			line(b, string(v), string(k.evidence), v, f)
		}
		f.Evidence = everything()
		line(b, string(v), "all of it", v, f)
	}
}

// byRegime shows each regime with nothing and with everything attached.
func byRegime(b *strings.Builder) {
	b.WriteString("\n3. Regimes, in the plant, with nothing attached and with everything\n")
	head(b, "verdict", "regime, attached")
	for _, v := range verdicts[1:] {
		for _, g := range regimes {
			f := Facts{Where: InControl, Level: 1, Regimes: []Regime{g.regime}}
			line(b, string(v), string(g.regime)+", nothing", v, f)
			f.Evidence = everything()
			line(b, string(v), string(g.regime)+", everything", v, f)
		}
	}
}

// special shows the facts that change the table.
func special(b *strings.Builder) {
	b.WriteString("\n4. Facts that change the table, in the plant, by 9 CFR 417 and with everything attached unless it says so\n")
	head(b, "fact", "verdict")
	base := Facts{Where: InControl, Level: 1, Regimes: []Regime{MeatPoultry}, Evidence: everything()}
	for _, c := range []struct {
		name   string
		change func(*Facts)
	}{
		{"nothing special", func(*Facts) {}},
		{"a toxin may have formed", func(f *Facts) { f.Toxin = true }},
		{"the same, a step downstream alone", func(f *Facts) { f.Toxin, f.Evidence = true, []Evidence{DownstreamStep} }},
		{"touched Listeria monocytogenes", func(f *Facts) { f.ListeriaContact = true }},
		{"missed as recorded", func(f *Facts) { f.MissedAsRecorded = true }},
		{"missed as recorded, nothing attached", func(f *Facts) { f.MissedAsRecorded, f.Evidence = true, nil }},
		{"EU, others in doubt, nothing attached", func(f *Facts) { f.Regimes, f.OthersInDoubt, f.Evidence = []Regime{EU}, true, nil }},
		{"EU, others in doubt, everything attached", func(f *Facts) { f.Regimes, f.OthersInDoubt = []Regime{EU}, true }},
		{"a product test passed, nothing else", func(f *Facts) { f.Tests, f.Evidence = passed(), nil }},
		{"a product test rejected it", func(f *Facts) { f.Tests = tests(sampling.Reject) }},
		{"a product test has not decided", func(f *Facts) { f.Tests = tests(sampling.Undecided) }},
		{"it has left", func(f *Facts) { f.Where = Shipped }},
		{"it has come back", func(f *Facts) { f.Where = Retrieved }},
		{"nobody knows where it is", func(f *Facts) { f.Where = "" }},
		{"no regime", func(f *Facts) { f.Regimes = nil }},
		{"two regimes, 9 CFR 417 and 21 CFR 113", func(f *Facts) { f.Regimes = []Regime{MeatPoultry, LowAcidCanned} }},
	} {
		for _, v := range verdicts {
			f := base
			c.change(&f)
			line(b, c.name, string(v), v, f)
		}
	}
}

func regimeNotes(b *strings.Builder) {
	b.WriteString("\n5. What the regimes say, in our words\n")
	for _, n := range Notes() {
		accepts := "none known"
		if len(n.Accepts) > 0 {
			accepts = join(n.Accepts)
		}
		fmt.Fprintf(b, "  %-12s %s: %s.\n  %-12s Source: %s (%s). Accepts for what missed its limit: %s.\n", n.Regime, n.Name, n.Text, "", n.Source, n.Read, accepts)
	}
}

// whoSigns writes the signers of each disposition and level, in order.
func whoSigns(b *strings.Builder) {
	b.WriteString("\n6. Who signs, in this order (verdict indeterminate; of unknown, one level higher)\n")
	for _, scheduled := range []bool{false, true} {
		f := Facts{Evidence: []Evidence{SecondInstrument, ReceiverAcceptance}}
		if scheduled {
			b.WriteString("\nThe same by 9 CFR 431, under a scheduled process\n")
			f.Regimes, f.Evidence = []Regime{CannedMeat}, []Evidence{AuthorityReport, ReceiverAcceptance}
		}
		for _, d := range all {
			f.Where = InControl
			if d == Retrieve {
				f.Where = Shipped
			}
			from := 1
			for level := 1; level <= highest; level++ {
				f.Level = level
				now := seatsOf(f, d)
				f.Level++
				if level == highest || seatsOf(f, d) != now {
					fmt.Fprintf(b, "  %-10s %-12s %s\n", d, span(from, level), now)
					from = level + 1
				}
			}
		}
	}
	b.WriteString("\nWhat a signature means\n")
	seen := map[string]bool{}
	for _, s := range seats {
		l := fmt.Sprintf("  %-19s %-14s %s\n", s.role, s.deed, s.meaning)
		if !seen[l] {
			b.WriteString(l)
		}
		seen[l] = true
	}
}

func span(from, to int) string {
	if from == to {
		return fmt.Sprintf("level %d", from)
	}
	return fmt.Sprintf("level %d to %d", from, to)
}

// seatsOf lists who signs for one disposition.
func seatsOf(f Facts, d Disposition) string {
	var list []string
	for _, s := range get(limit.Indeterminate, f, d).Signers {
		list = append(list, fmt.Sprintf("%s (%s)", s.Role, s.Deed))
	}
	return strings.Join(list, ", ")
}

func notOnePerson(b *strings.Builder) {
	b.WriteString("\n7. What one person may not both do, over the whole history; a deputy's deed counts for the deputy and for whoever they stood in for\n")
	for _, p := range pairs {
		clause := p.clause
		if clause == "" {
			clause = "-"
		}
		fmt.Fprintf(b, "  %-27s %-6s %s | %s\n  %-34s %s; %s. Exception: %s. Source: %s.\n", p.rule, clause, join(p.first), join(p.second), "", p.why, p.where, p.exception, p.source)
	}
	b.WriteString("  What is proposed and approved to be destroyed or retrieved has a small plant's exception to S-2; every other disposition has none.\n")
}
