package document

import "lastgood/policy/disposition"

// regimes reads regimes: [9_cfr_417], the rules that govern the site's limits and
// so what may become of product that missed one.
func (r *reader) regimes(top map[string]field, p *Policy) {
	f, ok := top["regimes"]
	if !ok {
		return
	}
	var words []string
	for _, n := range disposition.Notes() {
		words = append(words, string(n.Regime))
	}
	for _, item := range r.items(f) {
		if w, ok := r.word(item, words...); ok {
			p.Regimes = append(p.Regimes, disposition.Regime(w))
		}
	}
}

// MayBeToxin says whether a hazard is a toxin, or nobody said that it is none.
func (p *Policy) MayBeToxin(hazard string) bool {
	toxin, said := p.toxins[hazard]
	return toxin || !said
}
