package sampling

import "testing"

func BenchmarkPassesLot(b *testing.B) {
	p := Plan{N: 800, C: 64, Classes: 2}
	for b.Loop() {
		if _, err := p.PassesLot(Counts{Lot: 100_000, Defective: 6_500}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkProvesLot(b *testing.B) {
	for b.Loop() {
		if _, err := ProvesLot(800, 64, 100_000, 0.95); err != nil {
			b.Fatal(err)
		}
	}
}
