package gs1

// CheckDigit returns the digit that belongs behind digits, false if they are not
// all digits.
//
//	c = (10 − Σ wᵢ·dᵢ mod 10) mod 10
//
// dᵢ the digits [1], wᵢ = 3, 1, 3, 1 … from the right.
// Range: any length; GTIN-8 to SSCC-18 alike, since leading zeros add nothing.
// Assumptions: none. It finds every single wrong digit, and a swap of
// neighbours unless they differ by 5.
// Source: GS1 General Specifications, "Standard check digit calculations".
// Departures: none. Checked against: the published keys in digit_test.go.
func CheckDigit(digits string) (byte, bool) {
	sum := 0
	for i := range len(digits) {
		c := digits[len(digits)-1-i]
		if !isDigit(c) {
			return 0, false
		}
		sum += int(c-'0') * (3 - 2*(i%2))
	}
	return byte('0' + (10-sum%10)%10), len(digits) > 0
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }

func allDigits(s string) bool {
	for i := range len(s) {
		if !isDigit(s[i]) {
			return false
		}
	}
	return s != ""
}

// inSet82 says whether c may stand in an alphanumeric value: GS1 character set
// 82, the part of ISO/IEC 646 that no country replaces.
func inSet82(c byte) bool {
	switch {
	case isDigit(c), c >= 'A' && c <= 'Z', c >= 'a' && c <= 'z':
		return true
	}
	switch c {
	case '!', '"', '%', '&', '\'', '(', ')', '*', '+', ',', '-', '.', '/', ':', ';', '<', '=', '>', '?', '_':
		return true
	}
	return false
}
