package limit

import (
	"fmt"
	"math"
)

// quality says by how much an error in the harmless direction changed the
// product: nothing is held for it, and it may be overcooked, or frozen. It is
// empty where any error as found was harmful.
func (b *bracket) quality(c Criterion, m Measure) string {
	if b.inDoubt == 0 || !b.safeSide {
		return ""
	}
	_, was := distance(c.Harm())
	text := fmt.Sprintf("the product was up to %s K %s than recorded", figures(float64(b.safest)), was)
	if m.Recorded == nil || m.Corrected == nil || *m.Recorded == *m.Corrected || m.Unit == "C" {
		return text
	}
	text += fmt.Sprintf("; %s %s %s as recorded, %s corrected", m.Name, figures(*m.Recorded), m.Unit, figures(*m.Corrected))
	if *m.Recorded > 0 {
		text += ": " + figures(*m.Corrected / *m.Recorded) + " times as much"
	}
	return text
}

// figures returns a number for people, with three figures or all its whole ones.
func figures(v float64) string {
	if math.Abs(v) >= 100 {
		return fmt.Sprintf("%.0f", v)
	}
	return fmt.Sprintf("%.3g", v)
}
