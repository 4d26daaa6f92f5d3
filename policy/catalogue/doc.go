// Package catalogue holds ready-made critical limits: the tables and pairs of
// times and temperatures that regulators and guides print, so that a plant can
// name one instead of typing it.
//
// A name is issuer, product and criterion in the trade's own words, as in
// fsis-cook-chicken-7-log-fat-5. Without a year it is the latest edition that
// was read. The figures are in the unit that the source is used in; where a
// source prints both and they are not the same temperature (57 C, 135 F) there
// is an entry for each, since a limit compares in its own unit.
//
// The catalogue quotes. What applies to a product is for the cited edition and
// the plant's process authority. So that nobody has to trust what was typed:
//
//   - every figure carries the id of its row in testdata/published/thermal, and
//     a test holds it to that row;
//   - a figure that was recalled and not seen makes its entry FromMemory, and
//     the text of the limit says so on every screen and report;
//   - rows of low confidence are not offered at all, nor are study results,
//     superseded texts of no use, and rules that no kind of limit can state
//     (a clock that starts at milking). The tests list each of them with why;
//   - what a time-temperature record cannot show (humidity, come-up time, a
//     content of nitrite) is a Note, and the text of the limit carries it.
//
// The poultry tables are printed for whole per cents of fat, and an entry is one
// of them. For a fat content between two a plant names the higher, which asks
// for as much or more; only from 1 % to 2 % do three rows (150 F and 151 F) fall,
// by the 6 s of the source's own rounding.
//
// A policy that was put in force is read again for years. An entry therefore
// never changes its figures: a new edition is a new name, and names are kept.
// testdata/frozen.txt holds every one to that.
package catalogue
