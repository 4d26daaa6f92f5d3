package gs1

// Mark returns the one text by which a plant's records name what a text names: a
// GS1 key with brackets, whatever form it came in, and any other text as it is.
// place says that the text names a location or a party, not product. The error is
// an *Error, of a text that is plainly meant as a GS1 key and breaks a rule.
//
// Bare digits that may be the number of an item name no lot, and one in ten of a
// plant's own numbers has a right check digit by chance: they stay the plant's
// own, but for fourteen that begin with a zero, which nobody writes who does not
// mean an item. Thirteen in the name of a place are a GLN, whose check digit is
// made in the same way.
func Mark(text string, place bool) (string, error) {
	k, ok, err := Recognise(text)
	if err != nil {
		return "", err
	}
	if !ok {
		return text, nil
	}
	if k.Kind == GTIN && len(text) <= 14 && allDigits(text) { // sixteen and more are a scan
		switch {
		case place && len(text) == 13:
			k = Key{Kind: GLN, Number: text}
		case len(text) < 14 || text[0] != '0':
			return text, nil
		}
	}
	return k.Message().Format(Bracketed)
}
