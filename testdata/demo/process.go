package demo

import (
	"fmt"
	"time"
)

const (
	holdSeconds   = 2400 // a run of the pasteuriser, a reading every second
	retortMinutes = 60   // a load of the retort, a reading every minute
)

// pasteurise makes the lots of custard base: one run on Monday, Wednesday and
// Friday.
func (p *plant) pasteurise() {
	for day := range days {
		if day%7 != 0 && day%7 != 2 && day%7 != 4 {
			continue
		}
		from := at(day, 8, 30)
		until := from.Add(holdSeconds * time.Second)
		p.lots = append(p.lots, &batch{
			code: "PM-" + monthDay(day), product: "custard-base", made: until, from: from, until: until,
			kilograms: 1800, left: 1800, room: dessertRoom, ready: until.Add(20 * time.Minute), daysToDispatch: 2,
		})
	}
}

// retort makes the loads of canned beans: two a day.
func (p *plant) retort() {
	for day := range days {
		if !works(day) {
			continue
		}
		for load, hour := range []int{8, 13} {
			from := at(day, hour, 0)
			until := from.Add(retortMinutes * time.Minute)
			p.lots = append(p.lots, &batch{
				code: fmt.Sprintf("RT-%s-%d", monthDay(day), load+1), product: "bean-cans",
				made: until, from: from, until: until, kilograms: 900, left: 900,
				room: dryStore, ready: until.Add(time.Hour), daysToDispatch: 10,
			})
		}
	}
}
