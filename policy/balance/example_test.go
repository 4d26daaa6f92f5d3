package balance

import (
	"testing"

	"github.com/google/go-cmp/cmp"
)

// The lot of the design notes on the procedure, §8.
func lotOfTheNotes() Ledger {
	return Ledger{
		Lot: "L-114", Unit: "kg",
		Entries: []Entry{
			{Kind: Made, Quantity: q("10000 kg")},
			{Kind: InControl, Quantity: q("7550 kg")}, {Kind: Shipped, Quantity: q("2450 kg")},
		},
		Portions: []Portion{
			all("P1", Released, "4000 kg"), all("P2", Reworked, "2000 kg"), all("P3", Destroyed, "1500 kg"),
			all("P4", Retrieved, "1800 kg"), all("P5", Unrecoverable, "650 kg"), all("P6", Samples, "12 kg"), all("P7", ProcessLoss, "30 kg"),
		},
	}
}

// TestExampleOfTheNotes: 9 992 of 10 000 kg are accounted for, 8 kg or 0.08 % are
// not (design notes on the procedure, §8): closable with a signature, once what
// was retrieved has its second disposition.
func TestExampleOfTheNotes(t *testing.T) {
	t.Parallel()
	l := lotOfTheNotes()
	s, found := Balance(l, DefaultTolerance())
	want(t, found, RetrievedUndecided)
	if got := Decimal(s.Unaccounted) + " kg, " + Percent(s.Share); got != "8 kg, 0.08 %" {
		t.Errorf("unaccounted is %s, want 8 kg, 0.08 %%", got)
	}
	if Decimal(s.Allowed) != "10" || s.Closing != CannotClose || s.line(Retrieved) != "1800" {
		t.Errorf("allowed %s, closing %s, retrieved %s", Decimal(s.Allowed), s.Closing, s.line(Retrieved))
	}
	if f := found[0]; f.Clause != "M7" || f.Code != "retrieved_undisposed" || f.Blocks != Closing ||
		f.Detail != "1800 kg of portion P4 is retrieved, and its second disposition is for 0 kg" {
		t.Errorf("%+v", f)
	}

	back := &l.Portions[3].Decisions[0]
	back.Then = []Decision{done(Destroyed, "1700 kg"), done(Diverted, "100 kg")}
	s, found = Balance(l, DefaultTolerance())
	want(t, found)
	if s.Closing != ClosesWhenSigned || Decimal(s.Unaccounted) != "8" {
		t.Errorf("with the second disposition: %s, unaccounted %s; want the same 8 kg, to be signed for", s.Closing, Decimal(s.Unaccounted))
	}
	if s.line(Retrieved) != "0" || s.line(Destroyed) != "3200" || s.line(Diverted) != "100" || Decimal(s.Retrieved) != "1800" {
		t.Errorf("retrieved product must count once, by its final disposition: %+v", s.Lines)
	}

	l.Portions = append(l.Portions, all("P8", Destroyed, "8 kg"))
	s, found = Balance(l, DefaultTolerance())
	want(t, found)
	if s.Closing != Closes || s.Unaccounted.Sign() != 0 {
		t.Errorf("with the 8 kg found: %s, unaccounted %s", s.Closing, Decimal(s.Unaccounted))
	}
}

// TestSourcesAreShown: what each source says is in the statement, whether they
// agree or not (design notes on the procedure, §8, M5).
func TestSourcesAreShown(t *testing.T) {
	t.Parallel()
	s, found := Balance(sound(), DefaultTolerance())
	want(t, found)
	if d := cmp.Diff([]Said{{"made order 7", []Number{{"planner", rat("990")}, {"scale", rat("990.5")}}}}, s.Sources, exactly); d != "" {
		t.Error(d)
	}
}

