//go:build linux

package scenarios

import (
	"fmt"
	"regexp"
	"strings"
)

// sentence is something that can be said. In its form {x} stands for one word, or
// for several in quotation marks, {amount} for a
// number, {x...} for the rest of the line; what stands in
// [ ] may be left out.
type sentence struct {
	form string
	does func(*story, words)
}

// words are what a line says where its sentence has {x}; empty: left out.
type words map[string]string

// line is one line of a story.
type line struct {
	number int
	text   string
	said   words
	does   func(*story, words)
}

// sentences are all that can be said.
var sentences = func() []sentence {
	var all []sentence
	for _, some := range [][]sentence{settings, facts, decisions, signings, expectations, corrections, closings, testings, recallings, furthers} {
		all = append(all, some...)
	}
	return all
}

var (
	hole   = regexp.MustCompile(`\\\{([a-z_]+)(\\\.\\\.\\\.)?\\\}`)
	option = regexp.MustCompile(`\\\[(.*?)\\\]`)
)

// pattern turns a form into a regular expression.
func pattern(form string) *regexp.Regexp {
	p := regexp.QuoteMeta(form)
	p = option.ReplaceAllString(p, `(?:$1)?`)
	p = hole.ReplaceAllStringFunc(p, func(h string) string {
		m := hole.FindStringSubmatch(h)
		switch {
		case m[2] != "":
			return `(?P<` + m[1] + `>.+)`
		case m[1] == "amount":
			return `(?P<` + m[1] + `>[0-9.]+)`
		}
		return `(?P<` + m[1] + `>"[^"]*"|[^\s"]+)`
	})
	return regexp.MustCompile(`^` + p + `$`)
}

// grammar is the patterns of all sentences, compiled once.
var grammar = func() (out []*regexp.Regexp) {
	for _, s := range sentences() {
		out = append(out, pattern(s.form))
	}
	return out
}

// parse reads a story. A line that begins with # is a remark.
func parse(text string) ([]line, error) {
	all, patterns := sentences(), grammar()
	var out []line
	for i, raw := range strings.Split(text, "\n") {
		said := strings.TrimSpace(raw)
		if said == "" || strings.HasPrefix(said, "#") {
			continue
		}
		l := line{number: i + 1, text: said}
		for n, p := range patterns {
			if m := p.FindStringSubmatch(said); m != nil && l.does == nil {
				l.does, l.said = all[n].does, words{}
				for k, name := range p.SubexpNames() {
					if name != "" {
						l.said[name] = strings.Trim(m[k], `"`)
					}
				}
			}
		}
		if l.does == nil {
			return nil, fmt.Errorf("%d: nobody understands %q; README.md says what can be said", i+1, said)
		}
		out = append(out, l)
	}
	return out, nil
}
