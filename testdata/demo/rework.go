package demo

import (
	"strconv"
	"time"
)

const (
	reworkKilograms = 60
	fillingFresh    = 340 // of another lot, in the same bowl
	filling         = reworkKilograms + fillingFresh
)

// rework turns a part of one lot in doubt, with a good lot, into pie filling,
// which is cooked again, packed into two lots of trays and partly sold, all on
// the Saturday before anybody knows.
func (p *plant) rework() {
	doubtful := p.storyLot(reworkedLot)
	fresh := p.lotMade(at(reworkDay-1, 13, 0)) // cooked on the day before with a good probe
	bowl := p.follow("RW-0829-1", "pie-filling", at(reworkDay, 9, 0), filling)
	bowl.line, bowl.probe = reworkLine, goodProbe
	bowl.readings = []float64{172.4, 171.8, 173.0, 172.1}
	bowl.stay("cold-2", bowl.made.Add(chillTime), at(reworkDay, 14, 0))
	p.transform("TR-1", at(reworkDay, 8, 0), doubtful, bowl, reworkKilograms)
	p.transform("TR-1", at(reworkDay, 8, 0), fresh, bowl, fillingFresh)

	sold := p.follow("PK-0829-1", "school-trays", at(reworkDay, 14, 0), 240)
	part := p.follow("PK-0829-2", "deli-trays", at(reworkDay, 14, 30), 160)
	p.transform("TR-2", sold.made, bowl, sold, sold.kilograms)
	p.transform("TR-3", part.made, bowl, part, part.kilograms)
	sold.stay(dispatchDock, sold.made, at(reworkDay, 16, 0))
	part.stay("cold-2", part.made, time.Time{})
	p.shipment(sold, sold.kilograms, at(reworkDay, 16, 0), "Marrowby Schools Larder")
	p.shipment(part, 60, at(reworkDay, 16, 0), "Pellin and Tarn Deli")
}

// follow adds a lot that is made of others. Where it goes is told by its maker.
func (p *plant) follow(code, product string, made time.Time, kilograms int) *batch {
	b := &batch{code: code, product: product, made: made, kilograms: kilograms, left: kilograms}
	p.lots = append(p.lots, b)
	return b
}

func (p *plant) transform(event string, when time.Time, from, to *batch, kilograms int) {
	n := strconv.Itoa(kilograms)
	p.transformations = append(p.transformations, []string{event, stamp(when), from.code, n, to.code, n, "kg"})
	from.left -= kilograms
}

// storyLot returns the n-th lot that the failed probe vouched for in the story.
func (p *plant) storyLot(n int) *batch {
	for _, b := range p.lots {
		if b.probe != failedProbe || !inStory(b.made) {
			continue
		}
		if n == 0 {
			return b
		}
		n--
	}
	return nil
}

func (p *plant) lotMade(when time.Time) *batch {
	for _, b := range p.lots {
		if b.made.Equal(when) {
			return b
		}
	}
	return nil
}