// TestSourcesCompareWithTheLeast: of two sources 1.005 kg apart, 1 % of the
// smaller 100 kg is less than that, 1 % of the larger is more.
func TestSourcesCompareWithTheLeast(t *testing.T) {
	t.Parallel()
	l := Ledger{Lot: "L", Unit: "kg", Portions: []Portion{all("P", Destroyed, "100 kg")},
		Entries: []Entry{{Kind: Made, Quantity: q("100 kg"), Also: []Count{{"scale", q("101.005 kg")}}}, {Kind: InControl, Quantity: q("100 kg")}}}
	_, found := Balance(l, Tolerance{Percent: "1"})
	want(t, found, SourcesDisagree)
}

// TestGapIsSignedFor: what is missing in the sum of the lot is signed for, even if
// all that is in doubt is accounted for.
func TestGapIsSignedFor(t *testing.T) {
	t.Parallel()
	l := Ledger{Lot: "L", Unit: "kg", Portions: []Portion{all("P", Destroyed, "500 kg")}, InDoubt: at("500 kg"),
		Entries: []Entry{{Kind: Made, Quantity: q("1000 kg")}, {Kind: InControl, Quantity: q("999.5 kg")}}}
	s, found := Balance(l, DefaultTolerance())
	want(t, found)
	if s.Closing != ClosesWhenSigned || s.Unaccounted.Sign() != 0 || Decimal(s.Gap) != "0.5" {
		t.Errorf("%s, unaccounted %s, gap %s", s.Closing, Decimal(s.Unaccounted), Decimal(s.Gap))
	}
}

// TestTolerance: the larger of a share and an amount; what cannot be read or
// converted allows nothing.
func TestTolerance(t *testing.T) {
	t.Parallel()
	net := []Conversion{{Unit: "case", Is: q("12.5 kg"), Source: "label"}}
	for _, c := range []struct {
		name        string
		tolerance   Tolerance
		conversions []Conversion
		allowed     string
	}{
		{"by default a share, where no case is known", DefaultTolerance(), nil, "10"},
		{"by default one case, where that is more", DefaultTolerance(), net, "12.5"},
		{"the share, where it is more", Tolerance{"0.2", q("1 case")}, net, "20"},
		{"nothing set", Tolerance{}, net, "0"},
		{"nothing that can be read", Tolerance{"a tenth", q("-1 case")}, net, "0"},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			l := lotOfTheNotes()
			l.Conversions = c.conversions
			s, found := Balance(l, c.tolerance)
			if Decimal(s.Allowed) != c.allowed || has(found, Unaccounted) != (c.allowed == "0") {
				t.Errorf("allowed %s, want %s:\n%s", Decimal(s.Allowed), c.allowed, sentences(found))
			}
		})
	}
}

// TestAtTheTolerance: the tolerance itself is allowed, a milligram more is not.
func TestAtTheTolerance(t *testing.T) {
	t.Parallel()
	for destroyed, closing := range map[string]Closability{
		"990": ClosesWhenSigned, "989.999999": CannotClose, "1010": ClosesWhenSigned, "1010.000001": CannotClose, "1000": Closes,
	} {
		l := Ledger{Lot: "L", Unit: "kg",
			Entries:  []Entry{{Kind: Made, Quantity: q("1000 kg")}, {Kind: InControl, Quantity: q("1000 kg")}},
			Portions: []Portion{all("P", Destroyed, destroyed+" kg")}}
		if s, found := Balance(l, Tolerance{Percent: "1"}); s.Closing != closing {
			t.Errorf("%s of 1000 kg at 1 %%: %s, want %s\n%s", destroyed, s.Closing, closing, sentences(found))
		}
	}
}

func TestDecimal(t *testing.T) {
	t.Parallel()
	for in, out := range map[string]string{"0": "0", "8": "8", "-8": "-8", "1/8": "0.125", "1/3": "about 0.333333", "100": "100", "0.000001": "0.000001", "0.0000001": "about 0"} {
		if got := Decimal(rat(in)); got != out {
			t.Errorf("%s is written %q, want %q", in, got, out)
		}
	}
	if Decimal(nil) != "unknown" || Percent(nil) != "unknown" || Percent(rat("0.0008")) != "0.08 %" {
		t.Error("an unknown amount, or a share, is written wrongly")
	}
}
