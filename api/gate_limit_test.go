package api

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"testing"
	"testing/synctest"
)

// TestGateIsClosedInTime: a database that does not answer is a no, and other
// questions may take as long as they take.
func TestGateIsClosedInTime(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		stuck := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) { <-r.Context().Done() })
		rec := httptest.NewRecorder()
		(&server{}).inGateTime(stuck).ServeHTTP(rec, httptest.NewRequest("GET", "/v1/ship-gate/L-1", nil))
		var p Problem
		if err := json.Unmarshal(rec.Body.Bytes(), &p); err != nil || rec.Code != http.StatusServiceUnavailable || p.Rule != "undecided" {
			t.Errorf("%d %s (%v)", rec.Code, rec.Body, err)
		}
		if kind := rec.Header().Get("Content-Type"); kind != "application/problem+json" {
			t.Errorf("content type %s", kind)
		}
	})
	rec := httptest.NewRecorder()
	fine := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		w.WriteHeader(http.StatusTeapot)
	})
	(&server{}).inGateTime(fine).ServeHTTP(rec, httptest.NewRequest("GET", "/v1/ship-gate/L-1", nil))
	if rec.Code != http.StatusTeapot || rec.Header().Get("Content-Type") != "application/json" {
		t.Errorf("an answer in time became %d %s", rec.Code, rec.Header())
	}
}
