package truth

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"text/tabwriter"
)

// promised is the share of errors beyond one end of a bracket of k = 2, if they
// are normal: Φ(−2) (JCGM 100:2008, G.1.3, gives 95.45 % within both ends).
var promised = math.Erfc(2/math.Sqrt2) / 2

// Kept says whether a share of lots that missed and were called met keeps the
// promise of k = 2: not above it by more than twice its own binomial error.
func (s Share) Kept() bool {
	if s.Thermometers == 0 {
		return true
	}
	return s.Rate() <= promised+2*s.Error(promised)
}

// Broken lists the strata of a score that do not keep the promise.
func (s Score) Broken() []string {
	var out []string
	for name, x := range map[string]Share{"all lots that missed": s.FalseMet, "missed by less than 2u": s.Near,
		"at the edge of the bracket": s.Edge, "by thermometer": s.Deviations} {
		if !x.Kept() {
			out = append(out, fmt.Sprintf("%s: %.4f of %d lots of %d thermometers", name, x.Rate(), x.Of, x.Thermometers))
		}
	}
	slices.Sort(out)
	return out
}

// groupings are the ways in which scores are told together.
var groupings = []struct {
	name string
	of   func(Cell) string
}{
	{"limit", func(c Cell) string { return c.Kind }},
	{"onset", func(c Cell) string { return string(c.Onset) }},
	{"resolution", func(c Cell) string { return strconv.FormatFloat(c.Resolution, 'g', -1, 64) + " K" }},
	{"u of checks", func(c Cell) string { return strconv.FormatFloat(c.U, 'g', -1, 64) + " K" }},
	{"all", func(Cell) string { return "" }},
}

// Print tells scores by kind of limit, onset, resolution and uncertainty, and
// how far the probabilities can be believed.
func Print(w io.Writer, scores []Score) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "\t\tmissed\tcalled met\tnear\tcalled met\tedge\tcalled met\tmet\tcalled met\tbracket known\tcalled missed\tunknown")
	for _, g := range groupings {
		for _, s := range grouped(scores, g.of) {
			fmt.Fprintf(t, "%s\t%s\t%d\t%s\t%d\t%s\t%d\t%s\t%d\t%s\t%s\t%s\t%s\n", g.name, s.name,
				s.FalseMet.Of, percent(s.FalseMet), s.Near.Of, percent(s.Near), s.Edge.Of, percent(s.Edge),
				s.Cleared.Of, percent(s.Cleared), percent(s.Oracle), percent(s.FalseMissed), percent(s.Unknown))
		}
	}
	if err := t.Flush(); err != nil {
		return err
	}
	var all Score
	for _, s := range scores {
		all.Add(s)
	}
	fmt.Fprintf(w, "\nthermometers with a lot that missed and was called met: %s of %d\n", percent(all.Deviations), all.Deviations.Of)
	fmt.Fprintln(w, "near: lots that missed by less than 2u; edge: by next to nothing, while the error was the worst that it ever was;")
	fmt.Fprintln(w, "bracket known: what could be called met if both errors were known exactly. Lots of one thermometer share its error.")
	fmt.Fprintf(w, "promise of k = 2: at most %.3f %% of the lots that missed, and less than 2.5 %%\n", 100*promised)
	return printReliability(w, scores)
}

func percent(s Share) string {
	if s.Of == 0 {
		return "-"
	}
	return strconv.FormatFloat(100*s.Rate(), 'f', 2, 64) + " %"
}

type namedScore struct {
	name string
	Score
}

// grouped adds scores up by a property of their cells, in the order in which
// they come.
func grouped(scores []Score, of func(Cell) string) []namedScore {
	var out []namedScore
	for _, s := range scores {
		name := of(s.Cell)
		i := slices.IndexFunc(out, func(n namedScore) bool { return n.name == name })
		if i < 0 {
			out, i = append(out, namedScore{name: name}), len(out)
		}
		out[i].Add(s)
	}
	return out
}

// printReliability prints what was said beside what was so, by model.
func printReliability(w io.Writer, scores []Score) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, s := range grouped(scores, func(c Cell) string { return string(c.Onset) }) {
		if s.Lots() == 0 {
			continue
		}
		fmt.Fprintf(t, "\nprobability missed, %s\tlots\tsaid\twas\t\n", s.name)
		for i, b := range s.Bins {
			if b.Lots > 0 {
				fmt.Fprintf(t, "%.1f to %.1f\t%d\t%.3f\t%.3f\t\n", float64(i)/bins, float64(i+1)/bins, b.Lots,
					b.Said/float64(b.Lots), float64(b.Missed)/float64(b.Lots))
			}
		}
		n := float64(s.Lots())
		fmt.Fprintf(t, "Brier score\t%d\t%.4f\tbracket known\t%.4f\t\n", s.Lots(), s.Brier/n, s.Ideal/n)
	}
	return t.Flush()
}

// Sort puts scores in the order of Cells.
func Sort(scores []Score) {
	order := map[Cell]int{}
	for i, c := range Cells() {
		order[c] = i
	}
	slices.SortFunc(scores, func(a, b Score) int { return cmp.Compare(order[a.Cell], order[b.Cell]) })
}
