package disposition

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"
)

// act writes a deed of a release of portion P1.
func act(d Deed, by string, standingInFor ...string) Act {
	return Act{Deed: d, By: by, For: standingInFor, Disposition: Release, Subjects: []string{"P1"}}
}

func rulesOf(found []Conflict) []string {
	var out []string
	for _, c := range found {
		out = append(out, c.Rule)
	}
	return out
}

// TestConflictOfEveryRow: two people are fine, one is not, and neither is the one
// as the other's deputy; the clauses are those of the design notes on signing, §6.
func TestConflictOfEveryRow(t *testing.T) {
	t.Parallel()
	for _, row := range pairs {
		for _, first := range row.first {
			for _, second := range row.second {
				for who, acts := range map[string][]Act{
					"one person":              {act(first, "ada"), act(second, "ada")},
					"the second as a deputy":  {act(first, "ada"), act(second, "bo", "ada")},
					"the first as a deputy":   {act(first, "bo", "ada"), act(second, "ada")},
					"both for the same":       {act(first, "bo", "ada"), act(second, "cy", "ada")},
					"a deputy's deputy":       {act(first, "ada"), act(second, "cy", "bo", "ada")},
					"the later entered first": {act(second, "ada"), act(first, "ada")},
				} {
					if found := rulesOf(Conflicts(acts)); !slices.Contains(found, row.rule) {
						t.Errorf("%s, %s and %s: %v, want %s among them", who, first, second, found, row.rule)
					}
				}
				if found := Conflicts([]Act{act(first, "ada"), act(second, "bo")}); len(found) > 0 {
					t.Errorf("two people, %s and %s: %+v", first, second, found)
				}
			}
		}
	}
}

// TestConflictScope: what the deeds are about.
func TestConflictScope(t *testing.T) {
	t.Parallel()
	about := func(a Act, d Disposition, subjects ...string) Act {
		a.Disposition, a.Subjects = d, subjects
		return a
	}
	in := func(a Act, r Role) Act {
		a.Role = r
		return a
	}
	for _, c := range []struct {
		name string
		acts []Act
		want []string
	}{
		{"proposes one portion and approves another's of the other", []Act{act(Proposed, "ada"), about(act(Approved, "ada"), Release, "P2")}, nil},
		{"one portion in common", []Act{about(act(Proposed, "ada"), Release, "P1", "P2"), about(act(Approved, "ada"), Release, "P2", "P3")}, []string{"proposal-approved"}},
		{"nothing said of what", []Act{act(Proposed, "ada"), {Deed: Approved, By: "ada"}}, []string{"proposal-approved"}},
		{"destroys own production", []Act{act(Produced, "ada"), about(act(Approved, "ada"), Destroy, "P1")}, nil},
		{"a decision on own production, not said which", []Act{act(Produced, "ada"), about(act(Approved, "ada"), "", "P1")}, []string{"own-production-released"}},
		{"administers and signs for something else", []Act{about(act(Administered, "ada"), "", "users"), act(Verified, "ada")}, []string{"administrator-signed"}},
		{"approves in two roles", []Act{in(act(Approved, "ada"), QualifiedPerson), in(act(Approved, "ada"), PlantManager)}, []string{"approved-twice"}},
		{"approves a later version in the same role", []Act{in(act(Approved, "ada"), PlantManager), in(act(Approved, "ada"), PlantManager)}, nil},
		{"approves twice, in roles that nobody knows", []Act{act(Approved, "ada"), act(Approved, "ada")}, []string{"approved-twice"}},
		{"checks and makes", []Act{act(CheckedInstrument, "ada"), act(Produced, "ada"), act(EnteredReading, "ada")}, nil},
		{"nobody is named", []Act{act(Approved, " ", "ada")}, []string{"nobody-named"}},
		{"spaces are nobody", []Act{act(Proposed, "ada"), act(Approved, "bo", " ")}, nil},
		{"nothing happened", nil, nil},
	} {
		if d := cmp.Diff(c.want, rulesOf(Conflicts(c.acts))); d != "" {
			t.Errorf("%s (-want +got):\n%s", c.name, d)
		}
	}
}

