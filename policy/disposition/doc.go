// Package disposition says what may become of a portion in doubt, on what
// evidence, and who signs for it; and which two things in one history one person
// may not have done.
//
// A portion that met its limit after correction may go any way. One that may have
// missed it, or of which nothing can be said, may be worked over, diverted or
// destroyed, and is released only on evidence that does not hang on the
// thermometer in doubt: a second checked instrument on the same product, a
// validated step downstream, or the evaluation of a process authority or a
// qualified person. One that missed it is not released, except on a signed
// scientific evaluation of a kind that the regime over it accepts. A test of the
// finished product never releases anything by itself, because contamination is
// uneven and samples miss it; neither does a score or a level, which only order
// work and say how many sign. What has left is retrieved and then decided on a
// second time.
//
// Everything here is a table: rules.go (what each verdict allows), regime.go
// (what a regime adds), signers.go (who signs) and pairs.go (what one person may
// not do twice). testdata/golden/disposition_matrix.txt writes the tables out for
// a quality manager.
//
// Sources: what must be evaluated and kept out of commerce, 21 CFR
// 117.150(a)(2)(iii) and (iv), 9 CFR 417.3(b); low-acid and acidified food, 21 CFR
// 113.89 and 114.89; canned meat, 9 CFR 431.9; product that touched Listeria, 80
// FR 35178 (9 CFR 430.4); a batch of which a part is unsafe, Reg. (EC) 178/2002
// art. 14(6). The tables themselves are the design notes on the procedure, §6 and
// §7, and the design notes on signing, §6 (S-1 to S-10). Where a row says common
// practice, no rule of law stands behind it.
//
// The tool says what the tables say; a qualified person decides.
package disposition
