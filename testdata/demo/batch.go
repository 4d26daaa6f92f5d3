package demo

import (
	"fmt"
	"strconv"
	"time"
)

// batch is one lot and what becomes of it.
type batch struct {
	code, product string
	made          time.Time
	from, until   time.Time // the span of a recorded process; zero at the oven
	kilograms     int
	left          int // of it, still in the plant

	probe    string    // the hand-held probe and
	line     string    // the oven; empty for a lot without readings of its own
	readings []float64 // °F, three minutes apart

	room           string // where it is kept until it is dispatched; empty: its maker says
	ready          time.Time
	orderedNextDay int       // kilograms that leave on the next morning
	daysToDispatch int       // and the rest after so many days
	heldFrom       time.Time // nothing leaves from then on; zero if never
	stays          [][]string
}

func (b *batch) row() []string {
	from, until := "", ""
	if !b.from.IsZero() {
		from, until = stamp(b.from), stamp(b.until)
	}
	return []string{b.code, b.product, stamp(b.made), from, until, strconv.Itoa(b.kilograms), "kg"}
}

// stay records where a lot was; a zero to means that it is still there.
func (b *batch) stay(location string, from, to time.Time) {
	end := ""
	if !to.IsZero() {
		end = stamp(to)
	}
	b.stays = append(b.stays, []string{b.code, location, stamp(from), end})
}

// held says whether the plant had stopped the lot by then.
func (b *batch) held(when time.Time) bool { return !b.heldFrom.IsZero() && !when.Before(b.heldFrom) }

// consignees are the plant's customers, all invented.
var consignees = []string{"Ostrel Grocers", "Marrowby Schools Larder", "Pellin and Tarn Deli",
	"Hask Lane Canteen", "Brindlecombe Wholesale", "Northquay Larders"}

func (p *plant) shipment(b *batch, kilograms int, when time.Time, consignee string) {
	code := fmt.Sprintf("SH-%04d", len(p.shipments)+1)
	p.shipments = append(p.shipments, []string{code, b.code, strconv.Itoa(kilograms), "kg", stamp(when), consignee})
	b.left -= kilograms
}

const (
	dockTime     = 2 * time.Hour // on the dispatch dock before the truck leaves
	dispatchHour = 15
)

// ship puts every lot into its room and sends it off in time, unless it is held
// by then or the story is over.
func (p *plant) ship() {
	for i, b := range p.lots {
		if b.room == "" {
			continue
		}
		day := int(b.made.Sub(at(0, 0, 0)) / (24 * time.Hour))
		if next := at(day+1, 6, 30); b.orderedNextDay > 0 && works(day+1) && !b.held(next) {
			p.shipment(b, b.orderedNextDay, next, consignees[i%len(consignees)])
		}
		leave := at(dispatchDay(day+b.daysToDispatch), dispatchHour, 0)
		if b.held(leave) || leave.After(end) {
			b.stay(b.room, b.ready, time.Time{})
			continue
		}
		b.stay(b.room, b.ready, leave.Add(-dockTime))
		b.stay(dispatchDock, leave.Add(-dockTime), leave)
		p.shipment(b, b.left, leave, consignees[(i+1)%len(consignees)])
	}
}

// dispatchDay is the day itself, or the Monday after it: no truck on Sunday.
func dispatchDay(day int) int {
	if works(day) {
		return day
	}
	return day + 1
}
