package gs1

import (
	"errors"
	"strings"
)

// Recognise tells a GS1 key from a plant's own code. A text that is plainly
// meant as a GS1 key and breaks a rule is an error, an *Error that names place
// and rule, with the right check digit where that is wrong. False without an
// error: any other text, which is the plant's own code and nobody's business.
//
// Plainly meant is what says so itself: brackets, separators or the sign of a
// scanner, a link to a GS1 key, an EPC urn, a scan of an item with more behind
// it, and the fourteen digits of a GTIN that was filled up with one zero or two.
// Other bare digits are a key if their check digit is right, and else the
// plant's own, as are digits that read as a date and time: lots are numbered so
// the world over. Thirteen bare digits may be a GTIN or a GLN and are read as a
// GTIN; eight are never read as one, dates being so much commoner.
func Recognise(text string) (Key, bool, error) {
	if allDigits(text) && len(text) <= 18 && len(text) != 16 {
		return bare(text)
	}
	sure := meant(text)
	if !sure && !looksScanned(text) && !leads(text) {
		return Key{}, false, nil
	}
	m, err := Parse(text)
	var e *Error
	switch {
	case errors.As(err, &e) && (sure || e.Rule == RuleCheckDigit && !plainNumber(text)):
		return Key{}, false, err
	case err != nil:
		return Key{}, false, nil
	}
	k, ok := m.Key()
	return k, ok, nil
}

// meant says whether a text says itself that it is GS1.
func meant(text string) bool {
	switch {
	case strings.HasPrefix(text, "("):
		code, _, closed := strings.Cut(text[1:], ")")
		a, known := lookUp(code)
		value := strings.TrimLeft(text[min(len(text), len(code)+2):], " ")
		return closed && known && (!a.numeric || len(value) >= 6 && allDigits(value[:6]))
	case isLink(text):
		host, _, _, _ := address(text)
		return host == strings.TrimPrefix(resolver, "https://")
	case strings.HasPrefix(text, epc):
		parts := strings.SplitN(text[len(epc):], ":", 3)
		return len(parts) == 3 && schemes[parts[0]+":"+parts[1]].ai != ""
	}
	for _, s := range symbologies {
		if strings.HasPrefix(text, s) {
			return true
		}
	}
	return strings.IndexByte(text, separator) >= 0
}

// looksScanned says whether a text begins as the scan of an item or a pallet
// does.
func looksScanned(text string) bool {
	n := map[string]int{"00": 20, "01": 16}[text[:min(2, len(text))]]
	return n > 0 && len(text) >= n && allDigits(text[:n]) && !filled(text[3:n]) && !readsAsTime(text[2:n])
}

// leads says whether a text is an address with a key in its path. A plant has
// addresses too, and numbers in them.
func leads(text string) bool {
	if !isLink(text) {
		return false
	}
	found, err := link(text)
	return err == nil && !(allDigits(found[0].Value) && readsAsTime(found[0].Value))
}

// plainNumber says whether a text may be a long number of the plant's own: no
// link, and nothing behind the first key.
func plainNumber(text string) bool {
	return !isLink(text) && len(text) <= map[bool]int{true: 20, false: 16}[strings.HasPrefix(text, "00")]
}

// filled says whether digits are filled up with so many zeros that no company
// can have issued them: no company prefix begins with seven.
func filled(digits string) bool { return strings.HasPrefix(digits, "0000000") }

// bare reads digits without anything that says what they are.
func bare(text string) (Key, bool, error) {
	kind := map[int]Kind{12: GTIN, 13: GTIN, 14: GTIN, 18: SSCC}[len(text)]
	if kind == "" || readsAsTime(text) || filled(text) || filled(text[1:]) {
		return Key{}, false, nil
	}
	k, err := ParseKey(kind, text)
	switch {
	case err == nil:
		return k, true, nil
	case len(text) == 14 && text[0] == '0' && !strings.HasPrefix(text, "000"):
		return Key{}, false, err
	}
	return Key{}, false, nil
}

// readsAsTime says whether digits read as a date, and a time of day as far as
// there are digits for it.
func readsAsTime(digits string) bool {
	for _, century := range []int{2, 0} {
		if century == 2 && !strings.HasPrefix(digits, "19") && !strings.HasPrefix(digits, "20") {
			continue
		}
		rest := digits[century:]
		if len(rest) < 8 || rest[4:6] == "00" {
			continue
		}
		if _, why := day(rest[:6], 2000); why != "" {
			continue
		}
		if rest = rest[6:]; pair(rest) < 24 && (len(rest) < 4 || pair(rest[2:]) < 60) && (len(rest) < 6 || pair(rest[4:]) < 60) {
			return true
		}
	}
	return false
}
