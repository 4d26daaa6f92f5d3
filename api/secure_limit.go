package api

import (
	"crypto/sha256"
	"math"
	"net/http"
	"net/netip"
	"slices"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/workflow/key"
	"lastgood/workflow/person"
)

// The limits where none are given (common practice): a plant system that catches up
// after an outage stays far below the first, and people who begin a shift at one
// terminal below the second.
var (
	requestRate = Rate{PerSecond: 300, Burst: 3000}
	signInRate  = Rate{PerSecond: 2, Burst: 240}
)

// unlimited are the operations that nobody is asked to wait for: a dock that waits
// for the ship gate would load without it, and uploads are read only as fast as they
// are taken in.
func unlimited(op *huma.Operation) bool {
	return slices.Contains(scopesOf(op), key.ShipAsk) || op.OperationID == "upload-readings"
}

// wait says how long a caller who shows a secret has to wait. The secret is counted
// before it is looked up, so that the database is spared too; one that cannot be
// ours is never looked up.
func (s *server) wait(op *huma.Operation, secret string) time.Duration {
	if unlimited(op) || !key.Plausible(secret) && !person.Plausible(secret) {
		return 0
	}
	digest := sha256.Sum256([]byte(secret))
	return s.requests.take(string(digest[:]))
}

// waitAt says how long somebody at an address has to wait to try and prove who they
// are. This stands beside the lock of each person: it bounds who tries many people.
func (s *server) waitAt(remote string) time.Duration { return s.signIns.take(network(remote)) }

// network is from where somebody calls: an IPv4 address, or the /64 of IPv6 in which
// one machine may take any address.
func network(remote string) string {
	at, err := netip.ParseAddrPort(remote)
	if err != nil {
		return remote
	}
	a := at.Addr().Unmap().WithZone("")
	if p, err := a.Prefix(64); err == nil && a.Is6() {
		return p.String()
	}
	return a.String()
}

// tooMany is the answer to whoever asks too often.
func tooMany(wait time.Duration) *Problem {
	p := newProblem(http.StatusTooManyRequests, "too-many-requests", "this was asked too often: nothing was done; wait as long as Retry-After says")
	p.retryAfter = int(math.Ceil(wait.Seconds()))
	return p
}