// TestConflictExceptions: on what terms (design notes on signing, §6): S-2 has
// none for release, rework and divert, S-5 wants a note, S-8 a small plant's leave.
func TestConflictExceptions(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		of   Disposition
		want Exception
	}{{Release, NoException}, {Rework, NoException}, {Reprocess, NoException}, {Divert, NoException}, {"", NoException}, {Destroy, SmallPlant}, {Retrieve, SmallPlant}} {
		found := Conflicts([]Act{{Deed: Proposed, By: "ada", Disposition: c.of}, {Deed: Approved, By: "ada", Disposition: c.of}})
		if len(found) != 1 || found[0].Exception != c.want || found[0].Clause != "S-2" || found[0].Person != "ada" {
			t.Errorf("proposed and approved %q: %+v, want the exception %s", c.of, found, c.want)
		}
	}
	for want, acts := range map[Exception][]Act{
		WithNote:   {act(CertifiedReference, "ada"), act(Evaluated, "ada")},
		SmallPlant: {act(OwnedDeviation, "ada"), act(ClosedDeviation, "ada")},
	} {
		if found := Conflicts(acts); len(found) != 1 || found[0].Exception != want {
			t.Errorf("%+v, want the exception %s", found, want)
		}
	}
}

var deeds = []Deed{Produced, CheckedInstrument, VerifiedCheck, CertifiedReference, EnteredReading, ExcludedReading, OwnedDeviation, Evaluated,
	Reported, Proposed, Approved, Judged, Executed, Witnessed, Verified, NotReportable, NotReportableRead, ClosedDeviation, VerifiedClosing,
	WroteRule, ApprovedRule, Administered}

func drawnActs(t *rapid.T) []Act {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Act {
		return Act{
			Deed: rapid.SampledFrom(deeds).Draw(t, "deed"), By: rapid.SampledFrom([]string{"ada", "bo", "cy", "di"}).Draw(t, "by"),
			Role:        rapid.SampledFrom([]Role{"", QALead, PlantManager}).Draw(t, "role"),
			For:         rapid.SliceOfN(rapid.SampledFrom([]string{"ada", "bo", "eve"}), 0, 2).Draw(t, "for"),
			Disposition: rapid.SampledFrom(append([]Disposition{""}, all...)).Draw(t, "disposition"),
			Subjects:    rapid.SliceOfN(rapid.SampledFrom([]string{"P1", "P2"}), 0, 2).Draw(t, "subjects"),
		}
	}), 0, 12).Draw(t, "history")
}

// TestNothingCuresAConflict: whatever happens later leaves every conflict where it
// was, and the order in which two deeds came does not matter.
func TestNothingCuresAConflict(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		acts := drawnActs(t)
		before := Conflicts(acts)
		later := Conflicts(append(slices.Clone(acts), drawnActs(t)...))
		for _, c := range before {
			if !slices.Contains(later, c) {
				t.Fatalf("later deeds cured %+v", c)
			}
		}
		back := slices.Clone(acts)
		slices.Reverse(back)
		if got := Conflicts(back); len(got) != len(before) {
			t.Fatalf("%d conflicts, backwards %d", len(before), len(got))
		}
	})
}

// TestDeputiesOnlyAdd: with deputies taken away there are no
// more conflicts than before, and with everyone another person there is none.
func TestDeputiesOnlyAdd(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		acts := drawnActs(t)
		with := len(Conflicts(acts))
		for i := range acts {
			acts[i].For = nil
		}
		if without := len(Conflicts(acts)); without > with {
			t.Fatalf("%d conflicts with deputies, %d without", with, without)
		}
		for i := range acts {
			acts[i].By = string(rune('a' + i%26))
		}
		if found := Conflicts(acts); len(found) > 0 {
			t.Fatalf("as many people as deeds: %+v", found)
		}
	})
}
