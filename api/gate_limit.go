package api

import (
	"encoding/json"
	"net/http"
	"strings"
	"time"
)

// gateTime is how long a question to the ship gate may take, authentication and a
// database that does not answer included. Whoever stands at the dock needs a no
// sooner than nothing.
const gateTime = 8 * time.Second

// gateCaution stands beside every answer of the ship gate.
const gateCaution = "may_ship true says that nothing recorded here stands in the way just now. It does not say that the product met its limits: what nobody recorded is not known here."

// inGateTime answers for the ship gate where nothing else does in time.
func (s *server) inGateTime(h http.Handler) http.Handler {
	late := newProblem(http.StatusServiceUnavailable, "undecided", "do not load: whether this may ship could not be decided in time; ask again")
	body, err := json.Marshal(late)
	if err != nil {
		panic(err) // it has nothing that JSON cannot say
	}
	limited := http.TimeoutHandler(h, gateTime, string(body))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !strings.HasPrefix(r.URL.Path, "/v1/ship-gate") {
			h.ServeHTTP(w, r)
			return
		}
		w.Header().Set("Content-Type", "application/problem+json") // of the answer that comes too late
		limited.ServeHTTP(w, r)
	})
}
