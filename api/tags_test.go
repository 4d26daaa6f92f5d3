package api

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"lastgood/api/print"
	"lastgood/workflow"
	"lastgood/workflow/hold"
)

func TestTagInWords(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Pacific/Auckland")
	if err != nil {
		t.Fatal(err)
	}
	amount, of, place := "12.5", "kg", "cooler 2"
	held := workflow.HoldTags{Plant: "Tallow Mere Kitchens", Zone: zone, Deviations: map[int64]string{3: "T-1"}, Cascades: map[int64]string{4: "R-1"},
		Holds: []hold.Hold{
			{ID: 7, LotCode: "A", BecauseOf: "A", Deviation: 3, Quantity: &amount, Unit: &of, Location: &place, PlacedAt: march(3, 20), PlacedBy: "lastgood"},
			{ID: 8, LotCode: "made", BecauseOf: "A", Cascade: 4, PlacedAt: march(3, 20), PlacedBy: "lastgood"},
			{ID: 9, LotCode: "B", BecauseOf: "B", Portion: "pallet 3", Reason: "metal in the sieve", PlacedAt: march(3, 20), PlacedBy: "key dock"}}}
	since := [2]string{"since", "2025-03-04 09:00 +13:00"}
	want := []print.Tag{
		{Lot: "A", Large: []string{"DO NOT MOVE", "Deviation 3", "12.5 kg · cooler 2"}, Code: "lastgood:hold:7", At: march(3, 20), Foot: "Tallow Mere Kitchens · hold 7",
			Small: [][2]string{{"why", "thermometer T-1"}, since, {"placed by", "lastgood"}, {"lifted by", "QA only"}}},
		{Lot: "made", Large: []string{"DO NOT MOVE", "Cascade 4", "all that is left"}, Code: "lastgood:hold:8", At: march(3, 20), Foot: "Tallow Mere Kitchens · hold 8",
			Small: [][2]string{{"why", "reference R-1, by lot A"}, since, {"placed by", "lastgood"}, {"lifted by", "QA only"}}},
		{Lot: "B", Large: []string{"DO NOT MOVE", "Hold 9", "all that is left"}, Code: "lastgood:hold:9", At: march(3, 20), Foot: "Tallow Mere Kitchens · hold 9",
			Small: [][2]string{{"portion", "pallet 3"}, {"why", "metal in the sieve"}, since, {"placed by", "key dock"}, {"lifted by", "QA only"}}}}
	if diff := cmp.Diff(want, tagsOnPaper(held)); diff != "" {
		t.Error(diff)
	}
}
