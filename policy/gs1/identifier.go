package gs1

import "slices"

// identifier is what is known of an application identifier.
type identifier struct {
	code     string
	last     string // the last code of a range; empty: none
	numeric  bool
	min, max int  // length of the value
	fixed    bool // of a length that every scanner knows: no separator follows
	check    int  // so many digits end in their check digit; 0: none do
	date     bool
	decimals bool // a fourth digit of the code counts the decimals
	needs    []string
}

// Those of which an item's lot, dates and measures say something: GTIN, content
// of a pallet, piece of an item, parts of an item.
var (
	ofItem    = []string{"01", "02", "8006", "8026"}
	ofGoods   = []string{"01", "02"}
	ofPallet  = []string{"00", "01"}
	ofOneItem = []string{"01", "8006"}
)

// identifiers are those that we read. 37 goes with 00 as well, but that may
// stand in the other bar code of the label.
var identifiers = []identifier{
	{code: "00", numeric: true, min: 18, max: 18, fixed: true, check: 18},
	{code: "01", numeric: true, min: 14, max: 14, fixed: true, check: 14},
	{code: "02", numeric: true, min: 14, max: 14, fixed: true, check: 14, needs: []string{"37"}},
	{code: "10", min: 1, max: 20, needs: ofItem},
	{code: "11", numeric: true, min: 6, max: 6, fixed: true, date: true, needs: ofItem},
	{code: "13", numeric: true, min: 6, max: 6, fixed: true, date: true, needs: ofItem},
	{code: "15", numeric: true, min: 6, max: 6, fixed: true, date: true, needs: ofItem},
	{code: "16", numeric: true, min: 6, max: 6, fixed: true, date: true, needs: ofItem},
	{code: "17", numeric: true, min: 6, max: 6, fixed: true, date: true, needs: ofItem},
	{code: "20", numeric: true, min: 2, max: 2, fixed: true, needs: ofItem},
	{code: "21", min: 1, max: 20, needs: ofOneItem},
	{code: "22", min: 1, max: 20, needs: []string{"01"}},
	{code: "240", min: 1, max: 30, needs: ofItem},
	{code: "241", min: 1, max: 30, needs: ofItem},
	{code: "254", min: 1, max: 20, needs: []string{"414"}},
	{code: "30", numeric: true, min: 1, max: 8, needs: ofGoods},
	{code: "310", last: "316", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofGoods},
	{code: "320", last: "329", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofGoods},
	{code: "330", last: "336", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofPallet},
	{code: "340", last: "349", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofPallet},
	{code: "357", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofGoods},
	{code: "360", last: "361", numeric: true, min: 6, max: 6, fixed: true, decimals: true, needs: ofGoods},
	{code: "37", numeric: true, min: 1, max: 8, needs: []string{"02", "8026"}},
	{code: "400", min: 1, max: 30},
	{code: "410", last: "417", numeric: true, min: 13, max: 13, fixed: true, check: 13},
	{code: "420", min: 1, max: 20},
	{code: "422", numeric: true, min: 3, max: 3, needs: ofItem},
	{code: "7003", numeric: true, min: 10, max: 10, needs: ofItem},
	{code: "7007", numeric: true, min: 6, max: 12, needs: ofItem},
	{code: "8003", min: 14, max: 30, check: 14},
	{code: "8004", min: 1, max: 30},
	{code: "8006", numeric: true, min: 18, max: 18, check: 14},
	{code: "8026", numeric: true, min: 18, max: 18, check: 14, needs: []string{"37"}},
}

// lookUp returns what is known of a code.
func lookUp(code string) (identifier, bool) {
	i := slices.IndexFunc(identifiers, func(a identifier) bool { return a.covers(code) })
	if i < 0 {
		return identifier{}, false
	}
	return identifiers[i], true
}

func (a identifier) covers(code string) bool {
	stem, last := code, a.last
	if a.decimals {
		if len(code) != 4 || code[3] < '0' || code[3] > '5' {
			return false
		}
		stem = code[:3]
	}
	if last == "" {
		last = a.code
	}
	return len(stem) == len(a.code) && stem >= a.code && stem <= last && allDigits(stem)
}

// leading returns the code that text begins with. No code begins another.
func leading(text string) (code string, a identifier, ok bool) {
	for n := 2; n <= min(4, len(text)); n++ {
		if a, ok := lookUp(text[:n]); ok {
			return text[:n], a, true
		}
	}
	return "", identifier{}, false
}
