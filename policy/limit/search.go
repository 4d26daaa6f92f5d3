package limit

import "lastgood/policy/unit"

// largest returns the largest m from lo to hi for which ok says yes. ok must say
// yes to lo and, once it has said no, say no to everything above. It is exact:
// temperatures are whole millionths, so about 25 steps settle it for a record
// that spans 30 degrees.
func largest(lo, hi unit.Micro, ok func(unit.Micro) bool) unit.Micro {
	for lo < hi {
		mid := lo + (hi-lo+1)/2
		if ok(mid) {
			lo = mid
		} else {
			hi = mid - 1
		}
	}
	return lo
}
