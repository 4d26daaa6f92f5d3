package disposition

import (
	"slices"
	"strings"

	"lastgood/policy/limit"
	"lastgood/policy/sampling"
)

// Method names this way of deciding what is allowed; another table is another
// name.
const Method = "disposition/table@1"

// Option is one disposition and whether the portion may get it.
type Option struct {
	Disposition Disposition
	Allowed     bool
	Barred      bool   // no evidence allows it as things are
	Why         string // in sentences
	Needs       []Need // each of them; empty if barred
	Signers     []Signature
	Then        []Disposition // of Retrieve: what may become of it when it is back
}

// Need is evidence that a row of the table asks for: any one of these.
type Need struct {
	OneOf  []Evidence
	Met    bool
	Why    string
	Source string
}

// Allowed returns every disposition with whether a portion of that verdict may
// get it, what that needs and who signs, in the order of the trade.
func Allowed(v limit.Verdict, f Facts) []Option {
	v, f = settled(v, f)
	out := make([]Option, len(all))
	for i, d := range all {
		out[i] = option(d, v, f)
	}
	return out
}

func option(d Disposition, v limit.Verdict, f Facts) Option {
	o := Option{Disposition: d, Allowed: true}
	var bars, lacks, meets []string
	for _, r := range applying(d, v, f) {
		if r.bars {
			o.Barred = true
			bars = append(bars, r.why+" ("+r.source+")")
			continue
		}
		n := Need{r.oneOf, slices.ContainsFunc(r.oneOf, f.has), r.why, r.source}
		o.Needs = append(o.Needs, n)
		o.Allowed = o.Allowed && n.Met
		if n.Met {
			meets = append(meets, "attached: "+n.words(f))
		} else {
			lacks = append(lacks, "needs "+n.words(f)+": "+r.why+" ("+r.source+")")
		}
	}
	switch {
	case o.Barred:
		o.Allowed, o.Needs, o.Why = false, nil, sentences(bars)
		return o
	case !o.Allowed:
		o.Why = sentences(lacks)
	default:
		o.Why = sentences(append([]string{plainly(v)}, meets...))
	}
	if d == Release {
		o.Why += tested(f)
	}
	o.Signers = signers(o, f)
	if d == Retrieve {
		o.Then = second(v, f)
	}
	return o
}

// words lists the evidence of a need: what is attached if it is met, else all
// that would do.
func (n Need) words(f Facts) string {
	var list []string
	for _, e := range n.OneOf {
		if !n.Met || f.has(e) {
			list = append(list, string(e))
		}
	}
	if len(list) > 1 && !n.Met {
		return "one of " + strings.Join(list, ", ")
	}
	return strings.Join(list, ", ")
}

// plainly says why what is allowed is.
func plainly(v limit.Verdict) string {
	switch v {
	case limit.Met:
		return "the limit was met after correction"
	case limit.Missed:
		return "the limit was missed, and this is allowed for what missed it"
	case limit.Indeterminate:
		return "the limit may have been missed, and this is allowed for what may have missed it"
	}
	return "whether the limit was met is not known, and this is allowed for what may have missed it"
}

// tested says what tests of product are worth, where there are any.
func tested(f Facts) string {
	var b strings.Builder
	if slices.Contains(f.Evidence, ProductTest) || slices.ContainsFunc(f.Tests, accepted) {
		b.WriteString(" A test of the product passed; it supports other evidence and is never enough.")
	}
	for _, o := range f.Tests {
		if accepted(o) && o.LimitedTo != "" {
			b.WriteString(" It speaks only for " + o.LimitedTo + ".")
		}
	}
	return b.String()
}

func accepted(o sampling.Outcome) bool { return o.Decision == sampling.Accept }

// second lists what may become of retrieved product: every way that is not
// barred once it is back.
func second(v limit.Verdict, f Facts) []Disposition {
	f.Where = Retrieved
	var out []Disposition
	for _, d := range all {
		if o := option(d, v, f); !o.Barred {
			out = append(out, d)
		}
	}
	return out
}

// sentences joins reasons into sentences.
func sentences(reasons []string) string {
	for i, r := range reasons {
		reasons[i] = strings.ToUpper(r[:1]) + r[1:] + "."
	}
	return strings.Join(reasons, " ")
}
