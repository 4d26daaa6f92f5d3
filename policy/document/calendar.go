package document

import (
	"time"

	"lastgood/policy/clock"
)

// weekdays are the days of the week as a document writes them, by time.Weekday.
var weekdays = [7]string{"sun", "mon", "tue", "wed", "thu", "fri", "sat"}

// calendar reads calendar: {works: [mon, tue], closed: {2026-11-26: "holiday"},
// open: {…}, cut_off: 15h, closes: 17h}, when the plant works. Where it says
// nothing, Monday to Friday.
func (r *reader) calendar(top map[string]field, p *Policy) {
	p.plantDays = clock.Calendar{Works: clock.WorkingWeek, Closed: map[clock.Date]string{}, Open: map[clock.Date]string{}}
	f, ok := top["calendar"]
	if !ok {
		return
	}
	m := r.known(r.fields(f.value, f.path), "calendar", []string{"works", "closed", "open", "cut_off", "closes"})
	if w, ok := m["works"]; ok {
		r.works(w, &p.plantDays)
	}
	r.days(m, "closed", p.plantDays.Closed)
	r.days(m, "open", p.plantDays.Open)
	const lastHour = 24*time.Hour - time.Minute
	r.within(m, "cut_off", 0, lastHour, &p.plantDays.CutOff)
	r.within(m, "closes", 0, lastHour, &p.plantDays.Closes)
}

// works reads the working days of the week.
func (r *reader) works(f field, c *clock.Calendar) {
	was := len(r.problems)
	c.Works = [7]bool{}
	for _, item := range r.items(f) {
		s, ok := r.word(item, weekdays[:]...)
		for day, word := range weekdays {
			c.Works[day] = c.Works[day] || ok && word == s
		}
	}
	if c.Works == [7]bool{} && len(r.problems) == was {
		r.problem(f.value, f.path, "empty", "works is empty: a plant works on some day of the week, as in [mon, tue, wed, thu, fri]")
	}
}

// days reads days with why.
func (r *reader) days(m map[string]field, key string, into map[clock.Date]string) {
	f, ok := m[key]
	if !ok {
		return
	}
	for _, d := range r.fields(f.value, f.path) {
		at, err := time.Parse(time.DateOnly, d.key)
		if err != nil {
			r.problem(d.at, d.path, "bad-date", d.key+` is not a day: write 2026-11-26: "a reason"`)
			continue
		}
		if why, ok := r.text(d); ok {
			into[clock.DateOf(at)] = why
		}
	}
}

// Calendar returns when the plant works, in its time zone.
func (p *Policy) Calendar(zone *time.Location) clock.Calendar {
	c := p.plantDays
	c.Zone = zone
	return c
}
