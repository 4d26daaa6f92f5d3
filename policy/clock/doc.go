// Package clock works out deadlines: so many elapsed hours, or so many days of a
// plant's calendar, with its holidays, its cut-off hour and its time zone. It
// knows no time and no zone by itself: both come as arguments. What an authority
// asks for is data and stands elsewhere.
package clock
