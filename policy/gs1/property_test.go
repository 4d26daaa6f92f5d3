package gs1_test

import (
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"lastgood/policy/gs1"
)

const set82 = `[!"%&'()*+,\-./0-9:;<=>?A-Z_a-z]`

// withDigit draws a key of n digits.
func withDigit(t *rapid.T, n int, name string) string {
	body := rapid.StringOfN(rapid.RuneFrom([]rune("0123456789")), n-1, n-1, -1).Draw(t, name)
	d, _ := gs1.CheckDigit(body)
	return body + string(d)
}

// anyMessage draws what a label may say.
func anyMessage(t *rapid.T) gs1.Message {
	var m gs1.Message
	text := func(ai string) {
		if rapid.Bool().Draw(t, "has "+ai) {
			m = append(m, gs1.Element{AI: ai, Value: rapid.StringMatching(set82+`{1,20}`).Draw(t, ai)})
		}
	}
	switch rapid.IntRange(0, 4).Draw(t, "kind") {
	case 0:
		m = append(m, gs1.Element{AI: "01", Value: withDigit(t, 14, "gtin")})
		text("10")
		text("21")
		text("240")
		if rapid.Bool().Draw(t, "has date") {
			m = append(m, gs1.Element{AI: "17", Value: rapid.StringMatching(`[0-9]{2}(0[1-9]|1[0-2])(0[0-9]|1[0-9]|2[0-8])`).Draw(t, "17")})
		}
		if rapid.Bool().Draw(t, "has weight") {
			m = append(m, gs1.Element{AI: rapid.StringMatching(`3[1-2]0[0-5]`).Draw(t, "ai"), Value: rapid.StringMatching(`[0-9]{6}`).Draw(t, "310n")})
		}
	case 1:
		m = append(m, gs1.Element{AI: "00", Value: withDigit(t, 18, "sscc")})
		text("400")
		if rapid.Bool().Draw(t, "has content") {
			m = append(m, gs1.Element{AI: "02", Value: withDigit(t, 14, "content")}, gs1.Element{AI: "37", Value: rapid.StringMatching(`[0-9]{1,8}`).Draw(t, "37")})
			text("10")
		}
	case 2:
		m = append(m, gs1.Element{AI: "414", Value: withDigit(t, 13, "gln")})
		text("254")
	case 3:
		m = append(m, gs1.Element{AI: "8003", Value: "0" + withDigit(t, 13, "grai") + rapid.StringMatching(set82+`{0,16}`).Draw(t, "serial")})
	case 4:
		m = append(m, gs1.Element{AI: "8004", Value: rapid.StringMatching(set82+`{1,30}`).Draw(t, "giai")})
	}
	return gs1.Message(rapid.Permutation([]gs1.Element(m)).Draw(t, "order"))
}

func TestEveryFormComesBack(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		m := anyMessage(t)
		key, _ := m.Key()
		for _, form := range []gs1.Form{gs1.Bracketed, gs1.Scanned, gs1.Linked} {
			text, err := m.Format(form)
			if err != nil {
				t.Fatalf("%v: %v", m, err)
			}
			got, err := gs1.Parse(text)
			if err != nil {
				t.Fatalf("%q of %v: %v", text, m, err)
			}
			if form == gs1.Linked {
				got, m = sorted(got), sorted(m)
			}
			if d := cmp.Diff(m, got); d != "" {
				t.Fatalf("%q:\n%s", text, d)
			}
			if k, ok := got.Key(); !ok || k != key {
				t.Fatalf("%q names %+v, not %+v", text, k, key)
			}
			alone, err := key.Message().Format(form)
			if err != nil {
				t.Fatalf("%+v: %v", key, err)
			}
			if again, err := gs1.Parse(alone); err != nil {
				t.Fatalf("%q of %+v: %v", alone, key, err)
			} else if k, _ := again.Key(); k != key {
				t.Fatalf("%q names %+v, not %+v", alone, k, key)
			}
		}
	})
}

func sorted(m gs1.Message) gs1.Message {
	m = slices.Clone(m)
	slices.SortFunc(m, func(a, b gs1.Element) int { return strings.Compare(a.AI, b.AI) })
	return m
}

// TestWrongDigitIsNamed: a key with any one digit wrong is refused, and the digit
// that it says is the one that is missing.
func TestWrongDigitIsNamed(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		right := withDigit(t, 14, "gtin")
		wrong := []byte(right)
		i := rapid.IntRange(0, 13).Draw(t, "place")
		wrong[i] = '0' + (wrong[i]-'0'+byte(rapid.IntRange(1, 9).Draw(t, "by")))%10
		_, _, err := gs1.Recognise("(01)" + string(wrong))
		want, _ := gs1.CheckDigit(string(wrong[:13]))
		if err == nil || !strings.HasSuffix(err.Error(), "must be "+string(want)) {
			t.Fatalf("%s for %s: %v", wrong, right, err)
		}
	})
}

// FuzzRecognise: whatever comes in, what is recognised can be written and is
// recognised again as the same.
func FuzzRecognise(f *testing.F) {
	for _, s := range []string{"(01)04012345123456(10)998877", "010401234512345610998877\x1d17260310", "https://id.gs1.org/01/04012345123456/10/a%2Fb?17=260310",
		"urn:epc:class:lgtin:4012345.012345.998877", "urn:epc:id:grai:0614141.12345.400", "04012345123457", "20260310140431", `(01)04012345123456(10)\(`} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		k, ok, err := gs1.Recognise(text)
		if ok && err != nil || !ok && k != (gs1.Key{}) {
			t.Fatalf("%q is %+v, %v, %v", text, k, ok, err)
		}
		if !ok {
			return
		}
		for _, form := range []gs1.Form{gs1.Bracketed, gs1.Linked} {
			again, err := k.Message().Format(form)
			if err != nil {
				t.Fatalf("%q is %+v: %v", text, k, err)
			}
			if got, ok, err := gs1.Recognise(again); !ok || err != nil || got != k {
				t.Fatalf("%q is %+v; %q is %+v, %v, %v", text, k, again, got, ok, err)
			}
		}
	})
}
