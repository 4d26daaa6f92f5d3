package print

import (
	"slices"
	"strings"
)

// mostColumns is how many columns of a table can be read side by side on this
// paper. A wider one is drawn as a card for each row.
const mostColumns = 7

const (
	cardPoints = 8.5
	cardIndent = 3.0
)

// cards draws each row as a few lines under its name, which are its first
// columns: pairs of "label: value", two to a line where they fit.
func (p *page) cards(heads int, columns []string, rows [][]string) {
	heads = max(1, heads)
	for _, r := range rows {
		name := slices.DeleteFunc(slices.Clone(r[:heads]), func(s string) bool { return s == "" })
		p.room(4 * height(cardPoints))
		p.SetDrawColor(160, 160, 160)
		p.Line(margin, p.y, margin+textWide, p.y)
		p.y += 0.8
		p.line(9.5, "B", strings.Join(name, " · "))
		var pairs []string
		for i := heads; i < len(columns); i++ {
			if r[i] != "" {
				pairs = append(pairs, columns[i]+": "+r[i])
			}
		}
		p.pairs(pairs)
		p.y += 1.4
	}
}

// pairs draws texts two to a line; one that is wider than half a line has its own.
func (p *page) pairs(list []string) {
	const half = (textWide - cardIndent) / 2
	right := false // whether the left half of the line is taken
	end := func() {
		if right {
			p.y += height(cardPoints)
			right = false
		}
	}
	for _, text := range list {
		p.SetFont("sans", "", cardPoints)
		if text = clean(text); p.GetStringWidth(text) <= half-2 {
			p.room(height(cardPoints))
			x := margin + cardIndent
			if right {
				x += half
			}
			p.text(x, p.y, "", cardPoints, text)
			if right {
				p.y += height(cardPoints)
			}
			right = !right
			continue
		}
		end()
		for _, line := range p.lines(text, textWide-cardIndent) {
			p.room(height(cardPoints))
			p.text(margin+cardIndent, p.y, "", cardPoints, line)
			p.y += height(cardPoints)
		}
	}
	end()
}
